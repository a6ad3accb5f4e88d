"""Simulations done before: the computer's own, and those stored beside the code."""

from __future__ import annotations

from contextlib import closing
from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from benchmarks import kept, simulate
from benchmarks.kept import Kept, key_of
from benchmarks.simulate import Carried, Job, job
from lostgain.circuit import Circuit, build
from lostgain.problems import UserError
from lostgain.unit import open_unit


@pytest.fixture(scope="module")
def circuit() -> Circuit:
    return build(open_unit("state-variable-filter"))


@pytest.fixture
def task(circuit: Circuit) -> Job:
    return job(circuit, circuit.flat, 1.0, kept.process()["simulation"], in_time=True)


@pytest.fixture
def folders(tmp_path: Path) -> tuple[Path, Path]:
    return tmp_path / "own" / "circuits.sqlite", tmp_path / "stored"


def some(task: Job, seed: int) -> Carried:
    """Numbers such as a simulation gives."""
    rng = np.random.default_rng(seed)
    points, frequencies = len(task.nodes), len(task.frequencies)
    small, level, swing = rng.lognormal(-3, 3, (3, points, frequencies))
    settled = rng.random(frequencies) < 0.5
    return Carried(rng.normal(0, 10, points), small, level, swing, settled, f"case {seed}", 0.1 * seed).rounded()


def assert_alike(one: Carried | None, other: Carried) -> None:
    assert one is not None
    for name in other.__dataclass_fields__:
        np.testing.assert_array_equal(getattr(one, name), getattr(other, name))


def test_what_is_stored_is_found_on_another_computer(circuit: Circuit, task: Job, folders: tuple[Path, Path]) -> None:
    own, stored = folders
    short = replace(task, frequencies=task.frequencies[:1])  # as at another generator level
    lost = simulate.nothing(task, "took longer than 180 s")
    written = {"a" * 24: some(task, 1), "c" * 24: lost, "b" * 24: some(short, 2), "d" * 24: some(task, 3)}
    with closing(Kept(circuit, own, stored)) as here:
        for key, found in written.items():
            here.add(key, found)
        assert here.store()[1] == len(written)
    with closing(Kept(circuit, own.with_name("another"), stored)) as there:
        for key, found in written.items():
            assert_alike(there.get(key), found)
        assert there.get("e" * 24) is None
        there.add("e" * 24, some(task, 4))
        assert there.store()[1] == len(written) + 1, "what was there stays"


def test_stored_is_the_same_file_in_any_order(circuit: Circuit, task: Job, folders: tuple[Path, Path]) -> None:
    own, stored = folders
    files = []
    for number, order in enumerate(("ab", "ba")):
        with closing(Kept(circuit, own.with_name(str(number)), stored / str(number))) as here:
            for letter in order:
                here.add(24 * letter, some(task, ord(letter)))
            files.append(here.store()[0].read_bytes())
    assert files[0] == files[1]


def test_of_another_circuit_nothing_is_stored_or_found(
    circuit: Circuit, task: Job, folders: tuple[Path, Path], monkeypatch: pytest.MonkeyPatch
) -> None:
    own, stored = folders
    with closing(Kept(circuit, own, stored)) as here:
        here.add("a" * 24, some(task, 1))
        here.store()
    name = next(name for name, element in circuit.flat.elements.items() if element.has_value)
    changed = circuit.flat.with_values({name: 2 * circuit.flat.elements[name].value})
    with closing(Kept(replace(circuit, flat=changed), own, stored)) as here:
        here.add("b" * 24, some(task, 2))
        assert here.store()[1] == 1
    monkeypatch.setattr(kept, "METHOD", kept.METHOD + 1)
    with closing(Kept(circuit, own.with_name("another"), stored)) as here:
        assert here.get("a" * 24) is here.get("b" * 24) is None


def test_the_key_is_of_all_that_is_simulated(circuit: Circuit, task: Job) -> None:
    found = {key_of(1, task), key_of(2, task), key_of(1, replace(task, drive=2 * task.drive))}
    found |= {key_of(1, replace(task, lines=task.lines[1:])), key_of(1, replace(task, frequencies=(1.0,)))}
    assert len(found) == 5


@pytest.mark.parametrize("broken", [b"", b"no archive", b"PK\x05\x06" + bytes(18)])
def test_a_file_that_cannot_be_read_is_named(circuit: Circuit, folders: tuple[Path, Path], broken: bytes) -> None:
    own, stored = folders
    stored.mkdir()
    file = stored / f"{circuit.unit.name}.npz"
    file.write_bytes(broken)
    with pytest.raises(UserError, match="delete it, or take it from the repository again") as told:
        Kept(circuit, own, stored)
    assert str(file) in str(told.value)


def test_a_file_that_was_cut_is_named(circuit: Circuit, task: Job, folders: tuple[Path, Path]) -> None:
    own, stored = folders
    with closing(Kept(circuit, own, stored)) as here:
        here.add("a" * 24, some(task, 1))
        file, _ = here.store()
    with np.load(file) as arrays:
        left = {name: array[:-3] if name == "numbers" else array for name, array in arrays.items()}
    np.savez_compressed(file, **left)
    with pytest.raises(UserError, match="scripts/bench store"):
        Kept(circuit, own, stored)
