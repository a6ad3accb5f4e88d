"""Readings to come that are not at one test point: rail currents, mains watts, DC across a part."""

from __future__ import annotations

from dataclasses import replace

import pytest

from lostgain import next_reading, next_text
from lostgain.diagnosis.next_model import NextReading
from lostgain.diagnosis.other_candidates import other_candidates, pairs
from lostgain.readings import Reading, Readings, instruments
from tests.diagnosis.megaphone import dc, level, megaphone, readings


def offered(taken: Readings) -> set[tuple[str, str, str]]:
    unit = megaphone().circuit.unit
    found = other_candidates(megaphone(), taken, instruments(unit.folder), ["Port"])
    return {(each.reading.quantity, each.reading.point, each.reading.against) for each in found}


def test_every_rail_is_offered_until_it_was_read() -> None:
    unit = megaphone().circuit.unit
    assert {("current", rail.name, "") for rail in unit.rails} <= offered(Readings(()))
    first = unit.rails[0].name
    read = Reading(first, "current", "", 3e-3, instrument="dmm-trms", text="3 mA")
    assert ("current", first, "") not in offered(readings(read))


def test_watts_are_offered_where_there_is_mains() -> None:
    unit = megaphone().circuit.unit
    assert (("mains watts", "mains", "") in offered(Readings(()))) == unit.mains


def test_a_pair_is_not_offered_the_other_way_round() -> None:
    for one, other in pairs(megaphone()):
        across = replace(dc(other, 0.6), against=one)
        assert ("dc", one, other) not in offered(readings(across))


def test_a_current_tells_of_what_draws_it() -> None:
    """Common practice, no source: a chip that has lost a supply pin no longer draws current from that rail."""
    step = next_reading(megaphone(), readings(level("U1 pin 7", 0.001)), most=10_000)
    currents = [each for each in step.ranked if isinstance(each, NextReading) and each.quantity == "current"]
    assert currents
    assert max(each.information for each in currents) > 0.1
    assert all(each.risk for each in currents)


@pytest.mark.parametrize("quantity", ["current"])
def test_expected_values_carry_their_unit(quantity: str) -> None:
    unit = megaphone().circuit.unit
    step = next_reading(megaphone(), readings(level("U1 pin 7", 0.001)), most=10_000)
    mine = tuple(each for each in step.ranked if isinstance(each, NextReading) and each.quantity == quantity)
    text = next_text(replace(step, ranked=mine, stop=""), unit)
    assert "mA" in text
    assert " V if" not in text
