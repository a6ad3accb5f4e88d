"""Two readings ahead: with which reading first the part is expected to be found in the fewest minutes.

Information per minute alone favours cheap readings even where a dearer one will be needed anyway and tells the same.
Looking one reading further mends that. Readings are cut into a few bins, and taken as independent of each other once
fault and severity are known.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from lostgain.diagnosis.candidates import SHORTEST, Candidate, minutes_between
from lostgain.diagnosis.information import edges
from lostgain.diagnosis.moves import facts

Values = NDArray[np.float64]

#: Bins of a reading, hypotheses and decisions that are followed (the most probable), and first readings tried.
BINS, HYPOTHESES, DECISIONS, TRIED = 8, 160, 24, 12
#: The reading with most information per minute is kept unless another needs less than this share of its minutes.
SAVES = 0.97
#: Minutes that a bit still to be found is reckoned at, in typical readings.
READINGS_A_BIT = 1.0


def soonest(
    decision: NDArray[np.int_], weight: Values, mean: Values, sigma: Values, wanted: Sequence[Candidate], bits: Values
) -> int:
    """Return the reading to begin with.

    Parameters
    ----------
    decision : array of int, (hypothesis,)
    weight : array, (hypothesis,)
    mean, sigma : arrays, (hypothesis, reading)
        What each predicts.
    wanted : sequence of Candidate
        The readings.
    bits : array, (reading,)
        What each is expected to tell by itself.
    """
    minutes = np.array([each.minutes for each in wanted])
    keep = np.argsort(-weight, kind="stable")[:HYPOTHESES]
    share = weight[keep] / weight[keep].sum()
    member = _members(decision[keep], share)
    useful = np.unique([*np.argsort(-bits, kind="stable")[: 3 * TRIED], *np.argsort(-bits / minutes)[:TRIED]])
    chance = np.stack([_bins(share, mean[keep, each], sigma[keep, each]) for each in useful])
    alike = _alike(member * share, chance)
    typical = float(np.median(minutes))
    after = [_minutes_after(wanted, useful, int(first)) for first in useful]
    order = np.argsort(-bits[useful] / minutes[useful], kind="stable")
    tried = np.unique([*order[:TRIED], *np.argsort(-bits[useful], kind="stable")[:TRIED]])
    found = {
        int(useful[place]): minutes[useful[place]]
        + _to_come(member, share, chance, alike, int(place), after[int(place)], typical)
        for place in tried
    }
    plain = int(useful[order[0]])
    best = min(found, key=lambda each: found[each])
    # Never for a reading that tells less: that would only put off the one that is needed.
    return best if bits[best] > bits[plain] and found[best] < SAVES * found[plain] else plain


def _members(decision: NDArray[np.int_], share: Values) -> Values:
    """Which hypothesis belongs to which of the most probable decisions: array, (decision, hypothesis)."""
    total = np.bincount(decision, share)
    chosen = np.argsort(-total, kind="stable")[:DECISIONS]
    return np.asarray(decision[None, :] == chosen[total[chosen] > 0][:, None], dtype=float)


def _bins(share: Values, mean: Values, sigma: Values) -> Values:
    below = ndtr((edges(share, mean, sigma, BINS)[None] - mean[:, None]) / sigma[:, None])
    return np.asarray(np.maximum(np.diff(below, axis=1, prepend=0.0, append=1.0), 0.0))


def _alike(member: Values, chance: Values) -> Values:
    """Which decisions no reading tells apart: array of 0 and 1, (decision, decision)."""
    joint = np.einsum("dh,chb->cdb", member, chance)
    given = np.sqrt(joint / joint.sum(axis=2, keepdims=True))
    overlap = np.einsum("cdb,ceb->cde", given, given).min(axis=0)
    return np.asarray(overlap >= facts().stop.alike, dtype=float)


def _minutes_after(wanted: Sequence[Candidate], useful: NDArray[np.int_], first: int) -> Values:
    """Minutes of each reading once the probe is where the first was taken; one cannot be taken twice."""
    begun, times, found = wanted[first].reading, facts().reading, []
    for number in useful:
        one = wanted[int(number)]
        there = (one.reading.point, one.reading.channel) == (begun.point, begun.channel)
        stay = times.stay if one.reading.quantity == begun.quantity else times.switch
        own = max(SHORTEST, min(stay, one.away)) if there else one.away
        found.append(np.inf if number == first else own + minutes_between(begun, one.reading))
    return np.array(found)


def _to_come(
    member: Values, share: Values, chance: Values, alike: Values, first: int, minutes: Values, typical: float
) -> float:
    """Expected minutes after a first reading: a second one, and what is then still not known."""
    total = 0.0
    for bin_ in range(chance.shape[2]):
        weight = share * chance[first][:, bin_]
        here = float(weight.sum())
        if here < 1e-4 or _sure((member @ weight) / here, alike):
            continue
        joint = np.einsum("dh,chb->cbd", member * weight, chance) / here
        then = joint.sum(axis=2)
        given = joint / np.maximum(then, 1e-12)[..., None]
        unknown = -np.sum(given * np.log2(np.maximum(given, 1e-12)), axis=2)
        unknown[(given @ alike).max(axis=2) >= facts().stop.sure] = 0.0
        now = (member @ weight) / here
        alone = -float(np.sum(now * np.log2(np.maximum(now, 1e-12))))
        bit = READINGS_A_BIT * typical
        total += here * min(bit * alone, float(np.min(minutes + bit * np.sum(then * unknown, axis=1))))
    return total


def _sure(share: Values, alike: Values) -> bool:
    return bool((share @ alike).max() >= facts().stop.sure)
