"""What lies in parallel with a place that an ohmmeter is put on, as the faults of a table show it.

A part that carries some of the meter's current raises the reading when it opens; a part that may take more of it than
it should lowers the reading when it leaks or shorts. Both are rows of the power-off part: nothing has to be traced.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from lostgain.faults import Fault
from lostgain.signatures import Table
from lostgain.signatures.poweroff_table import OffTable, Spot

#: A part reads lower in circuit than alone where it is lower by more than this share.
BRIDGED = 0.03
#: Parts named; a fault explains a low reading if it reads within this share of the way to it, on a scale of ratios.
NAMED, ABOUT = 3, 0.3
#: No reading is less than this [ohm].
LEAST = 1e-3


def bridges(table: Table, part: OffTable, number: int) -> tuple[str, ...]:
    """Return the parts that lie in parallel with a place: without them, or with more of them, it reads higher.

    Parameters
    ----------
    table : Table
    part : OffTable
    number : int
        Of the place.

    Returns
    -------
    tuple of str
        Designators, the one that matters most first, at most `NAMED`.
    """
    healthy = float(part.value[0, 0, number, 0])
    own = part.places[number].part

    def raises(fault: Fault, value: float) -> float:
        return value / healthy if value > (1 + BRIDGED) * healthy > 0 else 0.0

    found = _parts_of(table, part, number, raises)
    return tuple(each for each in found if each != own)[:NAMED]


def lowering(table: Table, spot: Spot, value: float) -> tuple[str, ...]:
    """Return the parts that have a fault in the table with which a place reads about so little.

    Parameters
    ----------
    table : Table
    spot : Spot
    value : float
        As read [ohm].
    """
    healthy = float(spot.part.value[0, 0, spot.place, 0])
    near = ABOUT * abs(float(np.log(max(value, LEAST) / max(healthy, LEAST))))

    def fits(fault: Fault, found: float) -> float:
        off = float(np.log(max(found, LEAST) / max(value, LEAST)))
        milder = fault.severity is not None and off < 0  # a milder one reads more
        return 1 / (1 + abs(off)) if milder or abs(off) <= near else 0.0

    return _parts_of(table, spot.part, spot.place, fits)[:NAMED]


def _parts_of(table: Table, part: OffTable, number: int, worth: Callable[[Fault, float], float]) -> tuple[str, ...]:
    """Return the parts with a fault that is worth something at a place, the most first."""
    best: dict[str, float] = {}
    for row, fault in enumerate(table.faults, 1):
        value = float(part.value[row, 0, number, 0])
        if not fault.members and np.isfinite(value):
            best[fault.part] = max(best.get(fault.part, 0.0), worth(fault, value))
    return tuple(sorted((name for name, much in best.items() if much > 0), key=lambda name: -best[name]))
