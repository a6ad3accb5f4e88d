"""A good channel that is not as described: said first, and what both channels share is no news of the fault."""

from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest

from lostgain.diagnosis import Verdict
from lostgain.diagnosis.posterior import weigh
from lostgain.faults import rates
from lostgain.readings import Reading
from tests.diagnosis.megaphone import ask, dc, level, megaphone, probability, row_of

POINTS = ("J1 tip", "R2, left end", "R2, right end", "U1 pin 1", "U1 pin 7")


def levels(label: str, good: list[float], faulty: list[float]) -> list[Reading]:
    """Levels of both channels at 500 Hz, so many decibels off what the description gives."""
    table = megaphone()
    names, volts = list(table.points), table.values("level")[:, 0, :, 0]
    rows: list[Reading] = []
    for channel, row, off in (("Starboard", 0, good), ("Port", row_of(label), faulty)):
        rows += [level(point, float(volts[row, names.index(point)]) * 10 ** (decibels / 20), channel)
                 for point, decibels in zip(POINTS, off, strict=True)]  # fmt: skip
    return rows


def sheet(label: str, good: list[float], faulty: list[float]) -> Verdict:
    """The verdict on them."""
    return ask(*levels(label, good, faulty), good="Starboard")


def test_a_generator_that_gives_half_is_told_and_is_no_fault() -> None:
    verdict = sheet("R6 drift 2.5", [-6.0] * 5, [-6.0] * 5)
    assert "generator gives about 50 mV rms instead of 100 mV rms" in verdict.warnings[0]
    assert not any("does not fit this unit there (revision" in each for each in verdict.warnings)
    assert probability(verdict, "R6") + probability(verdict, "R5") > 0.9


def test_a_modification_of_both_channels_is_told_and_allowed_for() -> None:
    """Twice the gain from the first stage on. What the second stage does beside it is what tells."""
    verdict = sheet("R6 drift 2.5", [0.0, 0.0, 0.0, 6.0, 6.0], [0.0, 0.0, 0.0, 6.0, 6.0])
    assert verdict.warnings[0].startswith("U101 pin 1 (Starboard), the good channel, reads")
    assert "does not fit this unit" in verdict.warnings[0]
    assert "generator" not in verdict.warnings[0]
    assert probability(verdict, "R6") + probability(verdict, "R5") > 0.9


def test_one_odd_reading_of_the_good_channel_says_nothing_of_the_other() -> None:
    """A reading that no other bears out may be a slip: only the good channel's own is taken for unsure."""
    odd = sheet("R6 drift 2.5", [0.0, 0.0, 4.0, 0.0, 0.0], [0.0] * 5)
    assert "R102, right end" in odd.warnings[0]
    assert not any("What both channels share" in each for each in odd.warnings)
    plain = sheet("R6 drift 2.5", [0.0] * 5, [0.0] * 5)
    for part in ("R5", "R6", "C1"):
        assert probability(odd, part) == pytest.approx(probability(plain, part), abs=0.1)


@pytest.mark.parametrize("off", [[0.0] * 5, [0.6, -0.6, 0.6, -0.6, 0.6], [-1.5] * 5])
def test_what_tolerances_explain_is_not_told(off: list[float]) -> None:
    verdict = sheet("R6 drift 2.5", off, off)
    assert not any("good channel" in each for each in verdict.warnings)


def test_the_order_of_readings_does_not_matter() -> None:
    rows = [level(point, 0.05, channel) for point in POINTS[:3] for channel in ("Port", "Starboard")]
    rows += [dc("U1 pin 1", 0.0), level("U1 pin 1", 0.28, "Starboard")]
    one, other = (ask(*some, good="Starboard") for some in (rows, rows[::-1]))
    assert one.healthy == pytest.approx(other.healthy, rel=1e-6)
    assert {each.part: each.probability for each in one.suspects[:5]} == pytest.approx(
        {each.part: each.probability for each in other.suspects[:5]}, rel=1e-6
    )


def test_what_is_off_alone_is_let_off_in_the_good_channel_only() -> None:
    table = megaphone()
    off = [0.0, 0.0, 4.0, 0.0, 0.0]
    odd, plain = (
        weigh(table, levels("R6 drift 2.5", good, [0.0] * 5), "Starboard", rates("bench")) for good in (off, [0.0] * 5)
    )
    assert [(table.points[each.point], each.alone, each.first) for each in odd.apart] == [
        ("R2, right end", True, False)
    ]
    assert odd.apart[0].decibels == pytest.approx(4.0, abs=0.01)
    more = odd.seen.common.always - plain.seen.common.always
    changed = {odd.seen.latent[number][0] for number in np.flatnonzero(more.any(axis=0))}
    assert changed == {"Starboard"}
    assert np.count_nonzero(more) == 1


def test_how_far_off_the_generator_is_is_nothing_to_the_suspects() -> None:
    """The generator's level is nothing that a suspect could be made of: at half of it the suspects are the same."""
    found = [sheet("R6 drift 2.5", [off] * 5, [off] * 5) for off in (-3.0, -6.0, -12.0)]
    for one, other in pairwise(found):
        assert probability(one, "R6") == pytest.approx(probability(other, "R6"), abs=0.05)
