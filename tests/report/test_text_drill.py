"""A drill in the terminal: what a person needs who has nothing else."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from lostgain.report.text_drill import answer_text, order_text, parts_text, points_text, scope_text
from lostgain.report.text_letters import BLOCKS
from lostgain.report.text_wave import DOWN, trace
from tests.teach.drilled import done, drilled, megaphone


def test_the_parts_have_their_values() -> None:
    """A resistance that was read says nothing without the value that it should have."""
    unit = megaphone()[0]
    text = parts_text(unit)
    line = next(each for each in text.splitlines() if "R6 / R106" in each)
    assert "Ω" in line
    assert max(map(len, text.splitlines())) <= 80


def test_an_intermittent_unit_was_read_while_it_failed() -> None:
    drill = drilled("R6 drift 0.25x")
    assert "On arrival: " in order_text(drill, megaphone()[0])
    now = replace(drill, hidden=replace(drill.hidden, condition="warm"))
    assert "While it failed: " in order_text(now, megaphone()[0])


def test_nothing_on_the_screen_stays_on_the_zero_line() -> None:
    """A trace with a little noise: no square wave of dust, and no taller than a dot or two."""
    answer = done(drilled("C1 open"), "U1 pin 6")
    assert answer.step.reading.word == "nothing"
    lines = scope_text(answer.seen, 500.0, "U1 pin 6").splitlines()[1:-1]
    assert "+20 mV" in lines[0]
    drawn = [line[10:] for line in lines]
    assert not any(line.strip() for number, line in enumerate(drawn) if number != DOWN // 2)
    middle = drawn[DOWN // 2]
    assert len(middle) == 60
    assert len(set(middle)) > 1
    assert "sine is" not in scope_text(answer.seen, 500.0, "U1 pin 6")


def test_dust_about_zero_is_a_straight_line() -> None:
    wave = 1e-9 * np.sign(np.sin(np.arange(64)))
    assert {line for line in trace(wave, 1e-3, 40, BLOCKS) if line.strip()} == {BLOCKS.lower * 40}


def test_parts_and_points_of_one_stage() -> None:
    unit = megaphone()[0]
    lines = parts_text(unit, "second").splitlines()
    assert lines
    assert all("Second stage" in line for line in lines if "R" in line.split(" / ")[0] and " / " in line)
    assert "C1 / C101" not in "\n".join(lines)
    assert len(points_text(unit, "first").splitlines()) < len(points_text(unit).splitlines())
    said = " ".join(parts_text(unit, "third").split())
    assert said.startswith("No stage begins with 'third': ")
    assert "Input coupling" in said


def test_dc_is_said_to_be_read_with_the_generator_off() -> None:
    drill = drilled("C1 open")
    answer = done(drill, "U1 pin 6, dc")
    assert "with the generator off" in " ".join(answer_text(answer.drill, answer.step, megaphone()[0]).split())


def test_nothing_is_said_to_be_nothing_that_the_instrument_could_measure() -> None:
    answer = done(drilled("C1 open"), "U1 pin 6")
    text = " ".join(answer_text(answer.drill, answer.step, megaphone()[0]).split())
    assert "nothing that it could measure (below 2 mV rms)" in text
