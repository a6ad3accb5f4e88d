"""How likely each severity of a mode is: the weights of the catalogue's levels, spread over the stretch between."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lostgain.faults.catalogue import Mode


def density(mode: Mode, severity: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the prior density of a severity, over its natural logarithm.

    Each level's weight is spread evenly over the stretch from half-way to its neighbours (on a logarithmic scale); in
    between, the density runs straight from one level to the next. It is zero outside the levels.

    Parameters
    ----------
    mode : Mode
        With a severity.
    severity : array, (n,)
        Positive, in the mode's unit.

    Returns
    -------
    array, (n,)
        Up to a common factor.
    """
    at = np.log(np.asarray(severity, dtype=float))
    level = np.log(np.array(mode.levels))
    order = np.argsort(level)
    level, weight = level[order], np.array(mode.weights)[order]
    if len(level) == 1:
        return np.where(np.isclose(at, level[0]), 1.0, 0.0)
    half = (level[1:] + level[:-1]) / 2
    stretch = np.diff(np.concatenate([[2 * level[0] - half[0]], half, [2 * level[-1] - half[-1]]]))
    return np.asarray(np.interp(at, level, weight / stretch, left=0.0, right=0.0))
