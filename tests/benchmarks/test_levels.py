"""Readings of simulated repairs at further levels of the generator."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from benchmarks.cases import make, sheet, simulated
from benchmarks.levels import at_levels, more
from benchmarks.truth import Prior
from lostgain.circuit import build
from lostgain.engine import Pool
from lostgain.readings.taken import what
from tests.circuit.units import AMPLIFIER
from tests.circuit.units import make as written


@pytest.mark.usefixtures("nothing_kept")
def test_a_linear_unit_follows_the_generator_to_within_its_step(tmp_path: Path) -> None:
    text = AMPLIFIER.replace('load = "10k"', 'load = "10k"\nlevels = ["30 mV rms", "300 mV rms"]')
    with Pool(workers=1) as pool:
        circuit = build(written(tmp_path / "amplifier", text), pool)
        cases = [make(Prior(circuit), "healthy", (5, number)) for number in range(4)]
        simulated(cases, circuit, pool)
        found = at_levels(circuit, cases, pool)
        assert found == at_levels(circuit, cases, pool), "the same again"
    first = circuit.unit.setup.frequencies[0]
    off = []
    for case, rows in zip(cases, found, strict=True):
        own = {row.point: row for row in sheet(circuit, case).rows if row.frequency == first}
        assert [row.generator for row in rows] == [0.03] * len(own) + [0.3] * len(own)
        assert {row.frequency for row in rows} == {first}
        for row in rows:
            there = own[row.point]
            if row.value is not None and there.value is not None and row.generator is not None:
                off.append(20 * np.log10(row.value / there.value / (row.generator / 0.1)))
        whole = more(sheet(circuit, case), rows)
        assert len({what(row) for row in whole.rows}) == len(whole.rows)
    # The generator's step (0.2 dB) and two readings of an oscilloscope.
    assert 0.02 < float(np.std(off)) < 0.5
    assert abs(float(np.mean(off))) < 0.3


def test_a_unit_without_further_levels_has_none(tmp_path: Path) -> None:
    with Pool(workers=1) as pool:
        circuit = build(written(tmp_path / "amplifier", AMPLIFIER), pool)
        case = replace(make(Prior(circuit), "healthy", (5, 1)))
        assert at_levels(circuit, [case], pool) == [[]]
