"""Waves as a rig sees them, made by hand."""

from __future__ import annotations

import numpy as np

from lostgain.teach.looking import Seen


def sine(rms: float, cut: float = 1.0, left: float = 1.0) -> Seen:
    """A sine [V rms], cut off at a share of its peak."""
    wave = 2**0.5 * rms * np.sin(2 * np.pi * np.arange(64) / 64)
    top = cut * float(np.abs(wave).max())
    wave = np.clip(wave, -top, top)
    return Seen(
        0.0, float(np.sqrt(np.mean(wave**2))), float(np.ptp(wave)), float(np.abs(wave).mean()), wave, True, left
    )
