"""Where the good channel is not as described: from which point on its levels are off, and by how much.

The generator may give something else, or both channels were modified alike. What they share is then no news of the
fault, and levels from there on are to be compared with the good channel's.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.hypotheses import Hypotheses
from lostgain.diagnosis.likelihood import latent_cov
from lostgain.diagnosis.makers import NEAR
from lostgain.diagnosis.observed import Observed
from lostgain.readings import Reading

Values = NDArray[np.float64]

#: Levels are off from a point on where they differ from those before it by more than so many standard deviations, and
#: by more than this [dB].
CLEAR, LEAST_DB = 5.0, 2.0


@dataclass(frozen=True)
class Step:
    """A point at which the good channel's levels are off by more, or less, than before it.

    Parameters
    ----------
    reading : Reading
        The good channel's first one there.
    point : int
        Its place among the table's test points.
    decibels : float
        Against the description [dB].
    more : float
        … and against the points before [dB].
    first : bool
        True where no level of the good channel was read before it: the generator may give something else.
    alone : bool
        True where the next point is as far off as those before.
    """

    reading: Reading
    point: int
    decibels: float
    more: float
    first: bool
    alone: bool


def steps_apart(seen: Observed, found: Hypotheses, good: str) -> tuple[Step, ...]:
    """Return where the good channel's levels are off, in signal order.

    Parameters
    ----------
    seen : Observed
    found : Hypotheses
    good : str
        The good channel; empty for none.
    """
    at = _levels(seen, good)
    if not at:
        return ()
    numbers = [number for each in at.values() for number in each]
    operator = seen.operator[numbers]
    # Nothing is wrong in the good channel, whatever is in another one.
    cov = latent_cov(found, seen, good, np.zeros(1, dtype=int), NEAR)[0]
    spread = operator @ cov @ operator.T + seen.noise[np.ix_(numbers, numbers)]
    # The mean over the frequencies at each point.
    mean = np.array([[(number in each) / len(each) for number in numbers] for each in at.values()])
    off = mean @ (seen.value[numbers] - operator @ found.mean[0, seen.columns])
    together = mean @ spread @ mean.T
    found_steps: list[Step] = []
    before = -1
    for row, (point, each) in enumerate(at.items()):
        base = off[before] if before >= 0 else 0.0
        more = off[row] - base
        apart = np.eye(len(at))[row] - (np.eye(len(at))[before] if before >= 0 else 0.0)
        alone = False
        if abs(more) > max(LEAST_DB, CLEAR * float(np.sqrt(apart @ together @ apart))):
            alone = row + 1 < len(at) and abs(off[row + 1] - base) < abs(off[row + 1] - off[row])
            found_steps.append(Step(seen.readings[each[0]], point, float(off[row]), float(more), row == 0, bool(alone)))
        if not alone:
            before = row
    return tuple(found_steps)


def _levels(seen: Observed, good: str) -> dict[int, list[int]]:
    """Return the good channel's levels: which readings, by their point, in signal order."""
    at: dict[int, list[int]] = {}
    for number, reading in enumerate(seen.readings):
        feature = seen.about[number]
        alone = np.count_nonzero(seen.operator[number]) == 1 and feature.against < 0
        if good and reading.channel == good and feature.is_level and not feature.common and alone:
            at.setdefault(feature.point, []).append(number)
    return dict(sorted(at.items()))


def allowed_for(seen: Observed, steps: Sequence[Step]) -> Observed:
    """Return readings of which those behind each step may be off by as much, alike in all channels.

    What is off alone is a slip rather than something that both channels share: the good channel's own may be off there.

    Parameters
    ----------
    seen : Observed
    steps : sequence of Step
    """
    features = [seen.features[number] for number in seen.columns]
    more = np.zeros((len(features), len(features)))
    for step in steps:
        level = np.array([each.is_level and not each.common for each in features], dtype=bool)
        point = np.array([each.point for each in features])
        own = (point == step.point) & (seen.channels == step.reading.channel)
        concerned = (level & (own if step.alone else point >= step.point)).astype(float)
        more += step.more**2 * np.outer(concerned, concerned)
    return replace(seen, common=replace(seen.common, always=seen.common.always + more))
