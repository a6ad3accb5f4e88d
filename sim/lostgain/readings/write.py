"""Readings to a CSV file that reads back the same."""

from __future__ import annotations

import csv
from pathlib import Path

from lostgain.quantities import PEAK_PER_RMS, PP_PER_RMS
from lostgain.readings.columns import COLUMNS
from lostgain.readings.model import SIGNS, Reading, Readings
from lostgain.readings.values import Value, parse


def write(path: str | Path, readings: Readings) -> None:
    """Write readings as CSV, one a line, every column filled in.

    Parameters
    ----------
    path : str or Path
    readings : Readings
        A value is written as the technician typed it where that still says the same, else in full.
    """
    columns = [name for name in COLUMNS if name != "against" or any(row.against for row in readings.rows)]
    if any(row.point.startswith("#") for row in readings.rows):
        columns.append(columns.pop(0))  # a line that starts with # would be taken for a comment
    with Path(path).open("w", encoding="utf-8", newline="") as file:
        if readings.good:
            csv.writer(file).writerow([f"# good channel: {readings.good}"])
        if readings.state:
            csv.writer(file).writerow([f"# state: {readings.state}"])
        out = csv.DictWriter(file, columns, restval="", extrasaction="ignore")
        out.writeheader()
        for row in readings.rows:
            out.writerow(_cells(row))
        for point, channel in readings.unreachable:
            out.writerow({"test point": point, "value": "can't reach", "channel": channel})


def _cells(row: Reading) -> dict[str, str]:
    return {
        "test point": row.point,
        "quantity": row.quantity,
        "value": _text(row),
        "frequency": "" if row.frequency is None else f"{row.frequency!r} Hz",
        "channel": "all" if row.quantity in SIGNS and not row.channel else row.channel,
        "against": row.against,
        "instrument": row.instrument,
        "note": row.note,
    }


def _text(row: Reading) -> str:
    """Return what stands in the value cell."""
    try:
        said = parse(row.text, row.quantity)
    except ValueError:
        said = Value()
    form = said.given_as if said.value is None else row.given_as  # a word is given as nothing
    if said == Value(row.quantity, row.value, row.word, form, row.below, row.above, said.about):
        return row.text
    if row.value is None:
        return row.word
    factor, unit = {"pp": (PP_PER_RMS, "Vpp"), "peak": (PEAK_PER_RMS, "Vpk")}.get(row.given_as, (1.0, "V rms"))
    if row.quantity != "level":
        factor, unit = 1.0, {"current": "A", "mains watts": "W"}.get(row.quantity, "V")
    return f"{'< ' if row.below else '> ' if row.above else ''}{row.value * factor!r} {unit}"
