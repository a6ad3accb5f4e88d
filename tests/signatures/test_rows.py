"""Rows: when small-signal analysis stands in, and what becomes of runs that give no result."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from lostgain.circuit import Circuit, build
from lostgain.engine import Pool
from lostgain.faults import parse
from lostgain.signatures.draws import deviates, varied
from lostgain.signatures.row import RowResult, RowTask
from lostgain.signatures.rows import run_row
from tests.circuit.units import AMPLIFIER, make
from tests.signatures import tasks
from tests.signatures.units import OSCILLATOR, OSCILLATOR_NETLIST, SMALL, SMALL_NETLIST


@pytest.fixture(scope="module")
def small(tmp_path_factory: pytest.TempPathFactory, pool: Pool) -> Circuit:
    return build(make(tmp_path_factory.mktemp("small"), SMALL, board=SMALL_NETLIST), pool)


def task(circuit: Circuit, *faults: str, draws: int = 4) -> RowTask:
    numbers = varied(circuit)
    z = deviates(draws, len(numbers), seed=1)
    return RowTask(circuit, tuple(parse(text, circuit) for text in faults), numbers, z, 2)


def run(pool: Pool, item: RowTask) -> RowResult:
    outcome = pool.map(run_row, [item])[0]
    assert outcome.error is None
    row: RowResult = outcome.value
    return row


def rc(frequency: float, ohms: float, farads: float, upper: float = 10e3, lower: float = 10e3) -> np.ndarray:
    load = 1 / (1 / (upper + lower) + 2j * np.pi * frequency * farads)
    level = abs(load / (ohms + load))
    return np.array([level, level * lower / (upper + lower)])


def test_a_linear_row_is_small_signal_and_each_draw_the_closed_form(pool: Pool, small: Circuit) -> None:
    item = task(small, "R3 drift 3x")
    row = run(pool, item)
    assert row.status == "ok"
    assert row.settled.all()
    assert row.small_signal.all()
    r1, c1, r2, r3 = (1 + z.T for z in [item.z * [0.01, 0.05, 0.01, 0.01]][0].T)
    names = [number.elements[0] for number in item.numbers]
    assert names == ["r1", "c1", "r2", "r3"]
    for draw in range(4):
        for index, frequency in enumerate((500.0, 40.0, 10e3)):
            expected = rc(frequency, 1e3 * r1[draw], 100e-9 * c1[draw], 10e3 * r2[draw], 30e3 * r3[draw])
            assert row.level[draw + 1, :, index] == pytest.approx(expected, rel=0.012)  # 0.1 dB
    assert row.dc == pytest.approx(np.zeros((5, 2)), abs=1e-9)


def test_a_row_that_clips_is_followed_in_time(tmp_path: Path, pool: Pool) -> None:
    """Small-signal analysis would say 55 V."""
    text = AMPLIFIER.replace('CG = "C2 47u"\n', "").replace("100 mV", "5 V")
    row = run(pool, task(build(make(tmp_path, text), pool)))
    assert not row.small_signal[0]
    assert row.level[0, 2, 0] == pytest.approx(13.0, abs=0.5)
    assert row.level[1:3, 2, 0] == pytest.approx([13.0, 13.0], abs=0.7)  # two slow draws
    assert np.isnan(row.level[3:, 2, 0]).all()  # and no more: what was not run is not filled in
    assert np.isfinite(row.dc).all()


def test_what_never_settles_is_marked(tmp_path: Path, pool: Pool) -> None:
    row = run(pool, task(build(make(tmp_path, OSCILLATOR, board=OSCILLATOR_NETLIST), pool), draws=1))
    # At 40 Hz one cycle holds some thirty of its own, and reads a steady level, as a meter does.
    assert not row.settled[0]
    assert not row.small_signal.any()


def test_without_an_operating_point_nothing_is_filled_in_and_the_reason_kept(pool: Pool, small: Circuit) -> None:
    row = pool.map(tasks.reluctant_row, [(task(small), "op")])[0].value
    assert "no operating point" in row.status
    assert "singular matrix" in row.status  # what ngspice said
    for numbers in (row.dc, row.level, row.swing, row.wave):
        assert np.isnan(numbers).all()
    assert not row.small_signal.any()


def test_without_a_transient_dc_stays_and_small_signals_are_as_unsettled_as_they_are(
    pool: Pool, small: Circuit
) -> None:
    every, one = (
        each.value for each in pool.map(tasks.reluctant_row, [(task(small), "tran"), (task(small), "tran 40")])
    )
    assert "timestep too small" in every.status
    assert np.isfinite(every.dc).all()
    assert not every.settled.any()
    assert not every.small_signal.any()
    assert np.isnan(every.level[1:]).all()
    assert every.level[0][:, 1] == pytest.approx(rc(40.0, 1e3, 100e-9), rel=1e-3)
    assert "no transient at 40 Hz" in one.status
    assert "500 Hz" not in one.status
    assert np.isfinite(one.level[:, :, [0, 2]]).all()
    assert np.isnan(one.level[1:, :, 1]).all()
    assert one.settled.tolist() == [True, False, True]


def test_without_a_transient_what_would_clip_is_not_filled_in(pool: Pool, tmp_path: Path) -> None:
    loud = AMPLIFIER.replace('generator = "100 mV rms"', 'generator = "3 V rms"')  # by 11, more than the rails
    row = pool.map(tasks.reluctant_row, [(task(build(make(tmp_path, loud), pool), draws=1), "tran")])[0].value
    assert "no transient" in row.status
    assert np.isnan(row.level).all()
