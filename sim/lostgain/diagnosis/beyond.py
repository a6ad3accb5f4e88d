"""Readings that nothing in the unit can make: beyond what its rails allow."""

from __future__ import annotations

from collections.abc import Iterable

import numpy as np

from lostgain.diagnosis.foretold import dc_span
from lostgain.quantities import show
from lostgain.readings.model import Reading
from lostgain.readings.taken import placed
from lostgain.signatures import Table
from lostgain.unit.kinds import kinds
from lostgain.unit.model import Unit

#: A reading is beyond the rails at so many times what they allow, and so many volts more: meters and mains err.
FACTOR, VOLTS = 1.3, 1.0
#: What may step a level up beyond the rails.
WOUND = ("transformer", "inductor")


def beyond(table: Table, readings: Iterable[Reading]) -> list[tuple[tuple[Reading, ...], str]]:
    """Return levels and DC that are beyond what the unit's rails allow, each with what to say of it.

    Parameters
    ----------
    table : Table
    readings : iterable of Reading
    """
    limits, unit = _limits(table), table.circuit.unit
    return [((row,), _says(row, unit, limits[row.quantity])) for row in readings if _is_beyond(row, limits)]


def _limits(table: Table) -> dict[str, tuple[float, float]]:
    """Return the least and the most volts of each quantity."""
    circuit = table.circuit
    low, high = dc_span(circuit.unit)
    driven = max(circuit.unit.setup.generator, *circuit.unit.setup.levels, 0.0)
    wound = any(kinds()[place.part.kind].family in WOUND for place in circuit.parts.values())
    # A square wave between the rails is the most that anything without a winding makes of them.
    most = np.inf if wound else max((high - low) / 2, driven)
    return {"dc": (low, high), "level": (0.0, most)}


def _is_beyond(row: Reading, limits: dict[str, tuple[float, float]]) -> bool:
    if row.quantity not in limits or row.value is None or row.word or row.below:
        return False
    low, high = limits[row.quantity]
    if row.quantity == "dc" and (row.against or row.above):  # leads either way round; "more than" is by size
        return abs(row.value) > _more(high - low if row.against else max(high, -low))
    return row.value > _more(high) or row.value < -_more(-low)


def _more(volts: float) -> float:
    return FACTOR * volts + VOLTS


def _says(row: Reading, unit: Unit, span: tuple[float, float]) -> str:
    read = row.text or show(row.value or 0.0, "V")
    rails = f"{show(span[0], 'V')} to {show(span[1], 'V')}" if row.quantity == "dc" else show(span[1], "V rms")
    return (
        f"{placed(row, unit)}, {read}: beyond what the unit's rails allow ({rails} at most), and left out. A wrong "
        "unit, range, probe factor or pin? If it is really there, something else feeds this point: switch off and find "
        "it first."
    )
