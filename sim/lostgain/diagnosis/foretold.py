"""What a reading will be under each leading suspect, so that it can be judged at the bench."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import Circuit
from lostgain.diagnosis.belief import Belief
from lostgain.diagnosis.candidates import Candidate
from lostgain.diagnosis.features import DC, Feature, unscaled
from lostgain.diagnosis.next_model import Expectation, NextReading
from lostgain.diagnosis.rails import dc_span, most_level

Values = NDArray[np.float64]

#: Suspects shown, at most, and the least probability.
SHOWN, LEAST = 6, 0.02
#: The ends of the range that 90 % of readings fall in, and the middle.
ENDS = (0.05, 0.5, 0.95)
#: Where a normal distribution is represented when several are put together, in standard deviations.
STEPS = np.linspace(-2.2, 2.2, 23)
STEP_WEIGHT = np.exp(-(STEPS**2) / 2) / np.exp(-(STEPS**2) / 2).sum()


def foretold(
    reading: NextReading, found: Sequence[NextReading], wanted: Sequence[Candidate], believed: Belief, mean: Values,
    sigma: Values, circuit: Circuit,
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
    circuit : Circuit
        Its rails are what nothing is beyond.
    """
    column = next(number for number, each in enumerate(found) if each is reading)
    feature = wanted[column].feature
    share = believed.of_suspect()
    rows: list[Expectation] = []
    for index in [int(each) for each in np.argsort(-share, kind="stable")][:SHOWN]:
        if share[index] < LEAST and rows:
            break
        mine = believed.suspect == index
        ends = _quantiles(believed.weight[mine], mean[mine, column], sigma[mine, column], feature)
        low, middle, high = np.clip(ends, *_spans(circuit, feature)).tolist()
        named = believed.named[index]
        mode = named.fault.mode if named.fault is not None else "healthy"
        rows.append(Expectation(named.part, mode, named.channel, float(share[index]), middle, low, high))
    return replace(reading, expectations=tuple(rows))


def _spans(circuit: Circuit, feature: Feature) -> tuple[float, float]:
    """Between what a reading lies whatever a model says, and however far its spread reaches."""
    if feature.is_level:
        return 0.0, most_level(circuit, feature.swing, feature.against >= 0)
    if feature.frequency != DC:
        return -np.inf, np.inf
    low, high = dc_span(circuit.unit)
    return (low - high, high - low) if feature.against >= 0 else (low, high)


def _quantiles(weight: Values, mean: Values, sigma: Values, feature: Feature) -> list[float]:
    """Quantiles [V] of normal distributions put together by their weights."""
    places = (mean[:, None] + sigma[:, None] * STEPS).ravel()
    share = (weight[:, None] * STEP_WEIGHT).ravel()
    order = np.argsort(places)
    filled = np.cumsum(share[order]) - share[order] / 2
    ends = np.interp(ENDS, filled / share.sum(), places[order])
    return [unscaled(float(each), feature) for each in ends]
