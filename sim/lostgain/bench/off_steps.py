"""The step of the bench sheet that is read across the parts with the power off, for a table that holds it."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from lostgain.bench.sheet_model import Expected, Row
from lostgain.diagnosis.moves import facts
from lostgain.diagnosis.off_checks import SETTLED, PartCheck, part_checks, shown_off
from lostgain.faults.listing import is_shared
from lostgain.quantities import show
from lostgain.readings.model import OFF, UNITS
from lostgain.signatures import Table
from lostgain.unit import called


def across_parts(table: Table) -> Iterator[Row]:
    """Yield the readings across parts that are worth taking: those that stand still, and that a fault of it changes.

    Parameters
    ----------
    table : Table
        With power-off parts; without any there is none.
    """
    for each in part_checks(table, OFF):
        still = each.quantity != "resistance" or abs(each.settled - each.value) <= SETTLED * each.settled
        if still and _tells(table, each):
            yield _row(table, each)


def _tells(table: Table, each: PartCheck) -> bool:
    """Tell whether some fault of the part takes its reading out of the healthy range."""
    spot = table.off.spot(each.instrument, each.point, each.against)
    if spot is None or each.value > each.largest:
        return False
    rows = [number for number, fault in enumerate(table.faults, 1)
            if any(one.part == each.part for one in fault.members or (fault,))]  # fmt: skip
    read = spot.part.value[rows, 0, spot.place, 0]
    return bool(np.any((read < each.low) | (read > each.high)))


def _row(table: Table, each: PartCheck) -> Row:
    unit = table.circuit.unit
    place = f"{each.point} to {each.against}" if each.against else each.point
    names = tuple(called(channel, place) for channel in unit.channels)
    note = each.text
    if is_shared(unit.parts[each.part], unit):
        names = (place,)  # there is one of it, whatever a channel's board would call it
    elif any(called(channel, note) != note for channel in unit.channels):
        note += f" Named as in {unit.channels[0].name}."
    unit_of = UNITS[each.quantity]
    low, high = (shown_off(value, unit_of, each.largest) for value in (each.low, each.high))
    read = f"{each.quantity} {show(each.value, unit_of)} ({low} … {high})"
    return Row(names, each.stage, (Expected("check", text=read),), facts().power_off.each, note=note)
