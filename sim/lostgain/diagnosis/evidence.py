"""What speaks for and against a suspect: each reading beside its prediction."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.features import Feature, unscaled_array
from lostgain.diagnosis.likelihood import word_likelihood
from lostgain.diagnosis.model import Evidence
from lostgain.diagnosis.posterior import Case, Posterior
from lostgain.diagnosis.signs import sign_likelihood
from lostgain.readings.model import Reading
from lostgain.signatures import Table

Values = NDArray[np.float64]

#: Standard deviations either side that hold 90 % of a normal distribution.
NINETY = 1.645


def evidence(
    table: Table, posterior: Posterior, case: Case, indices: Sequence[int], covs: Values
) -> list[tuple[Evidence, ...]]:
    """Return the readings of the suspected channel beside what hypotheses predict, numbers first, for each of them.

    Parameters
    ----------
    table : Table
    posterior : Posterior
    case : Case
        With the suspected channel.
    indices : sequence of int
        The hypotheses.
    covs : array, (hypothesis, latent, latent)
        From `Case.covs`.
    """
    # The first hypothesis is the healthy unit.
    seen, which = posterior.seen, np.array([0, *indices], dtype=int)
    covs = np.concatenate([case.covs([0]), covs])
    columns = _numeric(posterior, case, which, covs)
    for reading, feature in seen.words:
        if reading.channel == case.channel:
            log = word_likelihood(table, posterior.found, seen, reading, feature, case.channel)
            at = seen.latent.index((reading.channel, feature))
            ends = _ends(case.mean[which, at], np.sqrt(covs[:, at, at]), seen.features[feature])
            columns.append(_column(reading, ends, log[which] - log[0], np.zeros(len(which))))
    for reading in seen.signs:
        if reading.channel in (case.channel, ""):
            log = sign_likelihood(table, posterior.found, reading, case.channel)
            nothing = np.full((3, len(which)), np.nan)
            columns.append(_column(reading, nothing, log[which] - log[0], np.zeros(len(which))))
    return [tuple(column[number] for column in columns) for number in range(1, len(which))]


def _column(reading: Reading, ends: Values, weight: Values, off: Values) -> list[Evidence]:
    """Return a reading beside what each hypothesis predicts: centre, lowest and highest in `ends`."""
    return [Evidence(reading, *map(float, each)) for each in zip(*ends, weight, off, strict=True)]


def _numeric(posterior: Posterior, case: Case, which: NDArray[np.int_], covs: Values) -> list[list[Evidence]]:
    seen = posterior.seen
    if not len(seen.value):
        return []
    noise = np.diag(seen.noise)
    # How far each reading is from each prediction, and one standard deviation: arrays, (hypothesis, reading).
    own = np.sqrt(np.diagonal(seen.projected(covs), axis1=1, axis2=2) + noise)
    off = (seen.value - case.mean[which] @ seen.operator.T) / own
    weight = -0.5 * (off**2 - off[0] ** 2) - np.log(own / own[0])
    columns = []
    for number, reading in enumerate(seen.readings):
        if reading.channel in (case.channel, ""):
            at = int(np.argmax(np.abs(seen.operator[number])))
            sigma = np.sqrt(covs[:, at, at] + noise[number])
            ends = _ends(case.mean[which, at], sigma, seen.features[seen.latent[at][1]])
            columns.append(_column(reading, ends, weight[:, number], off[:, number]))
    return columns


def _ends(middle: Values, sigma: Values, about: Feature) -> Values:
    """Return centre, lowest and highest of what is predicted: array, (3, hypothesis)."""
    return np.stack([unscaled_array(middle + shift * sigma, about) for shift in (0.0, -NINETY, NINETY)])
