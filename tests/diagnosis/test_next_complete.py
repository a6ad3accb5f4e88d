"""On a small unit searched completely, `lostgain next` beside the policy with the fewest expected minutes."""

from __future__ import annotations

from functools import cache

import pytest

from benchmarks.complete import World, by_lostgain, cost, in_order, lookahead, optimum, world
from tests.diagnosis.megaphone import level, megaphone

POINTS = ("U1 pin 7", "U1 pin 1")
QUANTITIES = (("level", 0), ("level", 1), ("dc", -1))


@cache
def small(volts: float) -> World:
    return world(megaphone(), [level("U1 pin 7", volts)], POINTS, QUANTITIES)


@pytest.mark.parametrize("volts", [0.05, 0.55, 4.0])
def test_no_policy_beats_the_optimum(volts: float) -> None:
    best = optimum(small(volts))[0]
    for policy in (lookahead, by_lostgain, in_order):
        assert cost(small(volts), policy)[0] >= best - 1e-9


STARTS = (0.05, 0.15, 0.55, 0.8, 3.0, 4.0)


def beside_the_optimum() -> float:
    """Expected minutes of `lostgain next` over the optimum's, over all starts together."""
    ours = sum(cost(small(volts), by_lostgain)[0] for volts in STARTS)
    return ours / sum(optimum(small(volts))[0] for volts in STARTS)


def test_next_is_within_a_tenth_of_the_optimum() -> None:
    assert beside_the_optimum() <= 1.1


def test_probabilities_of_the_cells_add_up() -> None:
    for chance in small(0.55).chance:
        assert chance.sum(axis=1) == pytest.approx(1)
