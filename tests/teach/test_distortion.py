"""Distortion as a reading of a drill; its figures are checked in ``tests/published/test_clipped_sine.py``."""

from __future__ import annotations

import numpy as np
import pytest

from lostgain import UserError
from lostgain.report.text_drill import answer_text
from lostgain.teach.distortion import percent, thd
from tests.teach.drilled import done, drilled, megaphone


def test_the_answer_states_what_generator_and_instrument_have() -> None:
    answer = done(drilled("R6 drift 0.25x"), "U101 pin 7, thd")
    text = " ".join(answer_text(answer.drill, answer.step, megaphone()[0]).split())
    assert text.startswith("U101 pin 7 (Starboard), distortion at 500 Hz (distortion-meter): 0.03")
    assert "Generator and instrument alone show 0.036 %. [1 min]" in text
    assert not answer.step.compared  # no signature holds it


def test_asked_twice_the_same() -> None:
    lines = ("generator 1 V rms", "U101 pin 7, distortion", "U101 pin 7, distortion", "U101 pin 7, distortion, 10 kHz")
    one, two, high = (each.value for each in done(drilled("R6 drift 0.25x"), *lines).drill.readings)
    assert one == two
    assert high != one


def test_where_there_is_hardly_any_signal_none_is_shown() -> None:
    step = done(drilled("R6 drift 0.25x"), "generator 1 mV rms", "U1 pin 7, distortion").step
    assert step.reading is None
    assert "needs 10 mV rms" in step.says


def test_not_every_instrument_reads_it() -> None:
    drill = drilled("R6 drift 0.25x")
    with pytest.raises(UserError, match="reads no distortion"):
        done(drill, "U1 pin 7, distortion, dmm")
    with pytest.raises(UserError, match="no instrument here reads distortion across two points"):
        done(drill, "U1 pin 7 to U1 pin 1, distortion")
    with pytest.raises(UserError, match="the power is off"):
        done(drill, "power off", "U1 pin 7, distortion")
    assert done(drill, "U1 pin 7 to U1 pin 1, distortion, distortion meter").drill.hazard == "earthed-clip"


def test_no_wave_has_no_distortion() -> None:
    assert thd(np.zeros(64)) == 0.0
    assert thd(np.zeros(2)) == 0.0


def test_figures() -> None:
    assert [percent(each) for each in (0.1234, 0.0123, 0.00123, 0.00036)] == ["12.3 %", "1.23 %", "0.12 %", "0.036 %"]
