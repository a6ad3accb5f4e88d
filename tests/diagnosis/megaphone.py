"""Readings for tests: taken from a row of a table, or typed by hand, on a small invented unit."""

from __future__ import annotations

from functools import cache
from pathlib import Path

import numpy as np

from lostgain import build_circuit, match, open_unit, signature_table
from lostgain.diagnosis import Verdict
from lostgain.readings.model import Reading, Readings
from lostgain.signatures import Table

UNITS = Path(__file__).parent.parent / "units"


@cache
def megaphone() -> Table:
    """The table of the small unit; built once, then opened from the tests' cache."""
    return signature_table(build_circuit(open_unit(UNITS / "megaphone")))


def level(point: str, volts: float, channel: str = "Port", frequency: float = 500.0) -> Reading:
    """A level [V rms] as an oscilloscope shows it."""
    return Reading(point, "level", channel, volts, "", "rms", frequency, text=f"{volts:g} V rms")


def dc(point: str, volts: float, channel: str = "Port") -> Reading:
    """A DC reading [V] from a multimeter."""
    return Reading(point, "dc", channel, volts, instrument="dmm-trms", text=f"{volts:g} V")


def word(point: str, said: str, channel: str = "Port", frequency: float = 500.0) -> Reading:
    """A level in words."""
    return Reading(point, "level", channel, None, said, frequency=frequency, text=said)


def readings(*rows: Reading, good: str = "") -> Readings:
    """Readings as if read from a file."""
    return Readings(tuple(rows), path=Path("typed.csv"), good=good)


def ask(*rows: Reading, good: str = "") -> Verdict:
    """The verdict on readings of the small unit."""
    return match(megaphone(), readings(*rows, good=good))


def probability(verdict: Verdict, part: str, *modes: str) -> float:
    """Probability of a part, or of some of its modes, in any channel."""
    return sum(each.probability for each in verdict.suspects if each.part == part and (not modes or each.mode in modes))


def row_of(label: str) -> int:
    """Number of a fault's row, as `Fault.label` writes it; 0 for the healthy unit."""
    return [None, *(fault.label for fault in megaphone().faults)].index(label) if label else 0


def taken(label: str, draw: int = 1, points: tuple[str, ...] = (), channel: str = "Port") -> list[Reading]:
    """Level at three frequencies and DC at every point, of one draw of a row of the table."""
    table, row = megaphone(), row_of(label)
    rows = []
    for place, name in enumerate(table.points):
        if points and name not in points:
            continue
        for index, frequency in enumerate(table.frequencies):
            volts = float(table.values("level")[row, draw, place, index])
            if np.isnan(volts):  # not every draw is followed in time: then the one at nominal values is read
                volts = float(table.values("level")[row, 0, place, index])
            rows.append(
                level(name, volts, channel, frequency) if volts > 2e-3 else word(name, "nothing", channel, frequency)
            )
        rows.append(dc(name, float(np.round(table.values("dc")[row, draw, place], 4)), channel))
    return rows
