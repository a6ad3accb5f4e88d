"""Levels at drive: closed forms, clipping, and circuits that never settle."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.optimize import brentq

from lostgain.circuit import build
from lostgain.engine import Pool
from lostgain.signatures.cycle import decibels, two_cycles
from lostgain.signatures.drift import LOOKED, _drifts
from lostgain.signatures.follow import WAVE_POINTS
from lostgain.signatures.shapes import distortion, memberships, picture
from lostgain.signatures.states import Steady
from tests.circuit.units import AMPLIFIER, NETLIST, make
from tests.signatures import tasks
from tests.signatures.units import OSCILLATOR, OSCILLATOR_NETLIST, SMALL, SMALL_NETLIST


def settle(pool: Pool, folder: Path, text: str, drive: float, frequency: float, **netlists: str) -> Steady:
    circuit = build(make(folder, text, **netlists), pool)
    outcome = pool.map(tasks.settle, [(circuit.flat, drive, frequency, list(circuit.points.values()))])[0]
    assert outcome.error is None
    found: Steady = outcome.value
    return found


@pytest.mark.parametrize("frequency", [40.0, 500.0, 10e3])
def test_an_rc_network_gives_the_closed_form(tmp_path: Path, pool: Pool, frequency: float) -> None:
    found = settle(pool, tmp_path, SMALL, 1.0, frequency, board=SMALL_NETLIST)
    load = 1 / (1 / 20e3 + 2j * np.pi * frequency * 100e-9)
    first = load / (1e3 + load)
    assert found.settled
    assert found.level == pytest.approx([abs(first), abs(first) / 2], rel=0.0115)  # 0.1 dB, as settled means
    assert found.swing == pytest.approx(found.level * 8**0.5, rel=5e-3)
    # The picture starts where the generator crosses zero upwards.
    phase = 2 * np.pi * np.arange(WAVE_POINTS) / WAVE_POINTS
    assert found.wave[0] == pytest.approx(abs(first) * 2**0.5 * np.sin(phase + np.angle(first)), abs=0.02)


def test_an_overdriven_stage_is_clipped_at_its_rails(tmp_path: Path, pool: Pool) -> None:
    """5 V rms times 11 into an op-amp that swings to 1.5 V from ±15 V: a square wave of some 13.5 V."""
    text = AMPLIFIER.replace('CG = "C2 47u"\n', "").replace("100 mV", "5 V")
    found = settle(pool, tmp_path, text, 5.0, 500.0)
    assert found.settled
    assert found.swing[2] == pytest.approx(27, abs=0.6)
    assert found.level[2] == pytest.approx(13.0, abs=0.5)
    assert picture(found.wave[2], found.level[2]) == "clipped"
    assert picture(found.wave[0], found.level[0]) == ""


def test_an_oscillator_is_marked_unsettled(tmp_path: Path, pool: Pool) -> None:
    found = settle(pool, tmp_path, OSCILLATOR, 0.001, 500.0, board=OSCILLATOR_NETLIST)
    assert not found.settled
    assert found.level[0] > 5


def test_levels_below_what_counts_are_alike() -> None:
    assert decibels(np.array([1.0, 1e-9, 2.0]), np.array([1.0, 1e-6, 1.0])) == pytest.approx([0, 0, 6.02], abs=0.01)


PHASE = 2 * np.pi * np.arange(64) / 64
SINE = np.sin(PHASE)
WAVES = {
    "": SINE,
    "clipped": np.clip(SINE, -0.6, 0.6),
    "flat on one side": np.minimum(SINE, 0.5),
    "only half there": np.maximum(SINE, 0.0),
    "kinked at its zero crossings": np.sign(SINE) * np.maximum(np.abs(SINE) - 0.2, 0),
}


@pytest.mark.parametrize("said", WAVES)
@pytest.mark.parametrize("sign", [1, -1])
def test_a_wave_is_called_what_the_bench_calls_it(said: str, sign: int) -> None:
    assert picture(sign * WAVES[said], 1.0) == said
    assert picture(WAVES[said], 1e-4) == ""  # too small for a picture


def test_distortion_against_the_series_of_a_square_wave() -> None:
    """sqrt(π²/8 − 1) = 0.483 (textbook), a little less from 64 points."""
    square = np.sign(np.sin(PHASE + 1e-6))
    assert distortion(np.array([square, SINE]))[0] == pytest.approx(0.483, abs=0.01)
    assert distortion(np.array([square, SINE]))[1] == pytest.approx(0, abs=1e-6)
    assert all(0 <= fit <= 1 for fits in memberships(np.array([square, SINE])).values() for fit in fits)


def test_an_edge_at_the_cycles_end_is_no_drift_and_a_drift_is_none_of_the_signal() -> None:
    """A square wave whose edges come a little early or late keeps its level; a sine on a ramp loses the ramp."""
    time = np.linspace(0, 2, 4001)
    square = np.where((time + 0.004 * np.sin(7 * time)) % 1 < 0.5, 1.0, -1.0)
    ramp = np.sin(2 * np.pi * time) + 0.2 * time
    before, last = two_cycles(time, np.array([square, ramp]), 0.0, 1.0)
    for cycle in (before, last):
        assert np.std(cycle[0]) == pytest.approx(1, abs=0.01)
        assert np.std(cycle[1]) == pytest.approx(np.sqrt(0.5), rel=1e-3)


def test_a_bias_that_takes_seconds_is_where_the_charges_balance(tmp_path: Path, pool: Pool) -> None:
    """A peak rectifier with 1 s of charging time at 10 kHz: no charge is left over a cycle (textbook).

    What flows through the diode's 100 kΩ while the sine is above the reservoir's voltage flows out through 300 kΩ.
    """
    parts = "R4 in a 10\nD1 a out sd\nR1 out c 100k\nC1 c 0 10u\nR2 c 0 300k\nR3 out 0 100meg\n"
    netlist = f"title\n{parts}.model sd d(is=1n n=0.05)\n"
    points = '[[point]]\nname = "TP1"\nnode = "out"\n[[point]]\nname = "TP2"\nnode = "c"\n'
    text = NETLIST.replace('"1 V rms"', '"5 V rms"') + '[parts]\nC1 = "electrolytic"\n' + points
    found = settle(pool, tmp_path, text, 5.0, 10e3, board=netlist)
    sine = 5 * 2**0.5 * np.sin(2 * np.pi * (np.arange(20_000) + 0.5) / 20_000)
    volts = brentq(lambda held: np.maximum(sine - held, 0).mean() / 100e3 - held / 300e3, 0, 7)
    wave = np.maximum(sine, volts)
    assert found.settled
    assert found.drifted
    assert found.level[0] == pytest.approx(wave.std(), rel=0.03)


class Drifting:
    """Stands for a circuit with smaller slow capacitors: its level after each round, and what a cycle changes [dB]."""

    def __init__(self, levels: list[float], changes: list[float]) -> None:
        self.levels, self.changes, self.round = levels, changes, 0

    def level(self) -> np.ndarray:
        return np.array([self.levels[self.round]])

    def change(self) -> float:
        return self.changes[self.round]

    def on(self, _cycles: int) -> None:
        self.round += 1


@pytest.mark.parametrize(
    ("levels", "changes", "over", "drifts"),
    [
        ([1.0, 1.01, 1.02, 1.021, 1.021], [0.0] * 5, 3, False),  # each cycle changes next to nothing, yet it goes on
        ([1.0, 1.0, 1.0, 1.0], [0.1, 0.1, 0.0, 0.0], 2, False),  # the same level by chance, on the way
        ([1.0, 1.01, 1.05, 1.2], [0.0] * 4, 2, True),
        ([1.0 + 0.01 * (each % 2) for each in range(20)], [0.0] * 20, LOOKED, False),
    ],
)
def test_a_drift_shows_until_levels_stay(levels: list[float], changes: list[float], over: int, drifts: bool) -> None:
    circuit = Drifting(levels, changes)
    assert _drifts(circuit) is drifts  # type: ignore[arg-type]
    assert circuit.round == over
