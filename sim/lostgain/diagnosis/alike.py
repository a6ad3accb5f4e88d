"""Levels that are all off by one factor: the generator, a probe, or a way of writing rather than a part."""

from __future__ import annotations

import numpy as np

from lostgain.diagnosis.posterior import Posterior
from lostgain.diagnosis.slips import LEVEL_SLIPS

#: With fewer levels, or at fewer points, it may well be chance or a part.
LEVELS, POINTS = 4, 3
#: All of them lie this close to the factor [dB].
NEAR = 1.0


def alike(posterior: Posterior) -> list[str]:
    """Say where every level is off from the healthy unit's by what a slip would make, the same for all.

    Parameters
    ----------
    posterior : Posterior
    """
    seen, found = posterior.seen, posterior.found
    column = {feature: number for number, feature in enumerate(seen.features)}
    levels = [
        (reading.point, reading.channel, seen.value[number] - found.mean[0, column[about]])
        for number, (reading, about) in enumerate(zip(seen.readings, seen.about, strict=True))
        if about.is_level and reading.value and not (reading.word or reading.below) and about in column
    ]
    if len(levels) < LEVELS or len({each[:2] for each in levels}) < POINTS:
        return []
    off = np.array([each[2] for each in levels])
    for factor, slip in LEVEL_SLIPS:
        if np.abs(off - 20 * np.log10(factor)).max() < NEAR:
            return [
                f"Every level is about {factor:.3g} times a healthy unit's. A slip that makes all of them so: {slip}. "
                "Else it is the generator's setting, or something ahead of the first of these points."
            ]
    return []
