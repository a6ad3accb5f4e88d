"""The shape of a wave: how well each word for a picture on the screen fits it."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Values = NDArray[np.float64]

#: Words about the picture of a signal that a wave can be compared with.
SHAPES = ("clipped", "flat top", "half missing", "crossover")

#: Share of a cycle that a sine spends within 3 % of its swing from a peak, and within 5 % of its middle.
SINE_TOP = float(np.arccos(1 - 0.06) / np.pi)
SINE_MIDDLE = float(2 * np.arcsin(0.10) / np.pi)

#: Below this [V rms] there is no picture.
NO_PICTURE = 1e-3

_SAID = {
    "clipped": "clipped",
    "flat top": "flat on one side",
    "half missing": "only half there",
    "crossover": "kinked at its zero crossings",
}


def picture(wave: Values, level: float) -> str:
    """Return what the screen shows, in bench words; empty for a sine.

    Parameters
    ----------
    wave : array, (phase,) [V]
    level : float
        [V rms]
    """
    if not level > NO_PICTURE:
        return ""
    found = {word: float(fit[0]) for word, fit in memberships(wave[None]).items()}
    word = max(found, key=lambda each: found[each])
    return _SAID[word] if found[word] > 0.5 else ""


def distortion(waves: Values) -> Values:
    """Return the total harmonic distortion as a fraction: the harmonics' rms over the fundamental's.

    Parameters
    ----------
    waves : array, (row, phase) [V]
        One cycle each.

    Returns
    -------
    array, (row,)
    """
    spectrum = np.abs(np.fft.rfft(waves, axis=1)) ** 2
    fundamental = np.maximum(spectrum[:, 1], 1e-30)
    return np.asarray(np.sqrt(spectrum[:, 2:].sum(axis=1) / fundamental))


def memberships(waves: Values) -> dict[str, Values]:
    """Return how well each word fits each wave.

    Parameters
    ----------
    waves : array, (row, phase) [V]
        One cycle each, without DC.

    Returns
    -------
    dict of array, (row,)
        0 (not at all) to 1 (plainly).
    """
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
