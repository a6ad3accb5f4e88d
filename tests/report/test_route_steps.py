"""A route on paper: however deep it is, its lines stay whole, and each step is found by its number."""

from __future__ import annotations

import re
from pathlib import Path

import lostgain
from lostgain.faults import rates
from lostgain.report.route_steps import numbered
from lostgain.teach.route_model import Branch, Leaf, Route, Step

UNIT = lostgain.open_unit(Path(__file__).parents[1] / "units" / "megaphone")
END = Leaf((("C3", 0.7), ("R4", 0.3)), 0.0, 0.1, "alike")
SELDOM = Leaf((("R4", 1.0),), 0.0, 0.001, "rare")


def deep(levels: int) -> Route:
    """A reading after each reading that was as healthy, and one after each that was low, so many levels deep."""
    then: Step | Leaf = END
    for level in range(levels, 0, -1):
        low = Step(f"U{level} pin 2", "dc", None, 1.0, 0.01, (Branch("as healthy (0 V)", 0.01, END),))
        branches = (Branch("nothing", 0.001, SELDOM), Branch("low (70 mVpp to 240 mVpp)", 0.01, low),
                    Branch("as healthy (240 mVpp to 330 mVpp)", 0.5, then))  # fmt: skip
        then = Step(f"U{level} pin 1", "level", 500.0, 1.0, 0.5, branches)
    assert isinstance(then, Step)
    return Route("Port", then, 5.0, 9.0, best=False)


def test_a_deep_route_is_no_deeper_on_paper() -> None:
    text = lostgain.route_text(deep(60), UNIT)
    lines = text.splitlines()
    assert max(map(len, lines)) <= 80
    assert len(lines) < 60 * 12  # two steps a level
    assert "low (70 mVpp to 240 mVpp) [1 %]: go to 2" in text
    assert max(len(line) - len(line.lstrip()) for line in lines) < 12


def test_each_step_is_where_another_sends_the_reader() -> None:
    route = deep(60)
    steps = numbered(route)
    assert [each.number for each in steps] == list(range(1, 121))
    for each in steps:
        for branch, number in zip(each.step.branches, each.goes_to, strict=True):
            if isinstance(branch.then, Leaf):
                assert number == 0
            else:
                assert steps[number - 1].step is branch.then
                assert (steps[number - 1].after, steps[number - 1].shown) == (each.number, branch.shows)
    page = lostgain.route_html(route, UNIT, [])
    assert re.findall(r'id="step-(\d+)"', page) == [str(each.number) for each in steps]
    assert set(re.findall(r'href="#(step-\d+)"', page)) <= set(re.findall(r'id="(step-\d+)"', page))
    # no step holds another: what is inside one ends before the next begins
    chart = page[page.index('<div class="chart">') : page.index('<p class="foot">')]
    held = [piece.count("</div>") - piece.count("<div") for piece in chart.split('<div class="step"')[1:-1]]
    assert held == [1] * 119


def test_what_a_route_was_made_with_is_said() -> None:
    assert "bench default (common practice, no source)" in " ".join(lostgain.route_text(deep(2), UNIT).split())
    handbook = rates("handbook")
    assert handbook.title in " ".join(lostgain.route_text(deep(2), UNIT, handbook).split())
    assert handbook.title in lostgain.route_html(deep(2), UNIT, [], handbook)
