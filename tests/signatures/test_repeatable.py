"""The same inputs give the same numbers to the bit, by whatever way; and a table that grows repeats nothing."""

from __future__ import annotations

from collections.abc import Iterator
from concurrent.futures import Executor, ProcessPoolExecutor, ThreadPoolExecutor
from dataclasses import fields
from pathlib import Path

import numpy as np
import pytest

from lostgain.circuit import Circuit, build
from lostgain.engine import Pool
from lostgain.faults import listing, parse
from lostgain.signatures import Table, bends, table
from lostgain.signatures import build as building
from lostgain.signatures.draws import deviates, varied
from lostgain.signatures.row import RowResult, RowTask
from lostgain.signatures.rows import run_row
from lostgain.signatures.simulate import row_keys
from tests.circuit.units import AMPLIFIER, make
from tests.signatures.units import TINY, TINY_NETLIST

#: Each test has a cache of its own.
pytestmark = pytest.mark.usefixtures("cache")


@pytest.fixture(scope="module")
def circuit(tmp_path_factory: pytest.TempPathFactory, pool: Pool) -> Circuit:
    return build(make(tmp_path_factory.mktemp("units") / "tiny", TINY, board=TINY_NETLIST), pool)


@pytest.fixture(scope="module")
def first(circuit: Circuit, pool: Pool, tmp_path_factory: pytest.TempPathFactory) -> Table:
    """The table, built once."""
    with pytest.MonkeyPatch.context() as patched:
        patched.setenv("LOSTGAIN_CACHE", str(tmp_path_factory.mktemp("first")))
        return table(circuit, pool, draws=2)


class Counting(Pool):
    """A pool that counts what it is given to simulate."""

    def __init__(self) -> None:
        super().__init__(workers=1)
        self.given = 0

    def imap(self, task, items, common=None):  # type: ignore[no-untyped-def, override]
        items = list(items)
        self.given += len(items) if task is not bends._refined else 0  # which severities there are is no row
        return super().imap(task, items, common)


@pytest.fixture(scope="module")
def counting() -> Iterator[Counting]:
    with Counting() as pool:
        yield pool


@pytest.fixture(scope="module")
def amplifier(tmp_path_factory: pytest.TempPathFactory, pool: Pool) -> list[RowTask]:
    """Rows of a circuit with semiconductors, some of which reload it and some of which clip."""
    text = AMPLIFIER.replace("100 mV", "3 V")
    circuit = build(make(tmp_path_factory.mktemp("units") / "amplifier", text), pool)
    numbers = varied(circuit)
    z = deviates(4, len(numbers), seed=1)
    faults = [(), *((parse(text, circuit),) for text in ("R2 open", "C2 lost 0.1", "R3 drift 3x", "U1A dead"))]
    return [RowTask(circuit, fault, numbers, z, 2) for fault in faults]


def bits(row: RowResult) -> list[bytes]:
    return [np.asarray(getattr(row, each.name)).tobytes() for each in fields(row)]


def test_a_row_does_not_depend_on_what_its_worker_did_before(amplifier: list[RowTask]) -> None:
    """Forwards and backwards in one worker each, and each row in a worker of its own."""
    with Pool(workers=1) as one:
        forwards = [bits(outcome.value) for outcome in one.map(run_row, amplifier)]
        again = [bits(outcome.value) for outcome in one.map(run_row, amplifier[::-1])][::-1]
    assert again == forwards
    for task, row in zip(amplifier[:3], forwards, strict=False):
        with Pool(workers=1) as fresh:
            assert bits(fresh.map(run_row, [task])[0].value) == row


@pytest.mark.parametrize("kind", [ThreadPoolExecutor, ProcessPoolExecutor])
def test_any_executor_gives_the_same(circuit: Circuit, first: Table, kind: type[Executor]) -> None:
    with kind(2) as executor:
        made = table(circuit, executor, draws=2)
    assert made.data.equals(first.data)
    assert made.data.attrs["digest"] == first.data.attrs["digest"]


def test_an_added_fault_costs_its_row_only(circuit: Circuit, counting: Counting, first: Table) -> None:
    every = listing(circuit)
    with pytest.MonkeyPatch.context() as patched:
        patched.setattr(building, "listing", lambda circuit: every[:3] + every[5:])
        small = table(circuit, counting, draws=2)
    before, counting.given = counting.given, 0
    made = table(circuit, counting, draws=2)
    assert small.key != made.key == first.key
    assert (before, counting.given) == (unlike(first) - 2, 2)
    assert made.data.equals(first.data)


def unlike(made: Table) -> int:
    """How many rows of a table are no twins."""
    numbers = varied(made.circuit)
    like = RowTask(made.circuit, (), numbers, deviates(2, len(numbers), building.SEED), building.SLOW_DRAWS)
    rows = [((), None, True), *(((fault,), None, True) for fault in made.faults)]
    return len(set(row_keys(like, [*rows, *(((), stray, True) for stray in made.strays)], {})))


def test_an_added_frequency_costs_its_own_rows_only(
    tmp_path: Path, pool: Pool, counting: Counting, monkeypatch: pytest.MonkeyPatch
) -> None:
    def at(*frequencies: str) -> Circuit:
        listed = ", ".join(f'"{each}"' for each in frequencies)
        return build(make(tmp_path / "tiny", TINY.replace('"500 Hz"', listed), board=TINY_NETLIST), pool)

    counting.given = 0
    three = table(at("500 Hz", "100 Hz", "10 kHz"), counting, draws=2)
    once, counting.given = counting.given, 0
    four = table(at("500 Hz", "100 Hz", "10 kHz", "2 kHz"), counting, draws=2)
    assert counting.given == once
    assert four.frequencies == (500, 100, 10e3, 2e3)
    assert four.data.isel(frequency=slice(0, 3)).equals(three.data)
    ohms, farads = 1e3, 100e-9
    expected = 1 / abs(1 + 2j * np.pi * 2e3 * ohms * farads)  # the closed form of an RC low-pass
    assert four.values("level")[0, 0, 0, 3] == pytest.approx(expected, rel=0.012)
    counting.given = 0
    five = table(at("500 Hz", "100 Hz", "10 kHz", "1 kHz", "2 kHz"), counting, draws=2)
    assert counting.given == once
    monkeypatch.setenv("LOSTGAIN_CACHE", str(tmp_path / "fresh"))
    fresh = table(at("500 Hz", "100 Hz", "10 kHz", "1 kHz", "2 kHz"), counting, draws=2)
    assert fresh.data.equals(five.data)
    assert counting.given == 4 * once


def test_a_unit_changed_and_changed_back_is_not_simulated_again(
    tmp_path: Path, circuit: Circuit, pool: Pool, counting: Counting, cache: Path
) -> None:
    kept = table(circuit, counting, draws=2)
    other = build(make(tmp_path / "tiny", TINY, board=TINY_NETLIST.replace("1k", "1.1k")), pool)
    counting.given = 0
    assert table(other, counting, draws=2).key != kept.key
    assert counting.given > 0
    for path in cache.glob("*.nc"):
        path.unlink()  # even then the rows are there
    counting.given = 0
    assert table(circuit, counting, draws=2).data.equals(kept.data)
    assert counting.given == 0
