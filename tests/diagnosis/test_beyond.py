"""Readings beyond the rails. Facts of the trade: common practice, no source."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lostgain.diagnosis import match
from lostgain.diagnosis.beyond import beyond
from lostgain.diagnosis.rails import most_level
from lostgain.problems import UserError
from lostgain.quantities import show
from lostgain.readings import Reading
from tests.diagnosis.megaphone import dc, level, megaphone, readings, taken


def highest() -> float:
    return max(abs(rail.volts) for rail in megaphone().circuit.unit.rails)


@pytest.mark.parametrize("factor", [-3.0, 3.0])
def test_dc_that_no_rail_gives_is_no_fault_s_doing(factor: float) -> None:
    """A meter on the wrong range, or mains where none should be: no single part explains it."""
    rows = taken("", points=("J1 tip", "R2, left end", "U1 pin 1"))
    odd = dc("U1 pin 7", factor * highest())
    told = match(megaphone(), readings(*rows, odd))
    plain = match(megaphone(), readings(*rows))
    assert told.healthy == pytest.approx(plain.healthy)
    assert odd in told.doubted
    assert "U1 pin 7" in told.warnings[0]
    assert "beyond what the unit's rails allow" in told.warnings[0]


def test_alone_it_is_refused() -> None:
    with pytest.raises(UserError, match="beyond what the unit's rails allow"):
        match(megaphone(), readings(dc("U1 pin 7", 10 * highest())))


def test_nothing_between_the_rails_is_beyond_them() -> None:
    top = highest()
    assert not beyond(megaphone(), [dc("U1 pin 7", top), dc("U1 pin 7", -1.2), level("U1 pin 7", top / 3)])


def test_more_than_a_range_beyond_the_rails_counts_too() -> None:
    over = replace(dc("U1 pin 7", 1000.0), above=True)
    [((row,), says)] = beyond(megaphone(), [over])
    assert row is over
    assert "switch off" in says


def test_a_level_may_be_no_larger_than_a_square_wave_between_the_rails() -> None:
    [(_, says)] = beyond(megaphone(), [level("U1 pin 7", 30 * highest())])
    assert "V rms" in says


def test_no_wave_is_higher_than_from_rail_to_rail() -> None:
    """As the rms value of a sine that high, it is less than the rms value of a square wave (two to root eight)."""
    between = 1.1 * sum(abs(rail.volts) for rail in megaphone().circuit.unit.rails)
    circuit = megaphone().circuit
    assert most_level(circuit, swing=False, across=False) == pytest.approx(between / 2)
    assert most_level(circuit, swing=True, across=False) * 8**0.5 == pytest.approx(between)
    shown = level("U1 pin 7", 0.6 * between)
    assert not beyond(megaphone(), [shown])
    assert beyond(megaphone(), [replace(shown, given_as="pp")])


def test_a_pair_may_have_twice_that_across_it() -> None:
    """A bridged output: each end goes from rail to rail, the one up while the other goes down."""
    most = most_level(megaphone().circuit, swing=False, across=False)
    across = replace(level("U1 pin 7", 2 * most), against="U1 pin 1")
    assert not beyond(megaphone(), [across])
    [(_, says)] = beyond(megaphone(), [replace(across, value=4 * most)])
    assert show(2 * most, "V rms") in says


def test_signs_alone_are_refused_with_a_reason() -> None:
    with pytest.raises(UserError, match="hum counts beside a level or DC"):
        match(megaphone(), readings(Reading("U1 pin 7", "hum", "Port", word="seen")))
