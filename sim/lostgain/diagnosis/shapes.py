"""Readings in words about a picture: how likely each word is for a simulated wave."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.allowances import allowances
from lostgain.signatures.shapes import SHAPES, memberships

Values = NDArray[np.float64]

#: Words a reading may be given in that are about the picture of a signal; the others are about its size.
PICTURES = (*SHAPES, "fuzzy")


def likelihood(word: str, waves: Values, settled: NDArray[np.bool_], floor: float) -> Values:
    """Return how likely a word is for each wave.

    Parameters
    ----------
    word : str
        One of `PICTURES`.
    waves : array, (row, phase) [V]
        One cycle each, without DC; NaN where there is none.
    settled : array of bool, (row,)
        False for a circuit that never repeated itself: a fuzzy trace.
    floor : float
        What the instrument tells from nothing [V rms]; a wave below it has no shape.

    Returns
    -------
    array, (row,)
        Close to 1 where the wave is what the word says, ``words.slip`` where it is not, 0.5 where nothing is known.
    """
    slip = allowances().words_slip
    match = np.where(settled, 0.0, 1.0) if word == "fuzzy" else memberships(np.nan_to_num(waves))[word]
    chance = slip + (1 - 2 * slip) * match
    quiet = np.sqrt(np.mean(waves**2, axis=1)) < floor
    return np.where(np.isnan(waves).any(axis=1), 0.5, np.where(quiet, slip, chance))
