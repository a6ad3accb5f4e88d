"""Routes: the best there is where every order can be tried, never slower than the walk, and true to the table."""

from __future__ import annotations

from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from lostgain import route_html, route_record, route_text
from lostgain.bench import cautions
from lostgain.faults import rates
from lostgain.teach.outlook import Outlook, outlook
from lostgain.teach.route import LEAST, Routing, route
from lostgain.teach.route_model import Leaf, Route, Step
from lostgain.teach.telling import telling
from tests.diagnosis.megaphone import megaphone


@cache
def small() -> Outlook:
    """The output and one point more: too few readings to lose the way."""
    found = outlook(megaphone(), rates("bench"), points=("U1 pin 7", "U1 pin 1"))
    keep = [
        number
        for number, each in enumerate(found.readings)
        if each.feature.frequency in (0, -1) or number == found.first
    ]
    return replace(
        found,
        readings=tuple(found.readings[each] for each in keep),
        ranges=tuple(found.ranges[each] for each in keep),
        first=keep.index(found.first),
        chance=found.chance[:, keep],
    )


@cache
def whole() -> Route:
    return route(outlook(megaphone(), rates("bench")))


def quickest(view: Outlook, path: tuple[tuple[int, int], ...]) -> float:
    """Expected minutes of the best order, by trying all: written again, with nothing kept and nothing cut."""
    routing = Routing(view)
    weight = routing.weight(path)
    left = routing.left(path)
    if not left or weight.sum() < LEAST or telling(view, weight, left).ends:
        return 0.0
    tried = []
    for reading in left:
        minutes = float(weight.sum()) * routing.minutes(reading, path)
        tried.append(
            minutes + sum(quickest(view, (*path, (reading, cell))) for cell in range(len(view.ranges[reading])))
        )
    return min(tried)


def test_on_a_small_unit_no_order_is_quicker() -> None:
    view = small()
    found = route(view)
    assert found.best
    best = view.readings[view.first].minutes + sum(
        quickest(view, ((view.first, cell),)) for cell in range(len(view.ranges[view.first]))
    )
    assert found.minutes == pytest.approx(best, rel=1e-9)
    assert found.minutes < found.walk_minutes


def test_a_route_beats_the_walk() -> None:
    assert whole().minutes < 0.7 * whole().walk_minutes


def test_parts_that_only_two_readings_together_tell_apart_are_not_called_alike() -> None:
    """Both parts drive both points to a rail, up or down: one to the same, the other to opposite ones."""
    near = small()
    up, down = [0.98, 0.02], [0.02, 0.98]
    rows = [[up, up], [down, down], [up, down], [down, up]]
    lifted = (("U1", "Port"), ("U2", "Port"), *(each for each in near.lifted if not each[0]))
    view = replace(near, readings=near.readings[:2], ranges=(("up", "down"),) * 2, first=0, lifted=lifted,
                   decision=np.array([0, 0, 1, 1]), weight=np.full(4, 0.25),
                   chance=np.array(rows))  # fmt: skip
    assert telling(view, view.weight, [0, 1]).ends == ""
    found = route(view)
    assert all(each.parts[0][1] > 0.9 for each in leaves(found.root))
    blind = replace(view, chance=np.full((4, 2, 2), 0.5))
    assert telling(blind, view.weight, [0, 1]).ends == "alike"


def steps(node: Step | Leaf) -> list[Step]:
    if isinstance(node, Leaf):
        return []
    return [node, *(each for branch in node.branches for each in steps(branch.then))]


def leaves(node: Step | Leaf) -> list[Leaf]:
    if isinstance(node, Leaf):
        return [node]
    return [each for branch in node.branches for each in leaves(branch.then)]


def test_every_fault_ends_somewhere_once() -> None:
    assert sum(leaf.share for leaf in leaves(whole().root)) == pytest.approx(1.0, abs=1e-6)
    for step in steps(whole().root):
        assert sum(branch.share for branch in step.branches) == pytest.approx(step.share, rel=1e-6)


def test_no_reading_is_asked_for_twice() -> None:
    def walk(node: Step | Leaf, taken: frozenset[tuple[str, str, float | None]]) -> None:
        if isinstance(node, Step):
            here = (node.point, node.quantity, node.frequency)
            assert here not in taken
            for branch in node.branches:
                walk(branch.then, taken | {here})

    walk(whole().root, frozenset())


def test_a_sure_end_holds_nine_tenths() -> None:
    sure = [leaf for leaf in leaves(whole().root) if leaf.ends == "sure"]
    assert sure
    assert all(leaf.parts[0][1] >= 0.9 - 1e-9 for leaf in sure)


def test_the_healthy_range_holds_most_healthy_units() -> None:
    """Over all readings together: only a few healthy units are drawn, and one may lie outside at one point."""
    view = outlook(megaphone(), rates("bench"))
    mine = view.decision == view.healthy
    shares = []
    for number, names in enumerate(view.ranges):
        well = [cell for cell, name in enumerate(names) if "as healthy" in name]
        shares.append(np.average(view.chance[mine][:, number, well].sum(axis=1), weights=view.weight[mine]))
    assert np.mean(shares) > 0.8


def test_it_can_be_read() -> None:
    unit = megaphone().circuit.unit
    text = route_text(whole(), unit)
    assert max(map(len, text.splitlines())) <= 80
    assert "Read U1 pin 7, level at 500 Hz (1 min)" in text
    page = route_html(whole(), unit, cautions(unit))
    assert page.count('class="step"') == len(steps(whole().root))
    assert route_record(whole())["start"]["point"] == "U1 pin 7"
