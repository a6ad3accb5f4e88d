"""How likely a set of readings is under each hypothesis."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, logsumexp
from scipy.stats import chi2

from lostgain.diagnosis.allowances import allowances
from lostgain.diagnosis.features import Feature, scaled
from lostgain.diagnosis.hypotheses import Hypotheses
from lostgain.diagnosis.observed import Observed
from lostgain.diagnosis.shapes import likelihood as shape_likelihood
from lostgain.diagnosis.signs import sign_likelihood
from lostgain.readings.model import Reading
from lostgain.signatures import Table

Values = NDArray[np.float64]


def latent_moments(found: Hypotheses, seen: Observed, faulty: str, shared: NDArray[np.bool_]) -> tuple[Values, Values]:
    """Return what each hypothesis predicts for the features of all channels.

    Parameters
    ----------
    found : Hypotheses
    seen : Observed
    faulty : str
        The channel that holds the fault.
    shared : array of bool, (hypothesis,)
        True for a fault that all channels have.

    Returns
    -------
    mean : array, (hypothesis, latent)
    cov : array, (hypothesis, latent, latent)
        With the allowances common to all.
    """
    columns = np.array([feature for _, feature in seen.latent], dtype=int)
    channels = np.array([channel for channel, _ in seen.latent], dtype=object)
    here = ((channels == faulty) | (channels == ""))[None, :] | shared[:, None]
    mean = np.where(here, found.mean[:, columns], found.mean[0, columns])
    both_here = here[:, :, None] & here[:, None, :]
    same_channel = channels[:, None] == channels[None, :]
    own = found.cov[:, columns][:, :, columns]
    healthy = found.cov[0][np.ix_(columns, columns)]
    cov = np.where(both_here, own, healthy[None]) * same_channel[None]
    return mean, cov + seen.common.shared(mean, found.mean[0, columns])


def log_likelihood(table: Table, found: Hypotheses, seen: Observed, faulty: str, shared: NDArray[np.bool_]) -> Values:
    """Return the logarithm of the readings' likelihood: array, (hypothesis,)."""
    mean, cov = latent_moments(found, seen, faulty, shared)
    result = np.zeros(len(found.row))
    if len(seen.value):
        middle = mean @ seen.operator.T
        spread = seen.operator @ cov @ seen.operator.T + seen.noise
        result += gaussian(seen.value, middle, spread)
    for reading in seen.signs:
        result += sign_likelihood(table, found, reading, faulty)
    for reading, feature in seen.words:
        result += word_likelihood(table, found, seen, mean, cov, reading, feature, faulty)
    return result


def word_likelihood(
    table: Table,
    found: Hypotheses,
    seen: Observed,
    mean: Values,
    cov: Values,
    reading: Reading,
    feature: int,
    faulty: str,
) -> Values:
    """Return the logarithm of how likely a reading in words is: array, (hypothesis,).

    Parameters
    ----------
    table : Table
    found : Hypotheses
    seen : Observed
    mean, cov : arrays, (hypothesis, latent), (hypothesis, latent, latent)
        From `latent_moments`.
    reading : Reading
    feature : int
        Its place in ``seen.features``.
    faulty : str
        The channel that holds the fault.
    """
    if reading.above:
        at = seen.latent.index((reading.channel, feature))
        limit = scaled(abs(reading.value or 0.0), seen.features[feature])
        size = mean[:, at] if seen.features[feature].is_level else np.abs(mean[:, at])
        return np.asarray(np.logaddexp(log_ndtr((size - limit) / np.sqrt(cov[:, at, at] + 0.01)), np.log(1e-4)))
    if reading.word == "low":
        at = seen.latent.index((reading.channel, feature))
        return _low(mean[:, at], cov[:, at, at], found.mean[0, feature], seen.features[feature])
    here = found.shared | (reading.channel == faulty)
    return np.asarray(np.log(_shape(table, found, reading.word, seen.features[feature], here)))


def gaussian(value: Values, middle: Values, spread: Values) -> Values:
    """Return the log density of a multivariate normal: array, (hypothesis,).

    Parameters
    ----------
    value : array, (reading,)
    middle : array, (hypothesis, reading)
    spread : array, (hypothesis, reading, reading)
    """
    size = len(value)
    lower = np.linalg.cholesky(spread + 1e-9 * np.eye(size))
    off = np.linalg.solve(lower, (value - middle)[..., None])[..., 0]
    determinant = 2 * np.log(np.diagonal(lower, axis1=1, axis2=2)).sum(axis=1)
    return np.asarray(-0.5 * (np.sum(off**2, axis=1) + determinant + size * np.log(2 * np.pi)))


def broad(found: Hypotheses, seen: Observed) -> float:
    """Return the log likelihood under a fault of which nothing is known.

    It leaves each reading as it was or moves it anywhere in a broad range, one as likely as the other; words about a
    picture are as likely as not.
    """
    allow = allowances()
    total = np.log(0.5) * len(seen.signs)
    for reading, feature in seen.words:
        if reading.above:  # beyond a limit: half of the broad range's tail
            off = scaled(abs(reading.value or 0.0), seen.features[feature]) - found.mean[0, feature]
            width = allow.prior_broad_db if seen.features[feature].is_level else allow.prior_broad_dc
            total += float(np.logaddexp(np.log(0.5) + log_ndtr(-float(off) / width), np.log(1e-4)))
        else:
            total += np.log(0.5)
    if len(seen.value):
        columns = np.array([feature for _, feature in seen.latent], dtype=int)
        levels = np.array([seen.features[feature].is_level for feature in columns])
        wide = np.where(levels, allow.prior_broad_db, allow.prior_broad_dc) ** 2
        moved = seen.value - seen.operator @ found.mean[0, columns]
        spread = np.diag(found.cov[0])[columns] + np.diag(seen.common.always)
        # Each by itself: where such a fault acts is not known either.
        well = np.abs(seen.operator) @ spread + np.diag(seen.noise)
        wild = np.abs(seen.operator) @ (spread + wide) + np.diag(seen.noise)
        total += np.logaddexp(_density(moved, well), _density(moved, wild)).sum() + np.log(0.5) * len(moved)
    return float(total)


def _density(off: Values, variance: Values) -> Values:
    return np.asarray(-0.5 * (off**2 / variance + np.log(2 * np.pi * variance)))


def fit(value: Values, middle: Values, spread: Values) -> float:
    """Return how often readings as far from a prediction as these would come about, if it were right.

    Parameters
    ----------
    value, middle : array, (reading,)
    spread : array, (reading, reading)

    References
    ----------
    The squared Mahalanobis distance of a normal vector follows the chi-squared distribution: any textbook of
    multivariate statistics; ``scipy.stats.chi2``.
    """
    if not len(value):
        return 1.0
    off = value - middle
    return float(chi2.sf(off @ np.linalg.solve(spread, off), len(value)))


def _low(mean: Values, var: Values, healthy: float, feature: Feature) -> Values:
    """Log probability that a reading looks low beside a healthy one."""
    allow = allowances()
    below = allow.words_low_db if feature.is_level else 0.5
    chance = log_ndtr((healthy - below - mean) / np.sqrt(var + 0.5**2))
    slip = allow.words_slip
    return np.asarray(logsumexp(np.stack([chance + np.log(1 - slip), np.full_like(chance, np.log(slip))]), axis=0))


def _shape(table: Table, found: Hypotheses, word: str, feature: Feature, here: NDArray[np.bool_]) -> Values:
    frequency = max(feature.frequency, 0)
    waves = table.values("wave")[:, feature.point, frequency].astype(float)
    settled = np.asarray(table.data.settled.values)[:, frequency]
    rows = shape_likelihood(word, waves, settled, feature.floor)
    return np.where(here, rows[found.row], rows[0])
