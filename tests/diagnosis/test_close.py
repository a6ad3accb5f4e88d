"""How closely levels are believed. Facts of the trade: common practice, no source."""

from __future__ import annotations

import math

import pytest

from lostgain.diagnosis import Verdict
from tests.diagnosis.megaphone import ask, level, megaphone, probability

AUDIBLE = 2e-3  # [V rms]


def off_by(*decibels: float) -> Verdict:
    """The verdict on levels at the points that carry a signal, each so far from the healthy unit's."""
    healthy = megaphone().values("level")[0, 0, :, 0]
    points = [(name, volts) for name, volts in zip(megaphone().points, healthy, strict=True) if volts > AUDIBLE]
    assert len(points) == len(decibels)
    return ask(*[level(name, volts * 10 ** (off / 20)) for (name, volts), off in zip(points, decibels, strict=True)])


def test_a_decibel_lost_from_one_point_to_the_next_is_noticed() -> None:
    """C1 is all there is between the first two points, and nothing in it amplifies."""
    verdict = off_by(0, -1.2, -1.2, -1.2, -1.2, -1.2)
    assert verdict.faulty
    assert probability(verdict, "C1") > 0.8


def test_the_same_decibel_at_every_point_is_the_generator_s() -> None:
    assert not off_by(*[-1.2] * 6).faulty


def test_a_unit_that_is_only_about_what_its_description_says_is_no_faulty_one() -> None:
    verdict = off_by(0.7, -0.7, 0.7, -0.7, 0.7, -0.7)
    assert not verdict.faulty
    assert verdict.healthy > 0.6 * off_by(*[0.0] * 6).healthy


def test_a_slip_is_found_on_a_unit_that_is_only_about_what_its_description_says() -> None:
    """A digit too many at the fourth point, where all others are 1.8 dB high or low."""
    verdict = off_by(1.8, -1.8, 1.8, 20 - 1.8, 1.8, -1.8)
    assert verdict.contradiction is not None
    assert verdict.contradiction.point == "U1 pin 2"


@pytest.mark.parametrize(("decibels", "slip"), [(9.0, "peak to peak"), (-20.3, "a digit too few")])
def test_levels_that_are_all_off_alike_are_told(decibels: float, slip: str) -> None:
    """2.83 times, as of Vpp noted as rms; a tenth, as of a x10 probe read as x1."""
    first = off_by(*[decibels + small for small in (0.3, -0.3, 0.0, 0.2, -0.2, 0.0)]).warnings[0]
    assert "Every level is about" in first
    assert slip in first


@pytest.mark.parametrize("level_left", ["50 mV rms", "25 mV rms"])
def test_a_generator_at_another_level_is_told_where_the_input_was_read(level_left: str) -> None:
    """A half and a quarter of what the set-up gives; at a quarter the input's reading seems to contradict the rest."""
    small = (0.3, -0.3, 0.0, 0.2, -0.2, 0.0)
    decibels = 20 * math.log10(float(level_left.split()[0]) / 100)
    verdict = off_by(*[decibels + each for each in small])
    assert f"the generator gives about {level_left} instead of 100 mV rms" in verdict.warnings[0]
    assert verdict.contradiction is None
    assert not any("generator gives" in each for each in off_by(*[-1.5 + each for each in small]).warnings)
    assert not any("generator gives" in each for each in off_by(0.0, *[-6.0] * 5).warnings)


def test_a_stage_that_loses_a_tenth_is_no_slip_of_all() -> None:
    assert not any("Every level" in each for each in off_by(0.0, 0.0, 0.0, -20.0, -20.0, -20.0).warnings)
    assert not any("Every level" in each for each in off_by(*[0.0] * 6).warnings)
