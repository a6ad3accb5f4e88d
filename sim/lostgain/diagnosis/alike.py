"""Levels that are all off by one factor: the generator, a probe, or a way of writing rather than a part."""

from __future__ import annotations

import numpy as np

from lostgain.diagnosis.posterior import Posterior
from lostgain.diagnosis.slips import LEVEL_SLIPS
from lostgain.quantities import show_level
from lostgain.signatures import Table

#: With fewer levels, or at fewer points, it may well be chance or a part.
LEVELS, POINTS = 4, 3
#: All of them lie this close to the factor [dB].
NEAR = 1.0
#: What is off by less than this is no wrong setting of a generator [dB].
LEAST_DB = 2.0


def alike(table: Table, posterior: Posterior) -> list[str]:
    """Say where every level is off from the healthy unit's by one factor: a slip's, or at the input as well.

    Parameters
    ----------
    table : Table
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
    mean, given = float(np.mean(off)), table.circuit.unit.setup.generator
    if np.abs(off - mean).max() < NEAR and abs(mean) > LEAST_DB and table.points[0] in {each[0] for each in levels}:
        times, now = 10 ** (mean / 20), show_level(given * 10 ** (mean / 20), digits=2)
        return [
            f"Every level is about {times:.2g} times a healthy unit's, at the input too: the generator gives about "
            f"{now} instead of {show_level(given)}, or something loads it. Read its level with the unit unplugged from "
            "it, set it, and read again."
        ]
    return []
