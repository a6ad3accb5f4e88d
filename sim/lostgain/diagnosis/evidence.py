"""What speaks for and against a suspect: each reading beside its prediction."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.features import unscaled
from lostgain.diagnosis.likelihood import word_likelihood
from lostgain.diagnosis.model import Evidence
from lostgain.diagnosis.posterior import Case, Posterior
from lostgain.diagnosis.signs import sign_likelihood
from lostgain.signatures import Table

Values = NDArray[np.float64]

#: Standard deviations either side that hold 90 % of a normal distribution.
NINETY = 1.645


def evidence(table: Table, posterior: Posterior, case: Case, index: int) -> tuple[Evidence, ...]:
    """Return the readings of the suspected channel beside what a hypothesis predicts, numbers first.

    Parameters
    ----------
    table : Table
    posterior : Posterior
    case : Case
        With the suspected channel.
    index : int
        The hypothesis.
    """
    seen = posterior.seen
    rows = []
    for number, reading in enumerate(seen.readings):
        if reading.channel in (case.channel, ""):
            rows.append(_numeric(posterior, case, index, number))
    for reading, feature in seen.words:
        if reading.channel == case.channel:
            at = seen.latent.index((reading.channel, feature))
            log = word_likelihood(table, posterior.found, seen, case.mean, case.cov, reading, feature, case.channel)
            ends = _ends(posterior, case.mean[index, at], case.cov[index, at, at], feature)
            rows.append(Evidence(reading, *ends, float(log[index] - log[0]), 0.0))
    for reading in seen.signs:
        if reading.channel in (case.channel, ""):
            log = sign_likelihood(table, posterior.found, reading, case.channel)
            rows.append(Evidence(reading, np.nan, np.nan, np.nan, float(log[index] - log[0]), 0.0))
    return tuple(rows)


def _numeric(posterior: Posterior, case: Case, index: int, number: int) -> Evidence:
    seen = posterior.seen
    pick, noise = seen.operator[number], float(seen.noise[number, number])
    at = int(np.argmax(np.abs(pick)))
    off, own = _off(seen.value[number], pick, case.mean[index], case.cov[index], noise)
    # The first hypothesis is the healthy unit.
    well_off, well = _off(seen.value[number], pick, case.mean[0], case.cov[0], noise)
    weight = -0.5 * (off**2 - well_off**2) - np.log(own / well)
    ends = _ends(posterior, case.mean[index, at], case.cov[index, at, at] + noise, seen.latent[at][1])
    return Evidence(seen.readings[number], *ends, float(weight), off)


def _ends(posterior: Posterior, middle: float, variance: float, feature: int) -> tuple[float, float, float]:
    about, sigma = posterior.seen.features[feature], float(np.sqrt(variance))
    centre, low, high = (unscaled(float(middle) + shift * sigma, about) for shift in (0.0, -NINETY, NINETY))
    return centre, low, high


def _off(value: float, pick: Values, mean: Values, cov: Values, noise: float) -> tuple[float, float]:
    sigma = float(np.sqrt(pick @ cov @ pick + noise))
    return float((value - pick @ mean) / sigma), sigma
