"""Readings that could be taken next and are not at one test point: rail currents, mains watts, DC across a part."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from itertools import combinations

from lostgain.diagnosis.candidates import SHORTEST, Candidate, in_reach, minutes_between
from lostgain.diagnosis.features import feature_of
from lostgain.diagnosis.moves import facts
from lostgain.readings.model import Instrument, Reading, Readings
from lostgain.signatures import Table

#: DC is worth reading across these pins of a part, and across a resistor up to so many ohms: it shows a current.
JUNCTIONS = {"npn": ("b", "e"), "pnp": ("b", "e"), "diode": ("a", "k")}
SMALL = 10.0
#: Kinds of instrument: what reads across a pair has no earthed clip.
MAINS = "mains-meter"


def other_candidates(
    table: Table, readings: Readings, instruments: Mapping[str, Instrument], channels: Sequence[str]
) -> list[Candidate]:
    """Return those that were not taken yet.

    Parameters
    ----------
    table : Table
    readings : Readings
    instruments : mapping
        Name to Instrument.
    channels : sequence of str
        Where to read.
    """
    taken = {(row.channel, row.quantity, row.point, row.against) for row in readings.rows}
    last = readings.rows[-1] if readings.rows else None
    found = []
    for reading, minutes in [*_of_the_unit(table, instruments), *_across(table, readings, instruments, channels)]:
        feature = feature_of(reading, table, instruments[reading.instrument])
        ways = [(reading.channel, reading.quantity, *ends)
                for ends in ((reading.point, reading.against), (reading.against, reading.point))]  # fmt: skip
        if feature is not None and not taken & set(ways):
            whole = minutes + minutes_between(last, reading)
            found.append(Candidate(reading, feature, max(SHORTEST, whole), max(SHORTEST, minutes)))
    return found


def _of_the_unit(table: Table, instruments: Mapping[str, Instrument]) -> Iterator[tuple[Reading, float]]:
    """Each rail's current, and what the unit draws from the mains."""
    unit, times = table.circuit.unit, facts().reading
    meter = times.dc_instrument
    if meter in instruments and "current" in instruments[meter].quantities:
        for rail in unit.rails:
            yield Reading(rail.name, "current", "", instrument=meter), times.current
    if unit.mains and MAINS in instruments:
        yield Reading("mains", "mains watts", "", instrument=MAINS), times.watts


def _across(
    table: Table, readings: Readings, instruments: Mapping[str, Instrument], channels: Sequence[str]
) -> Iterator[tuple[Reading, float]]:
    """DC across junctions and small resistors whose both ends are in reach."""
    meter = facts().reading.dc_instrument
    if meter not in instruments or instruments[meter].earthed:
        return
    for one, other in pairs(table):
        minutes = max(table.circuit.unit.point(name).minutes for name in (one, other))
        for channel in channels:
            if all(in_reach(table, readings, name, channel) for name in (one, other)):
                yield Reading(one, "dc", channel, instrument=meter, against=other), minutes


def pairs(table: Table) -> list[tuple[str, str]]:
    """Return pairs of test points that lie across a junction or a small resistor, each once."""
    circuit = table.circuit
    at: dict[str, str] = {}
    for name, node in circuit.points.items():
        at.setdefault(node, name)
    found: dict[frozenset[str], tuple[str, str]] = {}
    for designator, place in circuit.parts.items():
        small = place.part.kind == "resistor" and (place.part.value or 1e9) <= SMALL
        pins = JUNCTIONS.get(place.part.kind, tuple(place.pins) if small else ())
        for ends in combinations(pins, 2):
            nodes = [circuit.node_of(designator, pin) for pin in ends]
            if all(node in at for node in nodes) and nodes[0] != nodes[1]:
                found.setdefault(frozenset(nodes), (at[nodes[0]], at[nodes[1]]))
    return list(found.values())
