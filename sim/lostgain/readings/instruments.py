"""The instruments and their errors: ``instruments.toml``, and a shop's own file over it."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

from lostgain.problems import nearest
from lostgain.readings.model import COMMON, OFF, Instrument
from lostgain.unit.source import Table, own_source, shown

#: A shop's own instruments, in the unit's folder.
OWN_FILE = "instruments.toml"

_ERRORS = ("scale_error", "read_error")  # fractions
# V rms, V, A, W, ohm, F.
_FLOORS = ("floor_level", "floor_dc", "floor_current", "floor_watts", "floor_ohms", "floor_farads")
_LARGEST = ("largest_level", "largest_dc", "largest_current", "largest_ohms", "largest_farads")  # V rms, V, A, ohm, F
_LOADING = ("resistance", "capacitance")  # ohms, farads
_OFF = ("open_volts", "wait", "test_frequency")  # V, s, Hz
_NUMBERS = (*_ERRORS, "residual", *_FLOORS, "zero_error", *_LOADING, *_LARGEST, *_OFF)
_KEYS = ("title", "responds", "shows", *_NUMBERS, "also", "quantities", "bandwidth", "earthed", "ranges", "functions")
_RESPONDS = ("pp", "rms", "average")
_SHOWS = ("real", "size")
_QUANTITIES = ("level", "dc", "ripple", "current", "mains watts", "distortion", "capacitance", *OFF)
#: What a new instrument has to say of each quantity it reads.
_NEEDED = {
    "level": ("floor_level", "bandwidth", "responds", *_LOADING),
    "dc": ("floor_dc", "zero_error", "resistance"),
    "current": ("floor_current",),
    "mains watts": ("floor_watts",),
    "resistance": ("floor_ohms", "zero_error", "largest_ohms", "open_volts", "ranges"),
    "diode test": ("floor_dc", "zero_error", "largest_dc", "open_volts", "ranges"),
    "esr": ("floor_ohms", "zero_error", "largest_ohms"),
    "capacitance": ("floor_farads", "zero_error", "largest_farads", "test_frequency"),
    "distortion": ("floor_level", "bandwidth", "residual", *_LOADING),
}


def instruments(folder: Path | None = None) -> dict[str, Instrument]:
    """Return every instrument by name.

    Parameters
    ----------
    folder : Path or None
        A unit's folder. A file ``instruments.toml`` there adds instruments, or changes single keys of the shipped ones.

    Raises
    ------
    UserError
        With every mistake in that file.
    """
    return {name: _instrument(name, row) for name, row in _rows(folder).items()}


def called(folder: Path | None = None) -> dict[str, str]:
    """Return what an instrument may be called in a readings file, in lower case with single spaces, and its name."""
    names: dict[str, str] = {}
    for name, row in _rows(folder).items():
        for text in (*row.get("also", ()), name):
            names[spoken(text)] = name
    return names


def spoken(text: str) -> str:
    """Return a name as it is compared: lower case, hyphens and underscores as spaces, single spaces."""
    return " ".join(text.casefold().replace("-", " ").replace("_", " ").split())


@cache
def _shipped() -> dict[str, dict[str, Any]]:
    return tomllib.loads(Path(__file__).with_name("instruments.toml").read_text(encoding="utf-8"))


def _rows(folder: Path | None) -> dict[str, dict[str, Any]]:
    """Return the shipped rows with the shop's keys over them."""
    rows = {name: dict(row) for name, row in _shipped().items()}
    source = own_source(folder, OWN_FILE) if folder is not None else None
    if source is None:
        return rows
    for name in source.data:
        table = Table(source, (name,), f"[{name}]", source.data[name])
        rows[name] = {**rows.get(name, {}), **_checked(table, new=name not in rows)}
    source.settle()
    return rows


def _checked(table: Table, new: bool) -> dict[str, Any]:
    """Return the keys of a shop's instrument, each of its sort and size; note what is wrong in the table's source."""
    row: dict[str, Any] = {}
    for key in ("title", "responds", "shows"):
        if key in table.data:
            row[key] = table.text(key)
    if "earthed" in table.data:
        row["earthed"] = table.get("earthed", bool, "true or false, without quotes", False)
    for key in _NUMBERS:
        if key in table.data:
            row[key] = value = float(table.get(key, (int, float), "a number in SI units, without quotes", 0.0))
            least = "above zero" if key == "resistance" or key in (*_FLOORS, *_LARGEST, *_OFF) else "at least zero"
            if not (0 < value < 1e15 or (value == 0 and least == "at least zero")):
                table.wrong(key, f"{key} = {value:g} should be {least}.")
            elif key in (*_ERRORS, "residual") and value > 0.5:
                table.wrong(key, f"{key} = {value:g} is a fraction: 3 % is 0.03.", f"Write {value / 100:g}?")
    for key in ("also", "quantities"):
        if key in table.data:
            row[key] = table.names(key, "a list of texts in brackets")
    for quantity in row.get("quantities", ()):
        if quantity not in _QUANTITIES:
            table.wrong("quantities", f"{shown(quantity)} is no quantity.", nearest(quantity, _QUANTITIES))
    if (responds := row.get("responds", "pp")) not in _RESPONDS:
        table.wrong("responds", f"responds = {shown(responds)} is not known.", nearest(responds, _RESPONDS))
    if (shows := row.get("shows", "real")) not in _SHOWS:
        table.wrong("shows", f"shows = {shown(shows)} is not known.", nearest(shows, _SHOWS))
    if "ranges" in table.data:
        row["ranges"] = _ranges(table)
    if "functions" in table.data:
        row["functions"] = table.get("functions", dict, "a table of quantities and instruments", {})
    if "bandwidth" in table.data:
        band = table.get("bandwidth", list, "[lowest, highest] in Hz", [])
        good = len(band) == 2 and all(isinstance(edge, (int, float)) and not isinstance(edge, bool) for edge in band)
        if good and 0 <= band[0] < band[1]:
            row["bandwidth"] = band
        else:
            table.wrong("bandwidth", "bandwidth should be [lowest, highest] in Hz, for example [20.0, 20e3].")
    if new:
        each = [key for quantity in row.get("quantities", ()) for key in _NEEDED.get(quantity, ())]
        needed = dict.fromkeys(["title", "quantities", *_ERRORS, *each])
        if missing := [key for key in needed if key not in table.data]:
            table.wrong(None, f"{table.called} is a new instrument and needs {', '.join(missing)} too.")
    table.finish(also=_KEYS)
    return row


def _ranges(table: Table) -> list[list[float]]:
    """Return an ohmmeter's ranges, checked."""
    rows = table.get("ranges", list, "[[full scale, source resistance], …] in ohms", [])
    good = [
        [float(each) for each in row]
        for row in rows
        if isinstance(row, list) and len(row) == 2 and all(isinstance(each, (int, float)) and each > 0 for each in row)
    ]
    if not good or len(good) < len(rows) or sorted(good) != good:
        message = "ranges should be [[full scale, source resistance], …] in ohms, the lowest range first."
        table.wrong("ranges", f"{message} For example [[400.0, 800.0], [4e3, 8e3]].")
    return good


def _instrument(name: str, row: Mapping[str, Any]) -> Instrument:
    facts: dict[str, Any] = {key: float(row[key]) for key in _NUMBERS if key in row}
    facts |= {key: row[key] for key in ("responds", "earthed", "shows") if key in row}
    facts |= {key: tuple(map(tuple, row[key])) for key in ("ranges",) if key in row}
    facts |= {key: tuple(row[key].items()) for key in ("functions",) if key in row}
    if "bandwidth" in row:
        low, high = row["bandwidth"]
        facts["bandwidth"] = (float(low), float(high))
    common = [COMMON] if "level" in row["quantities"] else []  # a level too, taken with another drive
    return Instrument(name, row["title"], (*row["quantities"], *common), **facts)
