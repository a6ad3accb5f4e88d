"""One cycle of what a transient gives: cut out, rid of mean and slow drift, and measured."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]

#: Levels below this are alike [V rms].
QUIET = 0.5e-3
#: Points of a cycle on its even grid.
FINE = 256
#: An edge is where the ends of a cycle are this share of its swing further apart than its other phases have moved.
#: Only where a cycle is like the one before, their difference this share of it at most, is it looked for.
EDGE, REPEATS = 0.003, 0.5


def two_cycles(time: Values, values: Values, start: float, period: float) -> tuple[Values, Values]:
    """Two successive cycles on an even grid, without their means and slow drift: two arrays, (node, phase).

    The ends of a cycle tell its drift, unless the signal switches just there: then the ends are wherever the edge was
    caught, and what most phases have moved from one cycle to the next tells it. What oscillates by itself does not
    repeat from cycle to cycle, and is left as it is.
    """
    halves = _even(time, values, start, period), _even(time, values, start + period, period)
    moved = np.median(halves[1] - halves[0], axis=1, keepdims=True)
    apart = np.std(halves[1] - halves[0], axis=1, keepdims=True)
    repeats = apart < REPEATS * np.std(halves[1], axis=1, keepdims=True)

    def drift(half: Values) -> Values:
        ends = half[:, -1:] - half[:, :1]
        edge = repeats & (np.abs(ends - moved) > EDGE * np.ptp(half, axis=1, keepdims=True))
        return np.where(edge, moved, ends)

    before, last = (_level_ground(half, drift(half)) for half in halves)
    return before, last


def one_cycle(time: Values, values: Values, start: float, period: float) -> Values:
    """One cycle on an even grid, without its mean and without a slow drift across it: array, (node, phase)."""
    even = _even(time, values, start, period)
    return _level_ground(even, even[:, -1:] - even[:, :1])


def _even(time: Values, values: Values, start: float, period: float) -> Values:
    return at_times(start + period * np.arange(FINE + 1) / FINE, time, values)


def at_times(wanted: Values, time: Values, values: Values) -> Values:
    """Return what all nodes carry at some times, on straight lines between a transient's: array, (node, time).

    Parameters
    ----------
    wanted : array, (time,) [s]
    time : array, (n,) [s]
        Rising, two or more.
    values : array, (node, n)
    """
    after = np.clip(np.searchsorted(time, wanted), 1, len(time) - 1)
    share = np.clip((wanted - time[after - 1]) / (time[after] - time[after - 1]), 0.0, 1.0)
    return np.asarray(values[:, after - 1] * (1 - share) + values[:, after] * share)


def _level_ground(even: Values, drift: Values) -> Values:
    even = (even - drift * np.linspace(0, 1, FINE + 1))[:, :-1]
    return np.asarray(even - even.mean(axis=1, keepdims=True))


def rms(cycle: Values) -> Values:
    """Return the level: array, (node,)."""
    return np.asarray(np.sqrt(np.mean(cycle**2, axis=1)))


def swing(cycle: Values) -> Values:
    """Return the swing from peak to peak: array, (node,)."""
    return np.asarray(np.ptp(cycle, axis=1))


def decibels(one: Values, other: Values) -> Values:
    """Return how far two levels are apart, counting all below `QUIET` as alike: array [dB]."""
    return np.asarray(20 * np.log10(np.maximum(one, QUIET) / np.maximum(other, QUIET)))
