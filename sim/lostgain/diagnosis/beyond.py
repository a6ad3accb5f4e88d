"""Readings that nothing in the unit can make: beyond what its rails allow."""

from __future__ import annotations

from collections.abc import Iterable

from lostgain.circuit import Circuit
from lostgain.diagnosis.rails import dc_span, most_level
from lostgain.quantities import show
from lostgain.readings.model import PEAKS, Reading
from lostgain.readings.taken import placed
from lostgain.signatures import Table
from lostgain.unit.model import Unit

#: A reading is beyond the rails at so many times what they allow, and so many volts more: meters and mains err.
FACTOR, VOLTS = 1.3, 1.0


def beyond(table: Table, readings: Iterable[Reading]) -> list[tuple[tuple[Reading, ...], str]]:
    """Return levels and DC that are beyond what the unit's rails allow, each with what to say of it.

    Parameters
    ----------
    table : Table
    readings : iterable of Reading
    """
    circuit = table.circuit
    spans = ((row, _span(row, circuit)) for row in readings)
    return [((row,), _says(row, circuit.unit, span)) for row, span in spans if span and _is_beyond(row, span)]


def _span(row: Reading, circuit: Circuit) -> tuple[float, float] | None:
    """Return the least and the most volts that a reading can be of; None for what is neither level nor DC."""
    if row.quantity == "level":
        return 0.0, most_level(circuit, row.given_as in PEAKS, bool(row.against))
    if row.quantity != "dc":
        return None
    low, high = dc_span(circuit.unit)
    if row.against:  # leads either way round
        return low - high, high - low
    # "More than" is by size.
    return (-max(high, -low), max(high, -low)) if row.above else (low, high)


def _is_beyond(row: Reading, span: tuple[float, float]) -> bool:
    if row.value is None or row.word or row.below:
        return False
    return row.value > _more(span[1]) or row.value < -_more(-span[0])


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
