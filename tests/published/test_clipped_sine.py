"""Distortion in a drill beside the Fourier series of a sine clipped on both sides.

Sources
-------
[SL] J.-J. E. Slotine and W. Li, *Applied Nonlinear Control*, Prentice Hall 1991, chapter on describing functions,
saturation: of a sine of amplitude A clipped at a, the fundamental is N A with N = (2/pi)(t + sin t cos t) and
t = asin(a/A). From memory, to be verified; derived here again by integration in `derived_fundamental`.
The mean square of the clipped sine is (A^2/pi)(t - sin t cos t) + a^2 (1 - 2 t/pi), by integration; by Parseval's
theorem what is not in the fundamental is in the harmonics, for there is no DC.
"""

from __future__ import annotations

from dataclasses import replace
from math import asin, cos, hypot, pi, sin, sqrt

import numpy as np
import pytest
from scipy.integrate import quad

from lostgain.readings import instruments
from lostgain.teach.distortion import GENERATOR_RESIDUAL, thd
from tests.teach.drilled import done, drilled


def fundamental(share: float) -> float:
    """Amplitude of the fundamental of a sine of amplitude 1, clipped at a share of it."""
    angle = asin(share)
    return 2 / pi * (angle + sin(angle) * cos(angle))


def closed_form(share: float) -> float:
    """Total harmonic distortion of a sine clipped at a share of its amplitude."""
    angle = asin(share)
    square = (angle - sin(angle) * cos(angle)) / pi + share**2 * (1 - 2 * angle / pi)
    return sqrt(2 * square / fundamental(share) ** 2 - 1)


@pytest.mark.parametrize("share", [0.2, 0.5, 0.9, 0.99])
def test_the_series_is_that_of_a_clipped_sine(share: float) -> None:
    derived, _ = quad(lambda t: min(share, sin(t)) * sin(t) * 2 / pi, 0, pi, points=[asin(share), pi - asin(share)])
    assert fundamental(share) == pytest.approx(derived)


def test_clipped_to_a_square_wave_it_has_48_per_cent() -> None:
    """The limit: a square wave, whose fundamental is 4/pi of it, has sqrt(pi**2/8 - 1) = 48.3 %."""
    assert closed_form(1e-4) == pytest.approx(sqrt(pi**2 / 8 - 1), rel=1e-3)


@pytest.mark.parametrize("share", [0.3, 0.7, 0.95, 1.0])
def test_thd_of_a_clipped_sine(share: float) -> None:
    wave = np.clip(np.sin(2 * pi * (np.arange(4096) + 0.5) / 4096), -share, share)
    assert thd(wave) == pytest.approx(closed_form(share), abs=1e-4)


def test_harmonics_above_the_instruments_band_are_not_counted() -> None:
    """Of a square wave up to the third harmonic there is a third."""
    square = np.sign(np.sin(2 * pi * (np.arange(4096) + 0.5) / 4096))
    assert thd(square, 10e3, 40e3) == pytest.approx(1 / 3, rel=1e-3)
    assert thd(square, 10e3, 15e3) == 0.0


@pytest.mark.parametrize("times", [6.0, 10.0])
def test_an_op_amp_driven_into_its_rails(times: float) -> None:
    """Gain from a small signal, height from the swing when clipped: the drill's distortion follows from both."""
    drill = drilled("R6 drift 0.25x")
    small = done(drill, "U101 pin 7").drill.readings[-1].value
    drill = done(drill, f"generator {100 * times:g} mV rms", "U101 pin 7", "U101 pin 7, distortion").drill
    clipped, shown = (each.value for each in drill.readings)
    share = clipped / (times * small)
    assert 0.4 < share < 0.9
    assert shown == pytest.approx(closed_form(share), rel=0.06)  # the meters' errors, and one rail before the other


def test_without_clipping_generator_and_instrument_are_what_it_shows() -> None:
    drill = drilled("R6 drift 0.25x")
    drill = replace(drill, hidden=replace(drill.hidden, meters={}))
    drill = done(drill, "U101 pin 7, distortion", "U101 pin 7, distortion, scope").drill
    for reading in drill.readings:
        own = hypot(GENERATOR_RESIDUAL, instruments()[reading.instrument].residual)
        assert reading.value == pytest.approx(own, rel=0.06)
    assert all("alone show" in step.says for step in drill.steps)
