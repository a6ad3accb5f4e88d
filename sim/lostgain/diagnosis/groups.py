"""Ambiguity groups: which suspects the readings taken cannot tell apart."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]

#: Two suspects are look-alikes when their predictions overlap this much (Bhattacharyya coefficient: 1 for the same).
ALIKE = 0.4


def grouped(mean: Values, spread: Values) -> list[int]:
    """Return the group of each suspect, numbered from 1 in the order of its first member.

    Parameters
    ----------
    mean : array, (suspect, reading)
        What each predicts for the readings taken, most probable suspect first.
    spread : array, (suspect, reading, reading)

    Returns
    -------
    list of int
        A suspect joins the group of the first, more probable one that it looks like.
    """
    leaders: list[int] = []
    numbers = []
    for number in range(len(mean)):
        for place, leader in enumerate(leaders, 1):
            if overlap(mean[leader], spread[leader], mean[number], spread[number]) >= ALIKE:
                numbers.append(place)
                break
        else:
            leaders.append(number)
            numbers.append(len(leaders))
    return numbers


def overlap(mean: Values, spread: Values, other_mean: Values, other_spread: Values) -> float:
    """Return the Bhattacharyya coefficient of two normal distributions, between 0 and 1.

    References
    ----------
    A. Bhattacharyya, Bull. Calcutta Math. Soc. 35 (1943); the closed form for normal distributions from memory, checked
    in the tests against numerical integration.
    """
    if len(mean) == 0:
        return 1.0
    middle = (spread + other_spread) / 2
    off = mean - other_mean
    distance = off @ np.linalg.solve(middle, off) / 8
    logs = [np.linalg.slogdet(each)[1] for each in (middle, spread, other_spread)]
    return float(np.exp(-distance - 0.5 * logs[0] + 0.25 * (logs[1] + logs[2])))
