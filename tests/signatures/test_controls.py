"""Controls that do not stand quite where they are said to."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from lostgain import build_circuit, match, open_unit, signature_table
from lostgain.circuit import build
from lostgain.diagnosis.allowances import allowances
from lostgain.diagnosis.common import common_allowance
from lostgain.diagnosis.features import Feature
from lostgain.diagnosis.posterior import weigh
from lostgain.engine import Pool
from lostgain.faults import rates
from lostgain.readings.model import Reading, Readings
from lostgain.signatures.controls import TURN, per_decibel, turns
from lostgain.signatures.draws import varied
from lostgain.signatures.row import RowTask
from lostgain.signatures.rows import run_row
from tests.circuit.units import HEAD, make

#: A level control that a small capacitor loads: turning it acts on the source too, and not at all frequencies alike.
CONTROL = HEAD.replace('source = "0R001"', 'source = "10k"\ninstrument = "scope-x10"') + (
    '[setup.controls]\nRV1 = "30 %"\n'
    '[[stage]]\nname = "Level"\nuse = "level"\nRV = "RV1 100k linear"\n'
    '[stage.points]\nin = "RV1, hot end"\nout = "RV1, wiper"\n'
    '[[stage]]\nname = "Coupling"\nuse = "coupling"\nCIN = "C1 10n film"\nRB = "R1 22k"\n'
    '[stage.points]\nout = "R1, hot end"\n'
)
FREQUENCIES = (500.0, 40.0, 10e3)


def by_hand(share: float) -> np.ndarray:
    """Levels [dB] at the hot end, the wiper and behind the capacitor, by Ohm's law: array, (point, frequency)."""
    found = []
    for frequency in FREQUENCIES:
        branch = 0.1 + 22e3 + 1 / (2j * np.pi * frequency * 10e-9)
        lower = 1 / (1 / (100e3 * share) + 1 / branch)
        hot = (100e3 * (1 - share) + lower) / (10e3 + 100e3 * (1 - share) + lower)
        wiper = hot * lower / (100e3 * (1 - share) + lower)
        found.append([hot, wiper, wiper * 22e3 / branch])
    return 20 * np.log10(np.abs(np.array(found).T))


def test_a_turned_control_acts_as_ohms_law_says(tmp_path: Path) -> None:
    table = signature_table(build_circuit(make(tmp_path, CONTROL)))
    assert list(table.data["control"].values) == ["RV1", "RV1"]
    phasors = np.abs(table.complex_values("turned"))
    for number, decibels in enumerate(table.values("decibels")):
        assert 20 * np.log10(phasors[number]) == pytest.approx(by_hand(0.3 * 10 ** (decibels / 20)), abs=0.01)
    keys = [("Left", Feature(point, index, floor=1e-6)) for point in range(3) for index in range(3)]
    slopes = (by_hand(0.3 * 10 ** (TURN / 20)) - by_hand(0.3 * 10 ** (-TURN / 20))).ravel() / (2 * TURN)
    # Ahead of the control next to nothing, behind it 0.8 to 0.9: had they been alike, this would test little.
    assert slopes.min() < -0.03
    assert np.ptp(slopes[3:6]) > 0.05
    allow = allowances()
    turned = (allow.control_setting_db**2 + allow.control_tracking_db**2) * np.outer(slopes, slopes)
    expected = common_allowance(table, keys).always - turned - allow.generator_level_db**2
    left = common_allowance(replace(table, data=table.data.drop_vars(["turned", "control", "decibels"])), keys).always
    assert expected == pytest.approx(left - allow.generator_level_db**2, abs=5e-3)


def test_a_tone_control_off_its_mark_is_no_fault() -> None:
    """Turned by 1 dB of its share, the bass control lifts the bass and leaves the treble alone."""
    circuit = build(open_unit("choir-desk"))
    every = turns(circuit)
    numbers = varied(circuit)
    like = RowTask(circuit, (), numbers, np.zeros((0, len(numbers))), 0)
    with Pool(workers=1) as pool:
        outcomes = pool.map(run_row, [like, *(replace(like, instead=turn) for turn in every)])
    assert [each.error for each in outcomes] == [None] * len(outcomes)
    levels = 20 * np.log10(np.abs(np.array([outcome.value.phasor[0] for outcome in outcomes])))
    slopes = per_decibel(levels, [each.control for each in every], np.array([each.decibels for each in every]))
    points = list(circuit.points)
    tone, before, end = points.index("U1 pin 7"), points.index("R10, hot end"), points.index("TP1")
    assert circuit.unit.setup.frequencies[:3] == (1000.0, 100.0, 10e3)
    assert abs(slopes["RV2"][tone, 1]) > 3 * abs(slopes["RV2"][tone, 0]) > 30 * abs(slopes["RV2"][tone, 2])
    assert abs(slopes["RV3"][tone, 2]) > 3 * abs(slopes["RV3"][tone, 0]) > 10 * abs(slopes["RV3"][tone, 1])
    for name in ("RV2", "RV3", "RV4"):
        assert np.abs(slopes[name][before]).max() < 0.02
    assert slopes["RV4"][end] == pytest.approx(1.0, abs=0.01)  # behind a fader, a decibel is a decibel
    # The preamplifier's gain is (RF/RE) behind its first pair: here a potentiometer sets it, at all frequencies alike.
    assert np.ptp(slopes["RV1"][before]) < 0.05


def test_a_control_at_its_end_turns_one_way(tmp_path: Path) -> None:
    full = build(make(tmp_path, CONTROL.replace('RV1 = "30 %"', 'RV1 = "full"')))
    assert [turn.decibels for turn in turns(full)] == [-TURN]
    levels = np.array([[0.0], [-0.9]])
    assert per_decibel(levels, ["RV1"], np.array([-TURN])) == {"RV1": pytest.approx(np.array([0.9]))}


def test_readings_behind_a_control_off_its_mark_are_believed(tmp_path: Path) -> None:
    """All of them low by what the control does: nothing is wrong, at every frequency by its own amount."""
    table = signature_table(build_circuit(make(tmp_path, CONTROL)))
    share = 0.3 * 10 ** (-2.8 / 20)  # three standard deviations
    channel = table.circuit.unit.channels[0].name
    rows = [
        Reading(name, "level", channel, 10 ** (by_hand(share)[place, index] / 20), "", "rms", frequency)
        for place, name in enumerate(table.points)
        for index, frequency in enumerate(FREQUENCIES)
    ]
    fixed = replace(table, data=table.data.drop_vars(["turned", "control", "decibels"]))
    healthy, without = (float(weigh(each, rows, "", rates("bench")).cases[0].log[0]) for each in (table, fixed))
    assert healthy > without + 3  # twenty times as likely as were the control fixed
    assert match(table, Readings(tuple(rows), path=Path("typed.csv"))).healthy > allowances().call_faulty
