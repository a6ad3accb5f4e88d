"""Tables: the same inputs give the same numbers, and a build survives what happens to it."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import pytest

from lostgain.circuit import Circuit, build
from lostgain.engine import Pool
from lostgain.problems import UserError
from lostgain.signatures import Table, table
from lostgain.signatures.file import load
from lostgain.signatures.kept import Kept
from tests.circuit.units import make
from tests.signatures.units import SMALL, SMALL_NETLIST

#: Each test has a cache of its own.
pytestmark = pytest.mark.usefixtures("cache")

BUILD = Path(__file__).with_name("build_one.py")


@pytest.fixture(scope="module")
def folder(tmp_path_factory: pytest.TempPathFactory) -> Path:
    folder = tmp_path_factory.mktemp("units") / "small"
    make(folder, SMALL, board=SMALL_NETLIST)
    return folder


@pytest.fixture(scope="module")
def circuit(folder: Path, pool: Pool) -> Circuit:
    return build(make(folder, SMALL, board=SMALL_NETLIST), pool)


@pytest.fixture(scope="module")
def first(circuit: Circuit, pool: Pool, tmp_path_factory: pytest.TempPathFactory) -> Table:
    """The table, built once."""
    kept = os.environ.get("LOSTGAIN_CACHE")
    os.environ["LOSTGAIN_CACHE"] = str(tmp_path_factory.mktemp("first"))
    try:
        return table(circuit, pool, draws=2)
    finally:
        os.environ["LOSTGAIN_CACHE"] = kept or ""


def test_the_same_numbers_whatever_the_number_of_workers(circuit: Circuit, first: Table) -> None:
    with Pool(workers=2) as two:
        again = table(circuit, two, draws=2)
    assert again.key == first.key
    assert again.data.equals(first.data)


def test_it_is_opened_and_not_built_again(circuit: Circuit, pool: Pool, first: Table) -> None:
    table(circuit, pool, draws=2)

    def progress(done: int, total: int) -> None:
        raise AssertionError("built again")

    opened = table(circuit, pool, progress, draws=2)
    assert opened.data.equals(first.data)
    assert opened.data.small_signal.dtype == opened.data.settled.dtype == bool
    assert opened.points == ("TP1", "TP2")
    assert opened.frequencies == (500, 40, 10e3)
    assert opened.values("level").shape == (1 + len(opened.faults) + len(opened.strays), 3, 2, 3)
    assert opened.failed == ()


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ('resistor = "2%"', 'resistor = "5%"'),
        ('generator = "1 V rms"', 'generator = "2 V rms"'),
        ('generator = "1 V rms"', 'generator = "1 V rms"\nfrequencies = ["600 Hz", "40 Hz", "10 kHz"]'),
        ('name = "TP2"', 'name = "TP3"'),
        ("R3 out 0 10k", "R3 out 0 11k"),
        ("R2 mid out 10k", "R2 mid out 10k tc=0.001"),
        ('source = "0R001"', 'source = "0R002"'),
    ],
)
def test_any_other_input_gives_another_key(
    tmp_path: Path, pool: Pool, first: Table, monkeypatch: pytest.MonkeyPatch, old: str, new: str
) -> None:
    made = make(tmp_path / "small", SMALL.replace(old, new), board=SMALL_NETLIST.replace(old, new))
    assert key_only(build(made, pool), monkeypatch) != first.key


def test_another_number_of_draws_or_seed_gives_another_key(
    circuit: Circuit, first: Table, monkeypatch: pytest.MonkeyPatch
) -> None:
    assert key_only(circuit, monkeypatch) == first.key
    assert key_only(circuit, monkeypatch, seed=1) != first.key
    assert key_only(circuit, monkeypatch, draws=4) != first.key


def test_only_the_modes_of_kinds_that_the_unit_has_are_in_the_key(
    circuit: Circuit, first: Table, monkeypatch: pytest.MonkeyPatch
) -> None:
    """A new kind of part, and its modes, must not make everybody's tables anew."""
    from lostgain.signatures import store

    plain = store.modes_for
    monkeypatch.setattr(store, "modes_for", lambda kind: plain(kind)[1:] if kind == "njf" else plain(kind))
    assert key_only(circuit, monkeypatch) == first.key
    monkeypatch.setattr(store, "modes_for", lambda kind: plain(kind)[1:] if kind == "film" else plain(kind))
    assert key_only(circuit, monkeypatch) != first.key


def key_only(circuit: Circuit, monkeypatch: pytest.MonkeyPatch, draws: int = 2, seed: int = 0) -> str:
    """Return the key of a table without building it."""
    from lostgain.faults import listing, strays
    from lostgain.signatures.build import SEED, SLOW_DRAWS
    from lostgain.signatures.store import key_of, made_of

    return key_of(made_of(circuit, [*listing(circuit), *strays(circuit)], seed or SEED, draws, SLOW_DRAWS))


def test_a_build_that_is_stopped_goes_on(circuit: Circuit, pool: Pool, first: Table, cache: Path) -> None:
    def stop(done: int, total: int) -> None:
        if done == 10:
            raise KeyboardInterrupt

    seen: list[int] = []
    with pytest.raises(KeyboardInterrupt):
        table(circuit, pool, stop, draws=2)
    assert [path.suffix for path in cache.iterdir() if path.suffix == ".nc"] == []
    made = table(circuit, pool, lambda done, total: seen.append(done), draws=2)
    assert seen[0] == 11
    assert made.data.equals(first.data)
    assert {path.suffix for path in cache.iterdir()} == {".nc", ".lock", ".db"}


def run_apart(folder: Path, *more: str) -> subprocess.Popen[str]:
    environment = {**os.environ, "PYTHONPATH": os.pathsep.join(sys.path)}
    return subprocess.Popen(
        [sys.executable, str(BUILD), str(folder), *more], stdout=subprocess.PIPE, text=True, env=environment
    )


def test_of_two_builds_at_once_the_second_waits_and_opens(folder: Path, first: Table) -> None:
    both = [run_apart(folder), run_apart(folder)]
    printed = [each.communicate(timeout=60)[0].splitlines() for each in both]
    assert [each.returncode for each in both] == [0, 0]
    assert [lines[-1] for lines in printed] == [first.key, first.key]
    assert sorted(len(lines) > 1 for lines in printed) == [False, True]


def test_a_damaged_or_foreign_table_is_never_taken(circuit: Circuit, pool: Pool, first: Table, cache: Path) -> None:
    table(circuit, pool, draws=2)
    (path,) = cache.glob("*.nc")
    whole = path.read_bytes()
    other = first.data.assign_attrs(key="0" * 16)
    small = first.data.isel(row=slice(0, 3))
    short = first.data.drop_vars("swing")
    for data in (
        b"",
        whole[: len(whole) // 2],
        b"not a table" * 100,
        whole[: len(whole) // 2] + bytes(3000) + whole[len(whole) // 2 + 3000 :],
        other,
        small,
        short,
    ):
        path.unlink()
        if isinstance(data, bytes):
            path.write_bytes(data)
        else:
            data.to_netcdf(path, engine="h5netcdf")
        assert load(path, circuit, first.faults, first.strays, first.key) is None
    middle = len(whole) // 2
    path.write_bytes(whole[:middle] + bytes(200) + whole[middle + 200 :])
    assert table(circuit, pool, draws=2).data.equals(first.data)


def test_a_folder_that_cannot_be_written_is_said(
    circuit: Circuit, pool: Pool, tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    (tmp_path / "file").write_text("")
    monkeypatch.setenv("LOSTGAIN_CACHE", str(tmp_path / "file"))
    with pytest.raises(UserError, match=r"file: the signature table cannot be kept here: .*Set LOSTGAIN_CACHE"):
        table(circuit, pool, draws=2)
    with pytest.raises(UserError, match="Set LOSTGAIN_CACHE"):
        Kept(tmp_path / "file" / "rows.db")
