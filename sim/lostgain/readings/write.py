"""Readings to a CSV file that reads back the same."""

from __future__ import annotations

import csv
from dataclasses import replace
from pathlib import Path

from lostgain.quantities import PEAK_PER_RMS, PP_PER_RMS
from lostgain.readings.columns import COLUMNS
from lostgain.readings.model import LEVELS, SIGNS, UNITS, Reading, Readings
from lostgain.readings.values import Value, parse
from lostgain.unit.channels import called
from lostgain.unit.model import Unit


def write(path: str | Path, readings: Readings, unit: Unit | None = None) -> None:
    """Write readings as CSV, one a line, every column filled in.

    Parameters
    ----------
    path : str or Path
    readings : Readings
        A value is written as the technician typed it where that still says the same, else in full.
    unit : Unit or None
        Test points are then named as on the board of each reading's own channel.
    """
    if unit is not None:
        readings = _as_on_the_board(readings, unit)
    seldom = {"against": any(row.against for row in readings.rows),
              "generator level": any(row.generator for row in readings.rows)}  # fmt: skip
    columns = [name for name in COLUMNS if seldom.get(name, True)]
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


def _as_on_the_board(readings: Readings, unit: Unit) -> Readings:
    channels = {channel.name: channel for channel in unit.channels}

    def own(point: str, channel: str) -> str:
        return called(channels[channel], point) if channel in channels else point

    def named(row: Reading) -> Reading:
        return replace(row, point=own(row.point, row.channel), against=own(row.against, row.channel))

    rows = [named(row) for row in readings.rows]
    away = [(own(point, channel), channel) for point, channel in readings.unreachable]
    return replace(readings, rows=tuple(rows), unreachable=tuple(away))


def _cells(row: Reading) -> dict[str, str]:
    return {
        "test point": f"{row.point} lifted" if row.lifted else row.point,
        "quantity": row.quantity,
        "value": _text(row),
        "frequency": "" if row.frequency is None else f"{row.frequency!r} Hz",
        "generator level": "" if row.generator is None else f"{row.generator!r} V rms",
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
    if row.quantity not in LEVELS:
        factor, unit = 1.0, UNITS.get(row.quantity, "V")
    return f"{'< ' if row.below else '> ' if row.above else ''}{row.value * factor!r} {unit}"
