"""Rows that need no transient, and draws that start where nominal values ended, beside plain transients from rest."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from benchmarks.speed_part import samples
from lostgain.circuit import Circuit, build
from lostgain.engine import Pool
from lostgain.faults import parse
from lostgain.signatures.draws import deviates, varied
from lostgain.signatures.row import RowResult, RowTask
from lostgain.signatures.rows import run_row
from tests.circuit.units import AMPLIFIER, make
from tests.signatures import tasks


@pytest.fixture(scope="module")
def amplifier(tmp_path_factory: pytest.TempPathFactory, pool: Pool) -> Circuit:
    return build(make(tmp_path_factory.mktemp("amplifier"), AMPLIFIER), pool)


def task(circuit: Circuit, *faults: str, draws: int = 4) -> RowTask:
    numbers = varied(circuit)
    return RowTask(circuit, tuple(parse(text, circuit) for text in faults), numbers,
                   deviates(draws, len(numbers), seed=1), draws)  # fmt: skip


def run(pool: Pool, item: RowTask) -> RowResult:
    outcome = pool.map(run_row, [item])[0]
    assert outcome.error is None
    row: RowResult = outcome.value
    return row


def plain_levels(pool: Pool, item: RowTask) -> np.ndarray:
    """Levels by transients from the operating point, followed for many cycles: (sample, point, frequency) [V rms]."""
    outcome = pool.map(tasks.plain_levels, [(item, list(samples(item)))])[0]
    assert outcome.error is None
    return np.asarray(outcome.value)


def far(one: np.ndarray, other: np.ndarray) -> float:
    """Largest difference [dB] where there is a signal."""
    least = 0.5e-3
    return float(np.abs(20 * np.log10(np.maximum(one, least) / np.maximum(other, least))).max())


def test_a_fault_that_lowers_the_signal_needs_no_transient(pool: Pool, amplifier: Circuit) -> None:
    healthy = run(pool, task(amplifier))
    item = replace(task(amplifier, "R3 drift 3x"), healthy=healthy)
    analyses = pool.map(tasks.analyses, [item])[0].value
    assert analyses.count("tran") == 0
    row = run(pool, item)
    assert row.small_signal.all()
    assert far(row.level, plain_levels(pool, item)) < 0.02


def test_a_fault_that_raises_it_or_moves_the_bias_is_followed(pool: Pool, amplifier: Circuit) -> None:
    healthy = run(pool, task(amplifier))
    for fault in ("R2 drift 3x", "U1A vn-open"):
        analyses = pool.map(tasks.analyses, [replace(task(amplifier, fault), healthy=healthy)])[0].value
        assert analyses.count("tran") >= 3


def test_draws_of_a_row_that_clips_are_those_of_plain_transients(tmp_path: Path, pool: Pool) -> None:
    text = AMPLIFIER.replace('CG = "C2 47u"\n', "").replace("100 mV", "5 V")
    item = task(build(make(tmp_path, text), pool))
    row = run(pool, item)
    assert not row.small_signal.any()
    assert far(row.level, plain_levels(pool, item)) < 0.05
