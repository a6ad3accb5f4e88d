"""Readings in words about a picture: how likely each word is for a simulated wave."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.allowances import allowances

Values = NDArray[np.float64]

#: Words about the picture of a signal; the others are about its size.
SHAPES = ("clipped", "flat top", "half missing", "crossover", "fuzzy")

#: Share of a cycle that a sine spends within 3 % of its swing from a peak, and within 5 % of its middle.
SINE_TOP = float(np.arccos(1 - 0.06) / np.pi)
SINE_MIDDLE = float(2 * np.arcsin(0.10) / np.pi)


def likelihood(word: str, waves: Values, settled: NDArray[np.bool_], floor: float) -> Values:
    """Return how likely a word is for each wave.

    Parameters
    ----------
    word : str
        One of `SHAPES`.
    waves : array, (row, phase) [V]
        One cycle each, without DC; NaN where there is none.
    settled : array of bool, (row,)
        False for a circuit that never repeated itself: a fuzzy trace.
    floor : float
        What the instrument tells from nothing [V rms]; a wave below it has no shape.

    Returns
    -------
    array, (row,)
        Close to 1 where the wave is what the word says, `words.slip` where it is not, 0.5 where nothing is known.
    """
    slip = allowances().words_slip
    found = _memberships(waves)
    match = found[word] if word != "fuzzy" else np.where(settled, 0.0, 1.0)
    chance = slip + (1 - 2 * slip) * match
    quiet = np.sqrt(np.mean(waves**2, axis=1)) < floor
    return np.where(np.isnan(waves).any(axis=1), 0.5, np.where(quiet, slip, chance))


def distortion(waves: Values) -> Values:
    """Return the total harmonic distortion as a fraction: array, (row,); the harmonics' rms over the fundamental's."""
    spectrum = np.abs(np.fft.rfft(waves, axis=1)) ** 2
    fundamental = np.maximum(spectrum[:, 1], 1e-30)
    return np.asarray(np.sqrt(spectrum[:, 2:].sum(axis=1) / fundamental))


def _memberships(waves: Values) -> dict[str, Values]:
    """How well each word fits each wave, 0 to 1: ``{word: array (row,)}``."""
    swing = np.maximum(np.ptp(waves, axis=1), 1e-12)[:, None]
    top = np.mean(waves > waves.max(axis=1)[:, None] - 0.03 * swing, axis=1) / SINE_TOP
    bottom = np.mean(waves < waves.min(axis=1)[:, None] + 0.03 * swing, axis=1) / SINE_TOP
    centre = (waves.max(axis=1) + waves.min(axis=1))[:, None] / 2
    middle = np.mean(np.abs(waves - centre) < 0.05 * swing, axis=1) / SINE_MIDDLE
    distorted = distortion(waves)
    flatter, rounder = np.maximum(top, bottom), np.minimum(top, bottom)
    even_handed = _above(rounder, 1.25, 1.6)
    flat = _above(flatter, 1.35, 1.8) * _above(distorted, 0.015, 0.04)
    half = _above(flatter, 2.8, 3.6) * (1 - _above(rounder, 1.5, 2.2)) * _above(distorted, 0.12, 0.25)
    return {
        "clipped": flat * (0.4 + 0.6 * even_handed) * (1 - 0.7 * half),
        "flat top": flat * (1 - 0.7 * even_handed) * (1 - 0.5 * half),
        "half missing": half,
        "crossover": _above(middle, 1.5, 2.5) * _above(distorted, 0.01, 0.03),
    }


def _above(value: Values, no: float, yes: float) -> Values:
    """0 up to `no`, 1 from `yes` on, straight between."""
    return np.asarray(np.clip((value - no) / (yes - no), 0.0, 1.0))
