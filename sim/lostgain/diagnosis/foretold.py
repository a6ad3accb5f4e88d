"""What a reading will be under each leading suspect, so that it can be judged at the bench."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.belief import Belief
from lostgain.diagnosis.candidates import Candidate
from lostgain.diagnosis.features import DC, Feature, unscaled
from lostgain.diagnosis.next_model import Expectation, NextReading
from lostgain.unit.model import Unit

Values = NDArray[np.float64]

#: Suspects shown, at most, and the least probability.
SHOWN, LEAST = 6, 0.02
#: The ends of the range that 90 % of readings fall in, and the middle.
ENDS = (0.05, 0.5, 0.95)
#: How much higher a rail may be than its nominal voltage: with the mains high, and without its load as well.
LINE, UNLOADED = 1.1, 1.5
#: Where a normal distribution is represented when several are put together, in standard deviations.
STEPS = np.linspace(-2.2, 2.2, 23)
STEP_WEIGHT = np.exp(-(STEPS**2) / 2) / np.exp(-(STEPS**2) / 2).sum()


def foretold(
    reading: NextReading, found: Sequence[NextReading], wanted: Sequence[Candidate], believed: Belief, mean: Values,
    sigma: Values, span: tuple[float, float],
) -> NextReading:  # fmt: skip
    """Return a reading with what the leading suspects predict for it.

    Parameters
    ----------
    reading : NextReading
    found : sequence of NextReading
        All of them, in the order of `wanted`.
    wanted : sequence of Candidate
    believed : Belief
    mean, sigma : arrays, (row, candidate)
    span : (float, float)
        No DC is beyond these [V], see `dc_span`.
    """
    column = next(number for number, each in enumerate(found) if each is reading)
    feature = wanted[column].feature
    share = believed.of_suspect()
    rows: list[Expectation] = []
    for index in [int(each) for each in np.argsort(-share, kind="stable")][:SHOWN]:
        if share[index] < LEAST and rows:
            break
        mine = believed.suspect == index
        low, middle, high = _quantiles(believed.weight[mine], mean[mine, column], sigma[mine, column], feature)
        if feature.frequency == DC:
            low, middle, high = (_within(each, span, feature.against >= 0) for each in (low, middle, high))
        named = believed.named[index]
        mode = named.fault.mode if named.fault is not None else "healthy"
        rows.append(Expectation(named.part, mode, named.channel, float(share[index]), middle, low, high))
    return replace(reading, expectations=tuple(rows))


def dc_span(unit: Unit) -> tuple[float, float]:
    """Return between which voltages all DC of a unit lies [V], however wrong a model may be: its rails'.

    An unloaded supply that the unit file describes may be higher by `UNLOADED`.
    """
    volts = [0.0, *(rail.volts for rail in unit.rails)]
    if len(volts) == 1:
        return -np.inf, np.inf
    more = UNLOADED if unit.supplies else LINE
    return min(volts) * more, max(volts) * more


def _within(volts: float, span: tuple[float, float], across: bool) -> float:
    low, high = (span[0] - span[1], span[1] - span[0]) if across else span
    return float(np.clip(volts, low, high))


def _quantiles(weight: Values, mean: Values, sigma: Values, feature: Feature) -> list[float]:
    """Quantiles [V] of normal distributions put together by their weights."""
    places = (mean[:, None] + sigma[:, None] * STEPS).ravel()
    share = (weight[:, None] * STEP_WEIGHT).ravel()
    order = np.argsort(places)
    filled = np.cumsum(share[order]) - share[order] / 2
    ends = np.interp(ENDS, filled / share.sum(), places[order])
    return [unscaled(float(each), feature) for each in ends]
