"""What a unit's rails allow: no DC and no level lies beyond, however wrong a model may be."""

from __future__ import annotations

import numpy as np

from lostgain.circuit import Circuit
from lostgain.quantities import PP_PER_RMS
from lostgain.unit.kinds import kinds
from lostgain.unit.model import Unit

#: How much higher a rail may be than its nominal voltage: with the mains high, and without its load as well.
LINE, UNLOADED = 1.1, 1.5
#: What may step a level up beyond the rails.
WOUND = ("transformer", "inductor")


def dc_span(unit: Unit) -> tuple[float, float]:
    """Return between which voltages all DC of a unit lies [V]: its rails', infinite without any.

    An unloaded supply that the unit file describes may be higher by `UNLOADED`.
    """
    volts = [0.0, *(rail.volts for rail in unit.rails)]
    if len(volts) == 1:
        return -np.inf, np.inf
    more = UNLOADED if unit.supplies else LINE
    return min(volts) * more, max(volts) * more


def most_level(circuit: Circuit, swing: bool, across: bool) -> float:
    """Return the highest level in a unit [V rms]: of a square wave between the rails, or what the generator gives.

    Infinite where a winding may step it up.

    Parameters
    ----------
    circuit : Circuit
    swing : bool
        True where a peak-to-peak value is read: the rms value of a sine of that size.
    across : bool
        True across a pair of points: twice as much, as in a bridged output.
    """
    if any(kinds()[place.part.kind].family in WOUND for place in circuit.parts.values()):
        return np.inf
    low, high = dc_span(circuit.unit)
    square = (high - low) / (PP_PER_RMS if swing else 2)
    return (2 if across else 1) * max(square, circuit.unit.setup.generator, *circuit.unit.setup.levels, 0.0)
