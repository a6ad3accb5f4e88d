"""Means and spreads of a table's rows over the tolerance draws."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]
Whole = NDArray[np.int_]
#: Places of two features each, as arrays that are broadcast against each other: (column, 1) and (1, column) for a
#: matrix, the same array twice for its diagonal.
Pairs = tuple[Whole, Whole]

#: What readings have in common counts fully only with many draws; with few, it is the healthy unit's, where the same
#: signal passes the same points.
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

    def part(self, rows: Whole, pairs: Pairs) -> Values:
        """Return covariances of some rows and pairs of features, as a copy: array, (row, *pairs)."""
        one, other = pairs
        everything = np.arange(self.cov.shape[1])
        if np.array_equal(one, everything[:, None]) and np.array_equal(other, everything[None, :]):
            return self.cov[rows]  # without picking, which takes longer than all else
        return self.cov[rows.reshape(-1, *(1,) * one.ndim), one, other]


def pairs_of(one: Whole, other: Whole) -> Pairs:
    """Return every pair of some features with some others: they make a matrix."""
    return one[:, None], other[None, :]


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
    raw = np.sum(deviation**2, axis=1) / np.maximum(count - 1, 1)
    # A handful of draws says little about a spread: it is pulled to the healthy unit's, the less the more there are.
    few = np.where(count < ENOUGH, FEW / (FEW + np.maximum(count - 1, 0)), 0.0)
    sigma = np.sqrt((1 - few) * raw + few * raw[0])
    # Of each row's own correlation so much is kept; between numbers with unequal draws none, and the rest is healthy.
    own = count / (count + TRUST)
    scaled = deviation * (np.sqrt(own / np.maximum(count - 1, 1)) / np.sqrt(np.maximum(raw, 1e-30)))[:, None, :]
    cov = np.swapaxes(scaled, 1, 2) @ scaled
    cov *= count[:, :, None] == count[:, None, :]
    left = np.sqrt(1 - own)
    cov += left[:, :, None] * left[:, None, :] * _healthy(draws[0])
    cov *= sigma[:, :, None] * sigma[:, None, :]
    diagonal = np.arange(cov.shape[1])
    cov[:, diagonal, diagonal] = sigma**2
    return Moments(mean, cov)


def _healthy(draws: Values) -> Values:
    """Return the correlation over the healthy unit's draws, as far as trusted: array, (feature, feature)."""
    size = draws.shape[1]
    whole = np.isfinite(draws).all(axis=1)
    spread = draws[whole].std(axis=0) if whole.any() else np.zeros(size)
    centred = np.divide(draws - draws[whole].mean(axis=0), spread, out=np.zeros_like(draws), where=spread > 0)[whole]
    trusted = len(centred) / (len(centred) + TRUST)
    found = trusted * centred.T @ centred / max(len(centred), 1)
    found[np.arange(size), np.arange(size)] = 1.0
    return np.asarray(found)
