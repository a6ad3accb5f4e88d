"""Total harmonic distortion at a place of a drill, as a distortion meter or an oscilloscope's spectrum shows it."""

from __future__ import annotations

from math import inf

import numpy as np
from numpy.typing import NDArray

from lostgain.quantities import show_level
from lostgain.readings.model import Instrument
from lostgain.teach.looking import Seen

Values = NDArray[np.float64]

#: What a bench generator has of its own, as a fraction (common practice, no source).
GENERATOR_RESIDUAL = 0.3e-3


def thd(wave: Values, frequency: float = 1.0, highest: float = inf) -> float:
    """Return the total harmonic distortion of a wave, as a fraction of its fundamental.

    Parameters
    ----------
    wave : array, (phase,)
        One cycle.
    frequency : float
        Of the fundamental [Hz].
    highest : float
        Harmonics above are not counted [Hz].

    Notes
    -----
    The root of the sum of the squares of all harmonics from the second on, over the fundamental. A meter that takes the
    fundamental out and shows what is left over the whole shows 1/sqrt(1 + THD**2) of that: 0.995 at 10 %.
    """
    spectrum = np.abs(np.fft.rfft(wave))
    if len(spectrum) < 3 or spectrum[1] <= 0:
        return 0.0
    counted = spectrum[2:][frequency * np.arange(2, len(spectrum)) <= highest]
    return float(np.sqrt(np.sum(counted**2)) / spectrum[1])


def residual(instrument: Instrument) -> float:
    """Return what generator and instrument show of a unit without distortion, as a fraction: their powers add."""
    return float(np.hypot(GENERATOR_RESIDUAL, instrument.residual))


def distortion_shown(seen: Seen, instrument: Instrument, frequency: float) -> tuple[float, str]:
    """Return what an instrument without errors shows, as a fraction, and what is to be said of it.

    Parameters
    ----------
    seen : Seen
    instrument : Instrument
    frequency : float
        Of the generator [Hz].

    Returns
    -------
    shown : float
        NaN where there is too little signal.
    says : str
    """
    if seen.rms < instrument.floor_level:
        return float("nan"), f"There is too little signal: it needs {show_level(instrument.floor_level)}."
    own = residual(instrument)
    shown = float(np.hypot(thd(seen.wave, frequency, instrument.bandwidth[1]), own))
    return shown, f"Generator and instrument alone show {percent(own)}."


def percent(share: float) -> str:
    """Return a fraction in per cent, to as many figures as a meter shows: ``12.3 %``, ``0.036 %``."""
    return f"{share * 100:.3g} %" if share >= 0.01 else f"{share * 100:.2g} %"
