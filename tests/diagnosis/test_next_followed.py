"""Followed from the output's level on, `lostgain next` isolates parts in fewer minutes than a walk along the signal."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

import numpy as np
import pytest

from benchmarks.follow import by_next, follow
from benchmarks.walks import by_halves, odd, stage_by_stage
from lostgain.diagnosis.features import feature_of, predicted, unscaled
from lostgain.readings.instruments import instruments
from lostgain.readings.model import Reading
from tests.diagnosis.megaphone import level, megaphone, row_of

START = Reading("U1 pin 7", "level", "Port", given_as="pp", frequency=500.0)


def bench(label: str, draw: int) -> Callable[[Reading], Reading | None]:
    """A bench on which a row of the table stands, with ideal instruments."""
    table, row = megaphone(), row_of(label)

    def read(reading: Reading) -> Reading | None:
        feature = feature_of(reading, table, instruments()[reading.instrument])
        assert feature is not None
        scale = predicted(table, [feature])[row, draw, 0]
        if not np.isfinite(scale):
            return None
        volts = unscaled(float(scale), feature)
        if reading.quantity == "dc":
            return replace(reading, value=volts)
        return replace(reading, value=volts) if volts > 2e-3 else replace(reading, word="nothing")

    return read


CASES = [("R5 open", 1), ("R4 drift 2.5", 2), ("C1 lost 0.001", 3), ("U1A dead", 4), ("R1 open", 5), ("C2 short", 1),
         ("C3 lost 0.01", 6), ("C1 lost 0.01", 7), ("U1B stuck-high", 2), ("C1 joint 4.7e+04", 3)]  # fmt: skip


@pytest.mark.parametrize(("label", "draw"), CASES)
@pytest.mark.parametrize("policy", [by_next, stage_by_stage, by_halves])
def test_every_policy_comes_to_the_part(label: str, draw: int, policy) -> None:
    read = bench(label, draw)
    start = read(START)
    assert start is not None
    walk = follow(policy, read, megaphone(), start=[start])
    assert walk.stop in ("sure", "alike", "idle")
    part = label.split()[0].rstrip("AB")
    if (label, policy) not in [("R1 open", stage_by_stage), ("R1 open", by_halves)]:
        assert part in [name for name, _, _ in walk.last.step.parts]
    assert len({(row.point, row.quantity, row.frequency) for row in walk.taken}) == len(walk.taken)


def test_a_walk_by_levels_stops_short_of_what_only_dc_tells() -> None:
    """R1 gives U1A its bias. Without it the signal ends there, as it does where U1 or a rail is lost; DC tells.

    R5 feeds the other half of U1: what is dead there looks like U1 as well.
    """
    read = bench("R1 open", 5)
    start = read(START)
    assert start is not None
    for policy in (stage_by_stage, by_halves):
        found = [name for name, _, _ in follow(policy, read, megaphone(), start=[start]).last.step.parts]
        assert set(found) <= {"U1", "R1", "R5", "VP", "VN"}
        assert found[0] == "U1"


def test_next_takes_fewer_minutes_than_the_walk() -> None:
    minutes = dict.fromkeys((by_next, stage_by_stage, by_halves), 0.0)
    for label, draw in CASES:
        read = bench(label, draw)
        start = read(START)
        assert start is not None
        for policy in minutes:
            minutes[policy] += follow(policy, read, megaphone(), start=[start]).minutes
    assert minutes[by_next] <= 0.7 * minutes[stage_by_stage]
    assert minutes[by_next] <= minutes[by_halves]


def test_readings_are_judged_by_the_healthy_range() -> None:
    """1.82 V rms is the healthy output: 100 mV through 1 + 10k/2k2 and 33k/10k (textbook gains)."""
    healthy = 0.1 * (1 + 10 / 2.2) * 3.3
    assert odd(megaphone(), level("U1 pin 7", healthy)) == (0, False)
    assert odd(megaphone(), level("U1 pin 7", healthy / 2)) == (0, True)
