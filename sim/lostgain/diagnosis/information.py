"""What a reading is expected to tell about what one would do.

The reading is cut into bins of about equal probability, and the information is that between the bin and the decision:
never negative, nothing where every hypothesis predicts the same, and never more than the uncut reading's.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

Values = NDArray[np.float64]

#: Bins of a reading.
BINS = 48
#: Where each hypothesis puts its share of the edges, in standard deviations.
SPREAD = np.array([-1.2, 0.0, 1.2])
#: Digits to which two places on a reading's scale are told apart, as a share of its range.
SAME = 9
#: What is less probable than this tells nothing: products of such numbers are zero to a computer.
NONE = 1e-30


@dataclass(frozen=True)
class Told:
    """What readings are expected to tell.

    Parameters
    ----------
    bits : array, (reading,)
        Expected information about the decision.
    right : array, (reading,)
        How much the probability of the most probable decision is expected to rise.
    alike : array, (reading, decision)
        How much a decision's predictions overlap the most probable one's (Bhattacharyya coefficient).
    """

    bits: Values
    right: Values
    alike: Values


def told(decision: NDArray[np.int_], weight: Values, mean: Values, sigma: Values) -> Told:
    """Return what readings are expected to tell.

    Parameters
    ----------
    decision : array of int, (hypothesis,)
        What one would do if the hypothesis were known to be true.
    weight : array, (hypothesis,)
        Probabilities; they need not add up to one.
    mean, sigma : arrays, (hypothesis, reading)
        What each predicts.
    """
    share = weight / weight.sum()
    binned = (_binned(share, mean[:, column], sigma[:, column]) for column in range(mean.shape[1]))
    return from_bins(decision, share, binned)


def from_bins(decision: NDArray[np.int_], weight: Values, binned: Iterable[Values]) -> Told:
    """Return what readings are expected to tell that can only fall into bins.

    Parameters
    ----------
    decision, weight : arrays, (hypothesis,)
    binned : iterable of array, (hypothesis, bin)
        For each reading, the probability of each bin under each hypothesis.
    """
    count = int(decision.max()) + 1
    share = weight / weight.sum()
    prior = np.asarray(np.bincount(decision, share, count), dtype=float)
    best = int(prior.argmax())
    order = np.argsort(decision, kind="stable")
    present, starts = np.unique(decision[order], return_index=True)
    bits, right, alike = [], [], []
    for each in binned:
        chance = np.zeros((count, each.shape[1]))
        chance[present] = np.add.reduceat((each * share[:, None])[order], starts, axis=0)
        bits.append(_mutual(chance, prior, chance.sum(axis=0)))
        right.append(float(chance.max(axis=0).sum() - prior[best]))
        given = chance / np.maximum(prior, 1e-300)[:, None]
        alike.append(np.sqrt(given * given[best]).sum(axis=1))
    return Told(np.array(bits), np.array(right), np.array(alike).reshape(len(bits), count))


def edges(share: Values, mean: Values, sigma: Values, bins: int = BINS) -> Values:
    """Return where a reading is cut into bins: array, (bin - 1,).

    Parameters
    ----------
    share : array, (hypothesis,)
        Adding up to one.
    mean, sigma : arrays, (hypothesis,)
    bins : int
    """
    places = (mean[:, None] + sigma[:, None] * SPREAD).ravel()
    # What lies at the same place is one: in which order it is summed must not move an edge.
    least, span = places.min(), max(float(np.ptp(places)), 1e-300)
    at, which = np.unique(np.round((places - least) / span, SAME), return_inverse=True)
    held = np.bincount(which, np.repeat(share / len(SPREAD), len(SPREAD)))
    middle = np.cumsum(held) - held / 2
    return np.asarray(least + span * np.interp(np.arange(1, bins) / bins, middle, at))


def _binned(share: Values, mean: Values, sigma: Values) -> Values:
    """Return each hypothesis's probability of each bin: array, (hypothesis, bin)."""
    below = ndtr((edges(share, mean, sigma)[None, :] - mean[:, None]) / sigma[:, None])
    # Neighbouring edges may differ by a rounding error in the wrong direction.
    return np.asarray(np.maximum(np.diff(below, axis=1, prepend=0.0, append=1.0), 0.0))


def _mutual(chance: Values, prior: Values, total: Values) -> float:
    with np.errstate(divide="ignore", invalid="ignore"):
        ratio = chance / (prior[:, None] * total[None, :])
        return max(0.0, float(np.sum(np.where(chance > NONE, chance * np.log2(ratio), 0.0))))


def yes_or_no(decision: NDArray[np.int_], weight: Values, chance: Values) -> tuple[float, float]:
    """Return what a move with two outcomes is expected to tell: bits, and how much more often one is right.

    Parameters
    ----------
    decision, weight : arrays, (hypothesis,)
    chance : array, (hypothesis,)
        Probability of "yes" under each.
    """
    share = weight / weight.sum()
    count = int(decision.max()) + 1
    yes, no = (np.asarray(np.bincount(decision, share * each, count), dtype=float) for each in (chance, 1 - chance))
    both = np.stack([yes, no], axis=1)
    prior = both.sum(axis=1)
    return _mutual(both, prior, both.sum(axis=0)), float(both.max(axis=0).sum() - prior.max())
