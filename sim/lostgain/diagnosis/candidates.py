"""The readings that could be taken next, and how long each takes from where the probe is."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from lostgain.diagnosis.features import Feature, feature_of
from lostgain.diagnosis.moves import facts
from lostgain.readings.model import COMMON, OFF, Instrument, Reading, Readings
from lostgain.signatures import Table

#: Shortest time a reading takes [min]: information per minute stays finite whatever a unit file says.
SHORTEST = 0.05


@dataclass(frozen=True)
class Candidate:
    """A reading that could be taken.

    Parameters
    ----------
    reading : Reading
        Without a value.
    feature : Feature
    minutes : float
        From where the probe is.
    away : float
        From elsewhere.
    """

    reading: Reading
    feature: Feature
    minutes: float
    away: float


def candidates(
    table: Table, readings: Readings, instruments: Mapping[str, Instrument], channels: Sequence[str]
) -> list[Candidate]:
    """Return every reading in reach that was not taken yet.

    Parameters
    ----------
    table : Table
    readings : Readings
        What was taken, in order; the probe is where the last one was.
    instruments : mapping
        Name to Instrument.
    channels : sequence of str
        Where to read.
    """
    taken = {_place(table, row, instruments) for row in readings.rows}
    last = readings.rows[-1] if readings.rows else None
    found = []
    for channel in channels:
        for point in table.circuit.unit.points:
            if point.name not in table.points or not in_reach(table, readings, point.name, channel):
                continue
            for reading in _at(table, readings, instruments, point.name, channel):
                feature = feature_of(reading, table, instruments[reading.instrument])
                if feature is None or _place(table, reading, instruments) in taken:
                    continue
                found.append(
                    Candidate(reading, feature, _minutes(reading, last, point.minutes), max(SHORTEST, point.minutes))
                )
    return found


def in_reach(table: Table, readings: Readings, point: str, channel: str) -> bool:
    """Tell whether a probe gets to a test point, by the unit file and by what the technician found."""
    barred = any(name == point and where in ("", channel) for name, where in readings.unreachable)
    return not barred and any(each.name == point and each.reach for each in table.circuit.unit.points)


def _place(table: Table, reading: Reading, instruments: Mapping[str, Instrument]) -> tuple[str, int, int, int, bool]:
    feature = feature_of(reading, table, instruments[reading.instrument])
    if feature is None:
        return ("", -1, -1, -1, False)
    return (reading.channel, feature.point, feature.against, feature.frequency, feature.common)


def _at(
    table: Table, readings: Readings, instruments: Mapping[str, Instrument], point: str, channel: str
) -> list[Reading]:
    """Level at every frequency and generator level, ripple and DC, with the instruments that were used so far."""
    setup, own = table.circuit.unit.setup.instrument, table.circuit.unit.setup.generator
    level = next((row for row in reversed(readings.rows) if row.quantity == "level"), None)
    dc = next((row for row in reversed(readings.rows) if row.quantity == "dc"), None)
    meter = level.instrument if level else setup
    form = "pp" if instruments[meter].responds == "pp" else "rms"
    if level is not None and not level.word and level.given_as in ("rms", "pp", "peak"):
        form = level.given_as
    wanted = facts().reading.dc_instrument
    dc_meter = dc.instrument if dc else wanted if wanted in instruments else setup
    found = []
    if "level" in instruments[meter].quantities:
        low, high = instruments[meter].bandwidth
        found = [
            Reading(point, "level", channel, given_as=form, frequency=each.frequency, instrument=meter,
                    generator=None if each.generator == own else each.generator)
            for each in table.drives
            if low <= each.frequency <= high
        ]  # fmt: skip
        if "common" in table.data and low <= table.frequencies[0] <= high:
            found.append(
                Reading(point, COMMON, channel, given_as=form, frequency=table.frequencies[0], instrument=meter)
            )
    if "ripple" in table.data and "ripple" in instruments[meter].quantities:
        found.append(Reading(point, "ripple", channel, given_as="pp", instrument=meter))
    if "dc" in instruments[dc_meter].quantities:
        found.append(Reading(point, "dc", channel, instrument=dc_meter))
    return found


def minutes_between(last: Reading | None, reading: Reading) -> float:
    """Return the minutes of switching off, or on again, between two readings [min]."""
    off = last is not None and last.quantity in OFF
    times = facts().power_off
    if off == (reading.quantity in OFF):
        return 0.0
    return times.back if off else times.enter


def _minutes(reading: Reading, last: Reading | None, minutes: float) -> float:
    """Minutes from where the probe is: little for another frequency with the probe left in place."""
    times = facts().reading
    if last is not None and (last.point, last.channel) == (reading.point, reading.channel):
        minutes = min(minutes, times.stay if last.quantity == reading.quantity else times.switch)
    return max(SHORTEST, minutes + minutes_between(last, reading))
