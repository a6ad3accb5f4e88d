"""A drill in the terminal: what a person needs who has nothing else."""

from __future__ import annotations

from dataclasses import replace

from lostgain.report.text_drill import order_text, parts_text
from tests.teach.drilled import drilled, megaphone


def test_the_parts_have_their_values() -> None:
    """A resistance that was read says nothing without the value that it should have."""
    unit = megaphone()[0]
    text = parts_text(unit)
    line = next(each for each in text.splitlines() if "R6" in each)
    assert "Ω" in line
    assert max(map(len, text.splitlines())) <= 80


def test_an_intermittent_unit_was_read_while_it_failed() -> None:
    drill = drilled("R6 drift 0.25x")
    assert "On arrival: " in order_text(drill, megaphone()[0])
    now = replace(drill, hidden=replace(drill.hidden, condition="warm"))
    assert "While it failed: " in order_text(now, megaphone()[0])
