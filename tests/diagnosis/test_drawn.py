"""A suspect's levels in pictures: at the severity that the verdict beside them gives."""

from __future__ import annotations

from dataclasses import replace
from itertools import pairwise

import numpy as np
import pytest

from lostgain.diagnosis.drawn import LEAST, suspect_levels
from tests.diagnosis.megaphone import ask, megaphone, taken


def test_between_two_severities_the_level_is_between_theirs() -> None:
    """Half way on the logarithm of the severity, half way in decibels."""
    table = megaphone()
    rows = sorted((fault.severity, number) for number, fault in enumerate(table.faults, 1)
                  if (fault.part, fault.mode) == ("R4", "drift") and fault.severity)  # fmt: skip
    suspect = next(each for each in ask(*taken("R4 drift 2.5")).suspects if (each.part, each.mode) == ("R4", "drift"))
    levels = np.maximum(table.values("level")[:, 0], LEAST)
    for (one, low), (other, high) in pairwise(rows):
        drawn = suspect_levels(table, replace(suspect, severity=float(np.sqrt(one * other))))
        assert drawn == pytest.approx(np.sqrt(levels[low] * levels[high]), rel=1e-6)
    beyond = suspect_levels(table, replace(suspect, severity=1e6))
    assert beyond == pytest.approx(levels[rows[-1][1]], rel=1e-6)


def test_a_fault_without_severity_is_its_own_row() -> None:
    table = megaphone()
    suspect = next(each for each in ask(*taken("C1 open")).suspects if each.severity is None)
    row = table.faults.index(suspect.fault) + 1
    assert suspect_levels(table, suspect) == pytest.approx(table.values("level")[row, 0])
