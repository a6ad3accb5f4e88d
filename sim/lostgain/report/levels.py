"""How levels along the chain are shown, on paper and in a terminal: in decibels, with a floor for nothing."""

from __future__ import annotations

import math
from collections.abc import Iterable

import numpy as np
from numpy.typing import NDArray

from lostgain.quantities import show
from lostgain.signatures.gains import NOTHING
from lostgain.unit.model import Unit

Values = NDArray[np.float64]

#: Where "nothing" is drawn [dB re 1 V rms], and the step of the marks on the axis [dB].
FLOOR = 20 * math.log10(NOTHING)
STEP = 20


def decibels(volts: Values | float) -> Values:
    """Return levels in dB re 1 V rms; what is nothing lies on the floor, and NaN stays NaN."""
    return np.asarray(20 * np.log10(np.maximum(np.asarray(volts, dtype=float), NOTHING)))


def volts(level: float) -> str:
    """Return a level as it is written beside a mark: ``420 mV``, ``nothing``, ``no result`` for NaN."""
    if math.isnan(level):
        return "no result"
    return "nothing" if level <= NOTHING else show(level, "V")


def highest(levels: Iterable[Values]) -> float:
    """Return the top of the axis [dB re 1 V rms]: the next 10 dB above all levels."""
    tops = [float(np.nanmax(each)) for each in levels if np.isfinite(each).any()]
    top = float(decibels(max(tops, default=1.0)))
    return max(10 * math.ceil((top + 4) / 10), 0)


def unreachable(unit: Unit) -> frozenset[str]:
    """Return the names of the test points that no probe reaches."""
    return frozenset(point.name for point in unit.points if not point.reach)
