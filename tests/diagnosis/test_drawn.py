"""A suspect's levels in pictures are those of the verdict beside them."""

from __future__ import annotations

import numpy as np
import pytest

from lostgain.diagnosis.drawn import suspect_levels
from tests.diagnosis.megaphone import ask, megaphone, taken


def test_a_picture_shows_what_the_verdict_predicts() -> None:
    """Readings between two of the table's severities: the nearest row would be off by more."""
    table = megaphone()
    verdict = ask(*taken("R4 drift 2.5"))
    suspect = next(each for each in verdict.suspects if (each.part, each.mode) == ("R4", "drift"))
    drawn = suspect_levels(table, suspect)
    for each in suspect.evidence:
        if each.reading.quantity == "level" and each.predicted > 0.01:
            at = table.points.index(each.reading.point), list(table.frequencies).index(each.reading.frequency)
            assert 20 * np.log10(drawn[at] / each.predicted) == pytest.approx(0, abs=0.6)


def test_a_fault_without_severity_is_its_own_row() -> None:
    table = megaphone()
    suspect = next(each for each in ask(*taken("C1 open")).suspects if each.severity is None)
    row = table.faults.index(suspect.fault) + 1
    assert suspect_levels(table, suspect) == pytest.approx(table.values("level")[row, 0])
