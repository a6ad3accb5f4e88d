"""The next reading on a small unit: what is asked, what it costs, what it is worth, and when to stop."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lostgain import instruments, rates
from lostgain.diagnosis.belief import belief
from lostgain.diagnosis.candidates import Candidate, candidates
from lostgain.diagnosis.expected import expected
from lostgain.diagnosis.information import told
from lostgain.diagnosis.moves import facts
from lostgain.diagnosis.next_model import Move, Next, NextReading
from lostgain.diagnosis.next_reading import next_reading
from lostgain.diagnosis.rails import dc_span, most_level
from lostgain.faults import modes_for
from lostgain.readings.model import Reading
from lostgain.report.text_next import next_line, next_text
from lostgain.unit.kinds import kinds
from tests.diagnosis.megaphone import dc, level, megaphone, readings, row_of, taken

OUTPUT, LOW = "U1 pin 7", 0.55
#: Cutting a reading into bins loses a little [bit]; see test_information.
CUT = 0.05


def ask(*rows: Reading, good: str = "", unreachable: tuple[tuple[str, str], ...] = (), most: int = 200) -> Next:
    taken_so_far = replace(readings(*rows, good=good), unreachable=unreachable)
    return next_reading(megaphone(), taken_so_far, most=most, others=False)


def asked(step: Next) -> list[NextReading]:
    return [each for each in step.ranked if isinstance(each, NextReading)]


def moves(step: Next) -> list[Move]:
    return [each for each in step.ranked if isinstance(each, Move)]


def worth(rows: list[Reading], wanted: list[Candidate], scale: float = 1.0) -> np.ndarray:
    """Bits of some readings, the oscilloscope's errors made larger; what was read with it must not be among `rows`."""
    table = megaphone()
    believed = belief(table, rows, "", rates("bench"))
    known = dict(instruments(table.circuit.unit.folder))
    scope = known["scope-x10"]
    known["scope-x10"] = replace(scope, scale_error=scope.scale_error * scale, read_error=scope.read_error * scale)
    mean, sigma = expected(table, believed, wanted, known)
    return told(believed.decision, believed.weight, mean, sigma).bits


def all_candidates(rows: list[Reading]) -> list[Candidate]:
    return candidates(megaphone(), readings(*rows), instruments(megaphone().circuit.unit.folder), ["Port"])


def test_before_any_reading_the_output_of_either_channel_is_asked_for() -> None:
    step = ask()
    assert step.stop == ""
    assert {each.point for each in asked(step)[:2]} == {OUTPUT}
    assert {each.channel for each in asked(step)[:2]} == {"Port", "Starboard"}


def test_what_was_read_is_not_asked_for_again() -> None:
    step = ask(level(OUTPUT, LOW))
    assert (OUTPUT, 500.0) not in {(each.point, each.frequency) for each in asked(step)}
    assert {each.channel for each in asked(step)} == {"Port"}


def test_a_repeated_reading_tells_next_to_nothing() -> None:
    found = all_candidates([dc("J1 tip", 0.0), level("J1 tip", 0.1)])
    first = next(each for each in found if each.feature.frequency == 0 and each.reading.point == OUTPUT)
    fresh = worth([dc("J1 tip", 0.0)], [first])[0]
    again = worth([dc("J1 tip", 0.0), level(OUTPUT, LOW)], [first])[0]
    assert fresh > 0.5
    assert again < 0.1 * fresh


@settings(max_examples=15, deadline=None)
@given(st.floats(-14.0, 14.0), st.sampled_from([OUTPUT, "U1 pin 1", "R2, left end"]), st.floats(3.0, 30.0))
def test_larger_instrument_errors_lower_the_information(volts: float, point: str, times: float) -> None:
    rows = [dc(point, volts)]
    wanted = all_candidates(rows)
    fine, coarse = worth(rows, wanted), worth(rows, wanted, times)
    assert np.all(coarse <= fine + CUT)


def test_an_instrument_that_shows_almost_anything_tells_little() -> None:
    rows = [dc(OUTPUT, 0.01)]
    levels = [each for each in all_candidates(rows) if each.reading.quantity == "level"]
    assert worth(rows, levels, 100.0).max() < 0.7 * worth(rows, levels).max()


def test_the_probe_left_in_place_costs_less() -> None:
    step = ask(level(OUTPUT, LOW))
    here = {each.minutes for each in asked(step) if each.point == OUTPUT and each.quantity == "level"}
    assert here == {facts().reading.stay}
    assert {each.minutes for each in asked(step) if each.point == "U1 pin 1"} == {1.0}


def test_ranked_by_information_per_minute() -> None:
    rate = [each.information / each.minutes for each in ask(level(OUTPUT, LOW)).ranked]
    assert rate == sorted(rate, reverse=True)


def test_the_order_of_readings_matters_to_minutes_only() -> None:
    rows = [level(OUTPUT, LOW), level("U1 pin 1", 0.3), dc("U1 pin 7", 0.01)]
    one, two = ask(*rows), ask(*reversed(rows))
    bits = [{(each.point, each.frequency): each.information for each in asked(step)} for step in (one, two)]
    assert bits[0].keys() == bits[1].keys()
    assert all(bits[0][key] == pytest.approx(bits[1][key], abs=1e-6) for key in bits[0])


def test_expectations_hold_what_the_fault_shows() -> None:
    """What C3's loss predicts for a reading, once the output was read, is what the same simulated unit shows there."""
    label, draw = "C3 lost 0.001", 3
    at = taken(label, draw, (OUTPUT,))[0]
    step = ask(at)
    table = megaphone()
    held = []
    for each in asked(step):
        mine = [one for one in each.expectations if (one.part, one.mode) == ("C3", "lost")]
        if each.quantity != "level" or not mine:
            continue
        index = table.frequencies.index(each.frequency)
        volts = float(table.values("level")[row_of(label), draw, table.points.index(each.point), index])
        held.append(mine[0].low * 0.97 - 2e-3 <= volts <= mine[0].high * 1.03 + 2e-3)
    assert len(held) > 5
    assert np.mean(held) > 0.8


def test_a_point_out_of_reach_is_not_asked_for_and_its_node_is_offered_elsewhere() -> None:
    step = ask(level(OUTPUT, LOW), unreachable=(("U1 pin 2", ""),))
    assert "U1 pin 2" not in {each.point for each in asked(step)}
    places = {each.place for each in step.instead if each.point == "U1 pin 2" and each.same_node}
    assert places == {"the lead of R4 that meets it", "the lead of R3 that meets it"}
    assert "Out of reach" in next_text(step, megaphone().circuit.unit)


def test_out_of_reach_in_the_other_channel_does_not_matter_here() -> None:
    step = ask(level(OUTPUT, LOW), unreachable=(("U1 pin 1", "Starboard"),))
    assert "U1 pin 1" in {each.point for each in asked(step)}


def test_stops_at_one_part() -> None:
    step = ask(*taken("C1 open"))
    assert step.stop == "sure"
    assert step.parts[0][0] == "C1"
    assert step.action is not None
    assert step.action.text == "lift one leg of C1 and measure it"
    assert next_line(step, megaphone().circuit.unit).startswith("Lift one leg of C1 and measure it.")


def test_stops_at_parts_that_nothing_tells_apart() -> None:
    """C3 and R3 are in series in the ground leg: open, each leaves the gain at one (textbook, non-inverting stage)."""
    step = ask(*taken("C3 open"))
    assert step.stop == "alike"
    assert {part for part, _, share in step.parts if share > 0.02} == {"C3", "R3"}
    line = next_line(step, megaphone().circuit.unit)
    assert "C3 (Port) and R3 (Port) can't be told apart here: lift one leg of C3 and measure it." in line


def test_goes_on_while_a_reading_would_tell() -> None:
    assert ask(level(OUTPUT, LOW)).stop == ""


def test_nothing_left_in_reach_stops() -> None:
    barred = tuple((name, "") for name in megaphone().points)
    step = ask(level(OUTPUT, LOW), unreachable=barred)
    assert asked(step) == []
    assert step.stop in ("idle", "alike")
    assert step.action is not None


def test_a_healthy_unit_is_left_alone() -> None:
    step = ask(*taken("", 2))
    assert step.stop in ("healthy", "idle")


def test_the_good_channel_is_read_too() -> None:
    step = ask(level(OUTPUT, LOW), good="Starboard")
    assert {each.channel for each in asked(step)} == {"Port", "Starboard"}


def test_bridging_is_offered_for_a_capacitor_that_lost_its_value_and_not_for_a_shorted_one() -> None:
    bridged = {each.part for each in moves(ask(*taken("C3 open"))) if each.name == "bridge"}
    assert "C3" in bridged
    assert not [each for each in moves(ask(*taken("C2 short"))) if each.name == "bridge" and each.information > 0.05]


def test_a_package_is_swapped_whole() -> None:
    swapped = {each.part for each in moves(ask(*taken("U1A dead"))) if each.name == "swap"}
    assert swapped == {"U1"}


def test_what_moves_name_exists() -> None:
    known = {mode.name for kind in kinds() for mode in modes_for(kind)}
    for each in facts().moves.values():
        assert set(each.kinds) <= set(kinds()), each.name
        assert set(each.modes) <= known, each.name
        assert each.minutes > 0
        assert 0 <= each.misleads < each.finds <= 1
        assert each.risk


def test_each_line_can_be_judged_at_the_bench() -> None:
    text = next_text(ask(level(OUTPUT, LOW)), megaphone().circuit.unit)
    assert "U1 pin 7 in Port, level at 40 Hz" in text
    assert " if C3 lost" in " ".join(text.split())
    assert all(len(line) <= 80 for line in text.splitlines())


def test_no_dc_is_foretold_beyond_the_rails() -> None:
    """A model that may be anything says so in volts that the unit has."""
    table = megaphone()
    low, high = dc_span(table.circuit.unit)
    volts = [rail.volts for rail in table.circuit.unit.rails]
    assert (low, high) == (pytest.approx(min(0.0, *volts) * 1.1), pytest.approx(max(volts) * 1.1))
    found = ask(Reading("VP", "current", "", 0.6e-3, instrument="dmm-trms", text="0.6 mA"))
    shown = [each for reading in asked(found) if reading.quantity == "dc" for each in reading.expectations]
    assert shown
    for each in shown:
        assert low - high <= each.low <= each.value <= each.high <= high - low


def test_no_level_is_foretold_beyond_the_rails() -> None:
    """Where the input of a stage has ten volts, its output is a square wave between the rails at most."""
    most = most_level(megaphone().circuit, swing=False, across=False)
    levels = [reading for reading in asked(ask(level("U1 pin 1", 8.0))) if reading.quantity == "level"]
    assert max(each.high for reading in levels for each in reading.expectations) == pytest.approx(most)
