"""How likely a set of readings is under each hypothesis."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray
from scipy.special import log_ndtr, logsumexp
from scipy.stats import chi2

from lostgain.diagnosis.allowances import allowances
from lostgain.diagnosis.astray import prices, with_some_astray
from lostgain.diagnosis.features import Feature, scaled
from lostgain.diagnosis.hypotheses import Hypotheses
from lostgain.diagnosis.makers import BOTH, LOOSE, NEAR, WILD
from lostgain.diagnosis.observed import Observed
from lostgain.diagnosis.shapes import likelihood as shape_likelihood
from lostgain.diagnosis.signs import sign_likelihood
from lostgain.readings.model import Reading
from lostgain.signatures import Table

Values = NDArray[np.float64]
Whole = NDArray[np.int_]

#: What stands in the corner of a matrix that is bordered by residuals: more than any squared distance.
LARGE = 1e30


def latent_mean(found: Hypotheses, seen: Observed, faulty: str) -> Values:
    """Return what each hypothesis predicts for the features of all channels: array, (hypothesis, latent).

    Parameters
    ----------
    found : Hypotheses
    seen : Observed
    faulty : str
        The channel that holds the fault.
    """
    columns = seen.columns
    here = seen.here(faulty)[None, :] | found.shared[:, None]
    return np.where(here, found.mean[:, columns], found.mean[0, columns])


def latent_cov(found: Hypotheses, seen: Observed, faulty: str, which: Whole, kind: str = BOTH) -> Values:
    """Return the spread of what hypotheses predict, allowances included: array, (which, latent, latent).

    Parameters
    ----------
    found : Hypotheses
    seen : Observed
    faulty : str
        The channel that holds the fault.
    which : array of int, (which,)
        Hypotheses.
    kind : str
        As for `hypotheses.Hypotheses.cov`.
    """
    columns = seen.columns
    shared = found.shared[which]
    here = seen.here(faulty)[None, :] | shared[:, None]
    mean = np.where(here, found.mean[which][:, columns], found.mean[0, columns])
    return _with_allowances(found, seen, faulty, shared, mean, found.cov(which, columns, kind), kind)


def _with_allowances(
    found: Hypotheses, seen: Observed, faulty: str, shared: NDArray[np.bool_], mean: Values, own: Values, kind: str
) -> Values:
    """Put healthy spreads where a channel is healthy, and add what all hypotheses allow for. Changes `own`."""
    columns = seen.columns
    same = seen.same_channel
    if not same.all():
        own *= same
    away = np.flatnonzero(~seen.here(faulty))
    if len(away):
        healthy = found.cov(np.zeros(1, dtype=int), columns[away], kind)[0] * same[np.ix_(away, away)]
        own[np.ix_(np.flatnonzero(~shared), away, away)] = healthy
    own += seen.common.shared(mean, found.mean[0, columns])
    return own


def readings_likelihood(found: Hypotheses, seen: Observed, faulty: str, which: Whole) -> Values:
    """Return the logarithm of how likely the numbers read are: array, (which,).

    What could not be simulated may be anything: those readings count as they do for a fault of which nothing is known.

    Parameters
    ----------
    found : Hypotheses
    seen : Observed
    faulty : str
        The channel that holds the fault.
    which : array of int, (which,)
        Hypotheses.
    """
    if not len(seen.value):
        return np.zeros(len(which))
    middle = latent_mean(found, seen, faulty)[which] @ seen.operator.T
    spread = _spread(found, seen, faulty, which, NEAR)
    near = _one_kind(found, seen, faulty, which, middle, spread, NEAR)
    loose = _one_kind(found, seen, faulty, which, middle, spread + _more(found, seen), LOOSE)
    result = _either(near, loose, found.off.loose)
    wild = np.flatnonzero(found.makers_affair[which])
    if len(wild):
        spread = _spread(found, seen, faulty, which[wild], WILD)
        other = _one_kind(found, seen, faulty, which[wild], middle[wild], spread, WILD)
        result[wild] = _either(result[wild], other, found.off.share)
        result[wild] = _or_anything(found, seen, which[wild], result[wild])
    return result


def _either(one: Values, other: Values, share: float) -> Values:
    """Log likelihood where the other is right with the probability `share`, else the one."""
    with np.errstate(divide="ignore"):
        return np.asarray(np.logaddexp(np.log1p(-share) + one, np.log(share) + other))


def _spread(found: Hypotheses, seen: Observed, faulty: str, which: Whole, kind: str) -> Values:
    return np.asarray(seen.projected(latent_cov(found, seen, faulty, which, kind)) + seen.noise)


def _more(found: Hypotheses, seen: Observed) -> Values:
    """By how much readings' spreads are `LOOSE` more than `NEAR`, under any hypothesis: array, (reading, reading)."""
    more = found.off.more[np.ix_(seen.columns, seen.columns)] * seen.same_channel
    return np.asarray(seen.operator @ more @ seen.operator.T)


def _one_kind(
    found: Hypotheses, seen: Observed, faulty: str, which: Whole, middle: Values, spread: Values, kind: str
) -> Values:
    result = gaussian(seen.value, middle, spread)
    if kind != WILD:
        away = _away(found, seen, middle)
        result = with_some_astray(result, seen.value, middle, spread, away, prices(allowances(), seen.about))
    here = seen.here(faulty)[None, :] | found.shared[which, None]
    lost = ((found.lost[which][:, seen.columns] & here).astype(float) @ (seen.operator != 0).T) > 0
    if lost.any():
        anything = broad_each(found, seen)
        for number in np.flatnonzero(lost.any(axis=1)):
            kept = np.flatnonzero(~lost[number])
            part = spread[number][np.ix_(kept, kept)][None]
            result[number] = gaussian(seen.value[kept], middle[number, kept][None], part)[0]
            result[number] += anything[lost[number]].sum()
    return result


def rough_likelihood(found: Hypotheses, seen: Observed, faulty: str) -> Values:
    """Return about how likely the numbers read are, whole stretches of severities at once: array, (hypothesis,).

    Parameters
    ----------
    found : Hypotheses
    seen : Observed
    faulty : str
        The channel that holds the fault.
    """
    middle, spread, segment = _rough(found, seen, faulty, NEAR, np.arange(len(found.fault)))
    price, away = prices(allowances(), seen.about), _away(found, seen, middle)
    near, loose = (
        with_some_astray(gaussian(seen.value, middle, each), seen.value, middle, each, away, price)[segment]
        for each in (spread, spread + _more(found, seen))
    )
    log = _either(near, loose, found.off.loose)
    wild = np.flatnonzero(found.makers_affair)
    if len(wild):
        middle, spread, segment = _rough(found, seen, faulty, WILD, wild)
        log[wild] = _either(log[wild], gaussian(seen.value, middle, spread)[segment], found.off.share)
        log[wild] = _or_anything(found, seen, wild, log[wild])
    return log


def _or_anything(found: Hypotheses, seen: Observed, which: Whole, log: Values) -> Values:
    """Let a part whose failure is its maker's affair do anything, seldom; of a bridge, that is "something else"."""
    anything = np.where(found.fault[which] >= 0, broad_each(found, seen).sum(), -np.inf)
    return _either(log, anything, found.off.beyond)


def _away(found: Hypotheses, seen: Observed, middle: Values) -> NDArray[np.bool_]:
    """Which predictions lie away from healthy: array, (hypothesis, reading)."""
    allow = allowances()
    least = np.array([allow.model_astray_db if each.is_level else allow.model_astray_dc for each in seen.about])
    return np.asarray(np.abs(middle - seen.operator @ found.mean[0, seen.columns]) > least)


def rough_without_each(found: Hypotheses, seen: Observed, faulty: str) -> Values:
    """Return the same as `rough_likelihood` with one reading left out, for each reading: array, (hypothesis, reading).

    For descriptions that are only about right, since it is looked for what no description goes with.

    Parameters
    ----------
    found : Hypotheses
    seen : Observed
    faulty : str
        The channel that holds the fault.

    References
    ----------
    The density of one element of a normal vector given all others, from the inverse of the covariance: C. E. Rasmussen
    and C. K. I. Williams, Gaussian Processes for Machine Learning (2006), section 5.4.2. From memory, checked in the
    tests against leaving it out.
    """
    middle, spread, segment = _rough(found, seen, faulty, LOOSE, np.arange(len(found.fault)))
    inverse = np.linalg.inv(spread)
    # With some 150 readings an inverse may come out a rounding error below zero: that reading then says nothing.
    own = 1 / np.maximum(np.diagonal(inverse, axis1=1, axis2=2), 1e-9)
    off = (inverse @ (seen.value - middle)[..., None])[..., 0] * own
    whole = gaussian(seen.value, middle, spread)
    return np.asarray((whole[:, None] - _density(off, own))[segment])


def _rough(found: Hypotheses, seen: Observed, faulty: str, kind: str, which: Whole) -> tuple[Values, Values, Whole]:
    """Means and spreads of the readings over whole stretches, and which stretch each hypothesis lies in."""
    middle, own, segment = found.segments(which, seen.columns, kind)
    shared = np.zeros(len(middle), dtype=bool)
    shared[segment] = found.shared[which]
    here = seen.here(faulty)[None, :] | shared[:, None]
    mean = np.where(here, middle, found.mean[0, seen.columns])
    spread = seen.projected(_with_allowances(found, seen, faulty, shared, mean, own, kind)) + seen.noise
    return mean @ seen.operator.T, spread, segment


def others_likelihood(table: Table, found: Hypotheses, seen: Observed, faulty: str) -> Values:
    """Return the logarithm of how likely the words and signs are: array, (hypothesis,).

    Parameters
    ----------
    table : Table
    found : Hypotheses
    seen : Observed
    faulty : str
        The channel that holds the fault.
    """
    result = np.zeros(len(found.fault))
    for reading in seen.signs:
        result += sign_likelihood(table, found, reading, faulty)
    for reading, feature in seen.words:
        result += word_likelihood(table, found, seen, reading, feature, faulty)
    return result


def word_likelihood(
    table: Table, found: Hypotheses, seen: Observed, reading: Reading, feature: int, faulty: str
) -> Values:
    """Return the logarithm of how likely a reading in words is: array, (hypothesis,).

    Parameters
    ----------
    table : Table
    found : Hypotheses
    seen : Observed
    reading : Reading
    feature : int
        Its place in ``seen.features``.
    faulty : str
        The channel that holds the fault.
    """
    here = found.shared | (reading.channel in (faulty, ""))
    about = seen.features[feature]
    if not reading.above and reading.word != "low":
        return np.asarray(np.log(_shape(table, found, reading.word, about, here)))
    at = seen.latent.index((reading.channel, feature))
    mean = np.where(here, found.mean[:, feature], found.mean[0, feature])
    own = found.variance(np.arange(len(found.fault)), np.array([feature]))[:, 0]
    spread = np.where(here, own, own[0]) + seen.common.always[at, at]
    if reading.word == "low":
        return _low(mean, spread, found.mean[0, feature], about)
    limit = scaled(abs(reading.value or 0.0), about)
    size = mean if about.is_level else np.abs(mean)
    return np.asarray(np.logaddexp(log_ndtr((size - limit) / np.sqrt(spread + 0.01)), np.log(1e-4)))


def gaussian(value: Values, middle: Values, spread: Values) -> Values:
    """Return the log density of a multivariate normal: array, (hypothesis,).

    Parameters
    ----------
    value : array, (reading,)
    middle : array, (hypothesis, reading)
    spread : array, (hypothesis, reading, reading)
    """
    size = len(value)
    # With the residuals as one more row, the last row of the triangle is what solving for them would give.
    bordered = np.empty((len(spread), size + 1, size + 1))
    bordered[:, :size, :size] = spread
    bordered[:, range(size), range(size)] += 1e-9
    bordered[:, size, :size] = bordered[:, :size, size] = value - middle
    bordered[:, size, size] = LARGE
    try:
        lower = np.linalg.cholesky(bordered)
    except np.linalg.LinAlgError:
        bordered[:, :size, :size] = _mended(bordered[:, :size, :size])
        lower = np.linalg.cholesky(bordered)
    off = lower[:, size, :size]
    determinant = 2 * np.log(np.diagonal(lower, axis1=1, axis2=2)[:, :size]).sum(axis=1)
    return np.asarray(-0.5 * (np.sum(off**2, axis=1) + determinant + size * np.log(2 * np.pi)))


def _mended(spread: Values) -> Values:
    """Return the nearest covariances: what few draws give for many pairs need not be one to the last digit."""
    values, vectors = np.linalg.eigh(spread)
    least = 1e-6 * values[:, -1:]
    return np.asarray((vectors * np.maximum(values, least)[:, None, :]) @ np.swapaxes(vectors, 1, 2))


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
    return float(total + broad_each(found, seen).sum())


def broad_each(found: Hypotheses, seen: Observed) -> Values:
    """Return the log density of each number read under a fault of which nothing is known: array, (reading,)."""
    if not len(seen.value):
        return np.zeros(0)
    allow = allowances()
    columns = seen.columns
    levels = np.array([seen.features[feature].is_level for feature in columns])
    wide = np.where(levels, allow.prior_broad_db, allow.prior_broad_dc) ** 2
    moved = seen.value - seen.operator @ found.mean[0, columns]
    spread = np.diag(found.cov(np.zeros(1, dtype=int), columns)[0]) + np.diag(seen.common.always)
    # Each by itself: where such a fault acts is not known either.
    well = np.abs(seen.operator) @ spread + np.diag(seen.noise)
    wild = np.abs(seen.operator) @ (spread + wide) + np.diag(seen.noise)
    return np.asarray(np.logaddexp(_density(moved, well), _density(moved, wild)) + np.log(0.5))


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
