"""Instruments of a drill: what each shows of the same thing.

Sources
-------
Form factor of a sine, pi / (2 sqrt 2), which an average-responding meter is scaled by: IEC 60050-103, 103-06-14 (form
factor); the figure from memory, to be verified.
"""

from __future__ import annotations

import numpy as np
import pytest

from lostgain.readings import Reading, instruments
from lostgain.teach.meter import SCREEN, TRACE, level_shown, on_screen, reading_of, screen, shown_text
from tests.teach.drilled import drilled
from tests.teach.seen import sine

KNOWN = instruments()


@pytest.mark.parametrize("name", ["scope-x10", "dmm-trms", "dmm-average"])
def test_all_read_a_sine_alike(name: str) -> None:
    assert level_shown(sine(1.0), KNOWN[name], 500.0) == pytest.approx(1.0, rel=2e-3)


def test_a_square_wave_by_each() -> None:
    """Of a square wave of 1 V: rms 1, peak to peak 2, average 1, which the meter scaled for a sine shows as 1.11."""
    square = sine(1.0)
    wave = np.sign(np.sin(2 * np.pi * (np.arange(64) + 0.5) / 64))
    seen = type(square)(0.0, 1.0, 2.0, 1.0, wave, True, 1.0)
    shown = {name: level_shown(seen, KNOWN[name], 500.0) for name in ("scope-x10", "dmm-trms", "dmm-average")}
    assert shown["dmm-trms"] == pytest.approx(1.0)
    assert shown["dmm-average"] == pytest.approx(np.pi / (2 * 2**0.5))
    assert shown["scope-x10"] * 8**0.5 == pytest.approx(2.0)


def test_below_the_floor_is_nothing_and_above_the_end_is_said() -> None:
    hidden = drilled("C3 open").hidden
    wanted = Reading("U1 pin 7", "level", "Port", frequency=500.0)
    assert reading_of(hidden, wanted, 1e-4, KNOWN["scope-x10"], 1).word == "nothing"
    found = reading_of(hidden, wanted, 200.0, KNOWN["scope-x10"], 1)
    assert found.above
    assert found.value == 140.0
    assert shown_text(found).startswith("> ")


def test_the_error_belongs_to_the_instrument_and_the_place() -> None:
    hidden = drilled("C3 open").hidden
    wanted = Reading("U1 pin 7", "dc", "Port")
    first, again = (reading_of(hidden, wanted, 10.0, KNOWN["dmm-trms"], number).value for number in (1, 2))
    assert first == pytest.approx(again, abs=2e-3)
    assert first != 10.0


def test_errors_are_as_large_as_the_instrument_says() -> None:
    hidden = drilled("C3 open").hidden
    facts = KNOWN["scope-x10"]
    off = [reading_of(hidden, Reading(f"P{number}", "level", "Port", frequency=500.0), 1.0, facts, number).value - 1
           for number in range(300)]  # fmt: skip
    scale = facts.scale_error * hidden.meters["scope-x10"][0]
    assert np.mean(off) == pytest.approx(scale, abs=3e-3)
    assert np.std(off) == pytest.approx(facts.read_error, rel=0.2)


def on(seen, number: int = 1, name: str = "scope-x10", value: float | None = 1.1):
    reading = Reading("U1 pin 7", "level", "Port", value, frequency=500.0)
    return on_screen(drilled("C3 open").hidden, seen, reading, 1.0, KNOWN[name], number)


def test_the_screen_is_as_large_as_the_reading() -> None:
    assert on(sine(1.0)).rms == pytest.approx(1.1)


def test_a_trace_has_a_little_noise_and_nothing_is_no_square_wave() -> None:
    nothing = on(sine(1e-9), value=None)
    assert nothing.nothing
    trace, tall = screen(nothing)
    assert len(trace) == 2 * 64
    floor = KNOWN["scope-x10"].floor_level
    assert trace.std() == pytest.approx(TRACE * floor, rel=0.2)
    assert tall == pytest.approx(SCREEN * floor)
    assert np.abs(trace).max() < 0.15 * tall
    assert np.mean(np.sign(trace[1:]) != np.sign(trace[:-1])) > 0.3  # it crosses zero all the time
    assert not np.allclose(trace, screen(on(sine(1e-9), 2, value=None))[0])  # no two traces are alike
    assert np.array_equal(trace, screen(on(sine(1e-9), value=None))[0])  # but a replay is


def test_a_signal_fills_the_screen_and_hides_the_noise() -> None:
    seen = on(sine(1.0))
    trace, tall = screen(seen)
    assert not seen.nothing
    assert tall == pytest.approx(1.1 * 2**0.5, rel=0.01)
    assert np.abs(trace - np.tile(seen.wave, 2)).max() < 0.002 * tall
