"""Where what a device does is its maker's affair: a chip without one supply, an input left floating.

A generic model then either shows about what the real device does, or something else altogether: two spreads, each with
its share of the probability.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.allowances import Allowances
from lostgain.diagnosis.features import Feature, by_place
from lostgain.diagnosis.moments import Pairs

Values = NDArray[np.float64]
Whole = NDArray[np.int_]

#: What is taken to be right: the description and the device's model; the model alone; neither; or all as one spread.
NEAR, LOOSE, WILD, BOTH = "near", "loose", "wild", "both"
#: How much of a point's deviation is the same at all frequencies.
ALIKE = 0.97


@dataclass(frozen=True)
class MakersAffair:
    """What models may be off by.

    Parameters
    ----------
    near, wild : arrays, (feature,)
        One standard deviation, as a share of the distance from healthy: where the device does about what its model
        does, and where it does not.
    alike : array, (feature, feature)
        Correlation.
    share : float
        Probability of the second.
    beyond : float
        Probability of neither: what it does then is not known at all.
    size : array, (feature, feature)
        What the size of any fault's effect may be off by, as a share of the effect, squared.
    loose : float
        Probability that a description is only about right.
    more : array, (feature, feature)
        Covariance of what levels may be off by then, beside what is always allowed for [dB²].
    """

    near: Values
    wild: Values
    alike: Values
    share: float
    beyond: float
    size: Values
    loose: float
    more: Values

    def add(self, spread: Values, far: Values, pairs: Pairs, kind: str) -> None:
        """Add to covariances, in place.

        Parameters
        ----------
        spread : array, (hypothesis, *pairs)
        far : array, (hypothesis, feature)
            Distance from healthy, 0 where models are trusted.
        pairs : Pairs
        kind : str
            `NEAR`, `LOOSE`, `WILD` or `BOTH`.
        """
        concerned = np.flatnonzero(far.any(axis=1))
        if not len(concerned):
            return
        both = np.sqrt((1 - self.share) * self.near**2 + self.share * self.wild**2)
        size = {NEAR: self.near, LOOSE: self.near, WILD: self.wild, BOTH: both}[kind]
        own = far[concerned] * size
        spread[concerned] += own[:, pairs[0]] * own[:, pairs[1]] * self.alike[pairs]

    def add_size(self, spread: Values, off: Values, pairs: Pairs) -> None:
        """Add to covariances, in place, that a fault may do somewhat more or less than its model, alike at all points.

        Parameters
        ----------
        spread : array, (hypothesis, *pairs)
        off : array, (hypothesis, feature)
            What each hypothesis predicts beside healthy.
        pairs : Pairs
        """
        spread += off[:, pairs[0]] * off[:, pairs[1]] * self.size[pairs]

    def add_loose(self, spread: Values, pairs: Pairs, kind: str) -> None:
        """Add to covariances, in place, what levels may be off by where a description is only about right.

        Parameters
        ----------
        spread : array, (hypothesis, *pairs)
        pairs : Pairs
        kind : str
            `NEAR` for none of it, `BOTH` for its share.
        """
        spread += {NEAR: 0.0, BOTH: self.loose}.get(kind, 1.0) * self.more[pairs]


def makers_affair(allow: Allowances, features: list[Feature]) -> MakersAffair:
    """Return what models may be off by for some features.

    Parameters
    ----------
    allow : Allowances
    features : list of Feature
    """
    level = np.array([each.is_level for each in features], dtype=bool)
    place = [(each.point, each.against, each.lead, each.other, 0 if each.is_level else each.frequency)
             for each in features]  # fmt: skip
    same = np.array([[one == other for other in place] for one in place], dtype=bool).reshape(len(level), len(level))
    at = np.array([each.frequency for each in features])
    same_frequency = at[:, None] == at[None, :]
    return MakersAffair(
        near=np.where(level, allow.model_near_level, allow.model_near_dc),
        wild=np.where(level, allow.model_wild_level, allow.model_wild_dc),
        alike=same * np.where(same_frequency, 1.0, ALIKE),
        share=allow.model_wild,
        beyond=allow.model_beyond,
        size=np.where(level, allow.model_size_level, allow.model_size_dc) ** 2 * (level[:, None] == level[None, :]),
        loose=allow.model_loose,
        more=same
        * np.outer(level, level)
        * (allow.model_loose_point_db**2 + same_frequency * allow.model_loose_each_db**2),
    )


def far_from_healthy(features: list[Feature], mean: Values, share: float) -> Values:
    """Return how far from healthy each hypothesis is: array, (hypothesis, feature).

    A level counts as this share of the furthest one at its place, at least: where what another device does comes out at
    the healthy level at one frequency, that is chance. With the power off nothing floats, and no device does anything.

    Parameters
    ----------
    features : list of Feature
    mean : array, (hypothesis, feature)
        On the comparison scale; the healthy unit comes first.
    share : float
    """
    away: Values = np.abs(mean - mean[0])
    for same in by_place(features):
        if features[same[0]].is_level:
            away[:, same] = np.maximum(away[:, same], share * away[:, same].max(axis=1, keepdims=True))
    away[:, [each.is_off for each in features]] = 0.0
    return away
