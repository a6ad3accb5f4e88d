"""The figures of a benchmark, each with its 95 % interval."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import asdict, dataclass

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]

#: Probabilities below this count as this much in the log loss, ours and the references' alike.
LEAST = 1e-6
BINS = 10
RESAMPLES = 1000
_Z = 1.959964  # 97.5 % quantile of the normal distribution


@dataclass(frozen=True)
class Figure:
    """One figure.

    Parameters
    ----------
    value : float
        NaN where there was nothing to count.
    low, high : float
        Ends of its 95 % interval.
    cases : int
        What it was counted over.
    """

    value: float
    low: float
    high: float
    cases: int

    def record(self) -> dict[str, float | int | None]:
        """Return it for JSON, which has no NaN."""
        return {key: None if value != value else value for key, value in asdict(self).items()}


NOTHING = Figure(float("nan"), float("nan"), float("nan"), 0)


def share(hits: Sequence[bool] | NDArray[np.bool_]) -> Figure:
    """Return a share of cases with Wilson's score interval.

    References
    ----------
    E. B. Wilson, J. Am. Stat. Assoc. 22 (1927) 209; from memory, checked in the tests against scipy.stats.
    """
    count = len(hits)
    if count == 0:
        return NOTHING
    p = float(np.mean(hits))
    middle = (p + _Z**2 / (2 * count)) / (1 + _Z**2 / count)
    half = _Z / (1 + _Z**2 / count) * np.sqrt(p * (1 - p) / count + _Z**2 / (4 * count**2))
    return Figure(p, max(0.0, float(middle - half)), min(1.0, float(middle + half)), count)


def resampled(statistic: Callable[[NDArray[np.int_]], float], count: int, seed: int = 1, basic: bool = False) -> Figure:
    """Return a statistic of cases with its bootstrap interval.

    Parameters
    ----------
    statistic : callable
        Takes the numbers of the cases, (n,), some of them more than once.
    count : int
        How many cases there are.
    seed : int
    basic : bool
        Take the basic interval, which mirrors the resampled values at the value found: for a statistic that resampling
        pushes to one side, as it does a mean of absolute values. Else the percentile interval.
    """
    if count == 0:
        return NOTHING
    rng = np.random.default_rng(seed)
    value = statistic(np.arange(count))
    again = np.array([statistic(rng.integers(0, count, count)) for _ in range(RESAMPLES)])
    low, high = (float(each) for each in np.nanquantile(again, [0.025, 0.975]))
    if basic:
        low, high = max(0.0, 2 * value - high), 2 * value - low
    return Figure(float(value), low, high, count)


def log_loss(probability: Sequence[float] | Values, seed: int = 1) -> Figure:
    """Return the mean of −ln of the probability that was given to what turned out to be true."""
    loss = -np.log(np.clip(np.asarray(probability, dtype=float), LEAST, 1.0))
    return resampled(lambda at: float(loss[at].mean()), len(loss), seed)


def calibration(probability: Values, hit: Values, weight: Values, bins: int = BINS) -> tuple[Values, Values, Values]:
    """Return the reliability table: mean probability, share of hits and weight of each bin.

    Parameters
    ----------
    probability, hit, weight : array, (case,)
    bins : int
        Each holds the same weight; a case on an edge is divided between two.
    """
    order = np.argsort(probability, kind="stable")
    p, h, w = probability[order], np.asarray(hit, dtype=float)[order], weight[order]
    ends = np.concatenate([[0.0], np.cumsum(w)])
    edges = np.linspace(0, ends[-1], bins + 1)
    sums = [np.interp(edges, ends, np.concatenate([[0.0], np.cumsum(w * each)])) for each in (p, h)]
    inside = np.diff(edges)
    return np.diff(sums[0]) / inside, np.diff(sums[1]) / inside, inside


def _expected_error(probability: Values, hit: Values, weight: Values) -> float:
    p, h, w = calibration(probability, hit, weight)
    return float(np.sum(w * np.abs(p - h)) / np.sum(w))


def calibration_error(probability: Values, hit: Values, weight: Values, seed: int = 1) -> Figure:
    """Return the expected calibration error over ten bins of equal count: of equal weight, where cases have weights."""
    return resampled(
        lambda at: _expected_error(probability[at], hit[at], weight[at]), len(probability), seed, basic=True
    )


def calibration_by_chance(probability: Values, weight: Values, seed: int = 1) -> float:
    """Return the calibration error that perfectly calibrated probabilities would show over so many cases."""
    rng = np.random.default_rng(seed)
    draws = [
        _expected_error(probability, np.asarray(rng.random(len(probability)) < probability, dtype=float), weight)
        for _ in range(200)
    ]
    return float(np.mean(draws))


def ratio(ours: Values, theirs: Values, seed: int = 1) -> Figure:
    """Return the mean of ours over the mean of theirs, case by case the same, with its paired bootstrap interval."""

    def statistic(at: NDArray[np.int_]) -> float:
        below = float(theirs[at].mean())
        return float(ours[at].mean()) / below if below else float("nan")

    return resampled(statistic, len(ours), seed)
