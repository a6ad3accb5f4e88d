"""What speaks for and against a suspect: each reading beside its prediction."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.features import Feature, unscaled
from lostgain.diagnosis.likelihood import word_likelihood
from lostgain.diagnosis.model import Evidence
from lostgain.diagnosis.observed import Observed
from lostgain.diagnosis.posterior import Case, Posterior
from lostgain.diagnosis.signs import sign_likelihood
from lostgain.signatures import Table

Values = NDArray[np.float64]

#: Standard deviations either side that hold 90 % of a normal distribution.
NINETY = 1.645


def evidence(table: Table, posterior: Posterior, case: Case, indices: Sequence[int]) -> list[tuple[Evidence, ...]]:
    """Return the readings of the suspected channel beside what hypotheses predict, numbers first, for each of them.

    Parameters
    ----------
    table : Table
    posterior : Posterior
    case : Case
        With the suspected channel.
    indices : sequence of int
        The hypotheses.
    """
    seen = posterior.seen
    words = [
        (reading, feature, word_likelihood(table, posterior.found, seen, reading, feature, case.channel))
        for reading, feature in seen.words
        if reading.channel == case.channel
    ]
    signs = [
        (reading, sign_likelihood(table, posterior.found, reading, case.channel))
        for reading in seen.signs
        if reading.channel in (case.channel, "")
    ]
    well = case.cov(0)
    found = []
    for index in indices:
        cov = case.cov(index)
        rows = _numeric(posterior, case, index, cov, well)
        for reading, feature, log in words:
            at = seen.latent.index((reading.channel, feature))
            ends = _ends(case.mean[index, at], np.sqrt(cov[at, at]), seen.features[feature])
            rows.append(Evidence(reading, *ends, float(log[index] - log[0]), 0.0))
        rows += [Evidence(reading, np.nan, np.nan, np.nan, float(log[index] - log[0]), 0.0) for reading, log in signs]
        found.append(tuple(rows))
    return found


def _numeric(posterior: Posterior, case: Case, index: int, cov: Values, well_cov: Values) -> list[Evidence]:
    seen = posterior.seen
    if not len(seen.value):
        return []
    noise = np.diag(seen.noise)
    off, own = _off(seen, case.mean[index], cov, noise)
    # The first hypothesis is the healthy unit.
    well_off, well = _off(seen, case.mean[0], well_cov, noise)
    weight = -0.5 * (off**2 - well_off**2) - np.log(own / well)
    rows = []
    for number, reading in enumerate(seen.readings):
        if reading.channel in (case.channel, ""):
            at = int(np.argmax(np.abs(seen.operator[number])))
            sigma = np.sqrt(cov[at, at] + noise[number])
            ends = _ends(case.mean[index, at], sigma, seen.features[seen.latent[at][1]])
            rows.append(Evidence(reading, *ends, float(weight[number]), float(off[number])))
    return rows


def _ends(middle: float, sigma: float, about: Feature) -> tuple[float, float, float]:
    centre, low, high = (unscaled(float(middle + shift * sigma), about) for shift in (0.0, -NINETY, NINETY))
    return centre, low, high


def _off(seen: Observed, mean: Values, cov: Values, noise: Values) -> tuple[Values, Values]:
    """How far each reading is from a prediction, in standard deviations, and these: arrays, (reading,)."""
    sigma = np.sqrt(np.diag(seen.projected(cov)) + noise)
    return (seen.value - seen.operator @ mean) / sigma, sigma
