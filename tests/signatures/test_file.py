"""Tables as files: moved to another computer, refused where they do not belong, never taken when half written."""

from __future__ import annotations

import json
import os
from dataclasses import replace
from pathlib import Path

import h5py
import pytest

from lostgain.circuit import Circuit, build
from lostgain.engine import Pool
from lostgain.problems import UserError
from lostgain.signatures import Table, file, table
from lostgain.signatures.build import table_from, write_table
from lostgain.signatures.file import TABLES, tidy
from tests.circuit.units import make
from tests.signatures.units import SMALL, SMALL_NETLIST


@pytest.fixture(scope="module")
def circuit(tmp_path_factory: pytest.TempPathFactory, pool: Pool) -> Circuit:
    return build(make(tmp_path_factory.mktemp("units") / "small", SMALL, board=SMALL_NETLIST), pool)


@pytest.fixture(scope="module")
def made(circuit: Circuit, pool: Pool) -> Table:
    return table(circuit, pool)


@pytest.fixture
def written(made: Table, tmp_path: Path) -> Path:
    write_table(made, tmp_path / "moved.nc")
    return tmp_path / "moved.nc"


def test_a_table_that_was_moved_is_the_same(circuit: Circuit, made: Table, written: Path) -> None:
    found = table_from(written, circuit)
    assert found.data.equals(made.data)
    assert (found.key, found.faults, found.strays, found.remarks) == (made.key, made.faults, made.strays, ())


def test_any_netcdf_4_reader_can_read_it(made: Table, written: Path) -> None:
    """NetCDF-4 is HDF5 with named, shared dimensions as HDF5's dimension scales (NetCDF User's Guide, appendix C)."""
    with h5py.File(written, "r") as found:
        assert b"version=2" in found.attrs["_NCProperties"]
        level = found["level"]
        assert level.shape == made.data.level.shape
        assert level.attrs["units"] in (b"V rms", "V rms")
        scales = [Path(level.dims[number][0].name).name for number in range(4)]
        assert scales == ["row", "sample", "point", "frequency"]


@pytest.mark.parametrize(
    ("old", "new", "what"),
    [
        ('resistor = "2%"', 'resistor = "5%"', "Not the same: part tolerances."),
        ('generator = "1 V rms"', 'generator = "2 V rms"', "Not the same: circuit, set-up."),
        ("R3 out 0 10k", "R3 out 0 11k", "Not the same: circuit."),
        ('name = "TP2"', 'name = "TP3"', "Not the same: test points."),
    ],
)
def test_another_units_table_is_refused_and_why(
    tmp_path: Path, pool: Pool, written: Path, old: str, new: str, what: str
) -> None:
    text, netlist = SMALL.replace(old, new), SMALL_NETLIST.replace(old, new)
    other = build(make(tmp_path / "other", text, board=netlist), pool)
    with pytest.raises(UserError) as refused:
        table_from(written, other)
    said = str(refused.value)
    assert "moved.nc: this signature table does not belong to other as it is described now." in said
    assert "It is one of small." in said
    assert what in said


def test_another_ngspice_or_other_draws_are_said(circuit: Circuit, written: Path) -> None:
    with h5py.File(written, "a") as found:
        names = json.loads(found.attrs["made_of"])
        found.attrs["made_of"] = json.dumps({**names, "ngspice": "x", "draws": "y"})
        found.attrs["ngspice"] = 99
    remarks = table_from(written, circuit).remarks
    assert remarks[0].startswith("It was made with ngspice 99; here it would be ")
    assert "other draws" in remarks[1]


def test_what_is_no_table_is_refused(circuit: Circuit, written: Path, tmp_path: Path) -> None:
    with pytest.raises(UserError, match="no such file"):
        table_from(tmp_path / "nowhere.nc", circuit)
    whole = written.read_bytes()
    for data in (b"", b"title,unit\n", whole[: len(whole) // 2], whole[:-1]):
        written.write_bytes(data)
        with pytest.raises(UserError, match=r"moved\.nc: this is no signature table, or it is damaged"):
            table_from(written, circuit)


def test_every_byte_counts(circuit: Circuit, written: Path) -> None:
    """A byte changed anywhere among the numbers shows."""
    whole = bytearray(written.read_bytes())
    with h5py.File(written, "r") as found:
        offsets = [found[name].id.get_offset() for name in ("level", "dc", "swing", "phasor", "wave")]
    for offset in offsets:
        damaged = bytearray(whole)
        damaged[offset + 3] ^= 1
        written.write_bytes(damaged)
        with pytest.raises(UserError, match="damaged"):
            table_from(written, circuit)


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="there is no /dev/full")
def test_a_full_disk_leaves_what_was_there(made: Table, written: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    before = written.read_bytes()
    part = written.with_name(f"{written.name}.7.part")
    monkeypatch.setattr(file.os, "getpid", lambda: 7)
    part.symlink_to("/dev/full")
    with pytest.raises(UserError, match=r"moved\.nc: cannot be written: No space left on device"):
        write_table(made, written)
    assert written.read_bytes() == before
    assert [path.name for path in written.parent.iterdir()] == ["moved.nc"]


def test_old_tables_of_a_unit_go_out(tmp_path: Path) -> None:
    def touch(name: str, age: float) -> Path:
        path = tmp_path / name
        path.write_text("")
        os.utime(path, (1e9 - age, 1e9 - age))
        return path

    mine = [touch(f"amp-{number:016x}.nc", number) for number in range(TABLES + 3)]
    others = [
        touch("amp-two-0123456789abcdef.nc", 999),
        touch("amp-mine.nc", 999),
        touch("bass-0123456789abcdef.nc", 9),
    ]
    left = touch(f"{mine[0].name}.12.part", 0)
    tidy(mine[0], TABLES)
    assert [path.exists() for path in mine] == [True] * TABLES + [False] * 3
    assert all(path.exists() for path in others)
    assert not left.exists()


def test_a_table_cut_down_is_written_as_it_is(made: Table, circuit: Circuit, tmp_path: Path) -> None:
    """And is then no table of this unit."""
    write_table(replace(made, data=made.data.isel(row=slice(0, 3))), tmp_path / "cut.nc")
    with pytest.raises(UserError, match=r"damaged|belong"):
        table_from(tmp_path / "cut.nc", circuit)
