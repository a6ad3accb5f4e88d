"""Means and spreads of a table's rows over the tolerance draws."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]
Whole = NDArray[np.int_]

#: A draw's covariance counts fully only with many draws; with few, the off-diagonal part is distrusted.
TRUST = 8.0
#: Below this many draws a spread is pulled to the healthy unit's, which counts as this many more.
ENOUGH = 8
FEW = 3.0


@dataclass(frozen=True)
class Moments:
    """Mean and spread of each row of a table over the tolerance draws.

    Parameters
    ----------
    mean : array, (row, feature)
        On the comparison scale.
    cov : array, (row, feature, feature)
    """

    mean: Values
    cov: Values

    def part(self, rows: Whole, at: Whole) -> Values:
        """Return covariances of some rows and features, as a copy: array, (row, at, at)."""
        whole = len(at) == self.cov.shape[1] and bool(np.all(at == np.arange(len(at))))
        return self.cov[rows] if whole else self.cov[rows[:, None, None], at[:, None], at[None, :]]


def moments(predictions: Values) -> Moments:
    """Return mean and covariance over the draws.

    Where a row has fewer draws for one feature than for another, each pair counts with the draws both have.

    Parameters
    ----------
    predictions : array, (row, sample, feature)
        From `features.predicted`; sample 0 is at nominal values.
    """
    draws = predictions[:, 1:]
    there = np.isfinite(draws)
    count = there.sum(axis=1)
    sums = np.where(there, draws, 0.0).sum(axis=1)
    mean = np.where(count >= 3, sums / np.maximum(count, 1), predictions[:, 0])
    deviation = np.where(there, draws - mean[:, None, :], 0.0)
    both = there.astype(float)
    cov = np.swapaxes(deviation, 1, 2) @ deviation
    pairs = np.swapaxes(both, 1, 2) @ both
    cov /= np.maximum(pairs - 1, 1)
    healthy = np.diag(cov[0]).copy()
    diagonal = np.arange(cov.shape[1])
    variance = cov[:, diagonal, diagonal]
    # A handful of draws says little about a spread: it is pulled to the healthy unit's, the less the more there are.
    few = np.where(count < ENOUGH, FEW / (FEW + np.maximum(count - 1, 0)), 0.0)
    variance = (1 - few) * variance + few * healthy
    cov *= np.where(pairs < ENOUGH, 1 - FEW / (FEW + np.maximum(pairs - 1, 0)), 1.0) * pairs / (pairs + TRUST)
    cov[:, diagonal, diagonal] = variance
    return Moments(mean, cov)
