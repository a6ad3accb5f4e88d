"""A signature table as a file: netCDF-4, which any program that reads this open format can open, on any computer."""

from __future__ import annotations

import contextlib
import glob
import json
import os
from collections.abc import Mapping
from pathlib import Path

import h5py
import xarray as xr

from lostgain.circuit import Circuit
from lostgain.faults import Fault, Stray
from lostgain.problems import Problem, UserError, Where
from lostgain.signatures.table import Table, digest, faults_in

_VARIABLES = {
    "dc",
    "level",
    "swing",
    "wave",
    "small_signal",
    "settled",
    "status",
    "fault",
    "severity",
    "point",
    "frequency",
}
#: What may differ in a table from elsewhere, as long as it is said.
MAY_DIFFER = {"ngspice", "draws"}
#: Tables of one unit that are kept; older ones are of what its file said before.
TABLES = 8
#: Hexadecimal digits of a key.
KEY = 16


def save(table: Table, path: Path) -> None:
    """Write a table; under its final name only once it is whole.

    Not compressed: that would make it a quarter smaller, and ten times slower to open.

    Raises
    ------
    OSError
        If it cannot be written there. What was there before then is there still.
    """
    part = path.with_name(f"{path.name}.{os.getpid()}.part")
    data = table.data.copy()
    for each in data.variables.values():
        each.encoding = {}  # of the file it may come from
    try:
        # Through memory: HDF5 does not come back from a disk that gets full under it.
        whole = data.to_netcdf(engine="h5netcdf")
        with part.open("wb") as file:
            file.write(whole)
            file.flush()
            os.fsync(file.fileno())
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def load(path: Path, circuit: Circuit, faults: tuple[Fault, ...], strays: tuple[Stray, ...], key: str) -> Table | None:
    """Open a table, or return None where there is none that is whole, fits and has that key."""
    data = _read(path)
    if data is None or data.attrs.get("key") != key:
        return None
    rows = _faults(data, circuit, faults, strays)
    return None if rows is None else Table(circuit, rows, data, key, strays)


def open_table(
    path: Path, circuit: Circuit, faults: tuple[Fault, ...], strays: tuple[Stray, ...], wanted: Mapping[str, str]
) -> Table:
    """Open a table that somebody wrote to a file, perhaps on another computer.

    Parameters
    ----------
    path : Path
    circuit : Circuit
    faults, strays : tuple
        The rows it has to have.
    wanted : mapping
        A digest of each thing that this unit's table is made of, see `store.named_digests`.

    Returns
    -------
    Table
        Its `remarks` say in what it differs from the one that would be built here.

    Raises
    ------
    UserError
        If it is no table, damaged, or another unit's.
    """
    where = Where(path)
    if not path.is_file():
        raise UserError(Problem("there is no such file.", where))
    data = _read(path)
    if data is None:
        raise UserError(Problem("this is no signature table, or it is damaged.", where,
                                "Such a file is written by lostgain table UNIT --out FILE."))  # fmt: skip
    found = _made_of(data)
    differs = [name for name, each in wanted.items() if found.get(name) != each]
    wrong = [name for name in differs if name not in MAY_DIFFER]
    rows = _faults(data, circuit, faults, strays)
    if wrong or rows is None:
        of = data.attrs.get("unit")
        whose = f" It is one of {of}." if of != circuit.unit.name else ""
        raise UserError(
            Problem(
                f"this signature table does not belong to {circuit.unit.name} as it is described now.{whose}",
                where,
                f"Not the same: {', '.join(wrong) or 'its size'}.",
            )
        )
    remarks = []
    if "ngspice" in differs:
        remarks.append(f"It was made with ngspice {data.attrs.get('ngspice')}; here it would be {circuit.version}.")
    if "draws" in differs:
        remarks.append("It was made with other draws of the part tolerances than it would be here.")
    return Table(circuit, rows, data, str(data.attrs.get("key")), strays, remarks=tuple(remarks))


def tidy(latest: Path, most: int) -> None:
    """Remove what a unit's file said long ago, and what writing that was stopped left of the latest.

    Parameters
    ----------
    latest : Path
        ``NAME-KEY.SUFFIX``, just written.
    most : int
        How many of that name and suffix to keep: those used last.
    """
    name = latest.stem[:-KEY]
    others = [path for path in latest.parent.glob(f"{glob.escape(name)}*{latest.suffix}") if path != latest]
    alike = [path for path in others if len(path.stem) == len(latest.stem) and path.stem.startswith(name)]
    for path in sorted(alike, key=_age)[most - 1 :]:
        path.unlink(missing_ok=True)
    for path in latest.parent.glob(f"{glob.escape(latest.name)}.*.part"):
        path.unlink(missing_ok=True)


def used(path: Path) -> None:
    """Note that a table was opened, for `tidy`; where nothing can be written it does not matter."""
    with contextlib.suppress(OSError):
        os.utime(path)


def _age(path: Path) -> float:
    try:
        return -path.stat().st_mtime
    except OSError:  # gone by now
        return float("inf")


def _read(path: Path) -> xr.Dataset | None:
    """Return what a file holds if it is whole and a table."""
    try:
        # Looked through first, since h5netcdf leaves a half-open file behind where it comes upon damage.
        with h5py.File(path, "r") as file:
            if "key" not in file.attrs:
                return None
            file.visititems(_seen)
        with xr.open_dataset(path, engine="h5netcdf") as found:
            data = found.load()
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RuntimeError, IndexError, MemoryError):
        return None
    whole = data.variables.keys() >= _VARIABLES and data.attrs.get("digest") == digest(data)
    return data if whole else None


def _faults(
    data: xr.Dataset, circuit: Circuit, faults: tuple[Fault, ...], strays: tuple[Stray, ...]
) -> tuple[Fault, ...] | None:
    """Return the faults of a table's rows; None where it is not of this unit's faults, points and frequencies."""
    rows = faults_in(data, faults)
    if rows is None:
        return None
    sizes = {"row": 1 + len(rows) + len(strays), "point": len(circuit.points),
             "frequency": len(circuit.unit.setup.drives)}  # fmt: skip
    return rows if all(data.sizes.get(name) == size for name, size in sizes.items()) else None


def _made_of(data: xr.Dataset) -> dict[str, str]:
    try:
        found = json.loads(data.attrs["made_of"])
        return {str(name): str(each) for name, each in found.items()}
    except (KeyError, TypeError, ValueError, AttributeError):
        return {}


def _seen(_name: str, each: h5py.Dataset | h5py.Group) -> None:
    dict(each.attrs)
