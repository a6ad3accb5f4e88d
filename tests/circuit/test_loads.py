"""Loads and branches as they stand in the circuit."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from lostgain.circuit import build
from lostgain.circuit.loads import load_lines
from lostgain.engine import Pool, Session
from lostgain.unit import open_unit
from lostgain.unit.load import OPEN, Load
from lostgain.unit.loads import library_load, parse_load
from tests.circuits.solve import run

BRANCHED = """
[unit]
title = "Two ways"
invented = true
[setup]
generator = "1 V rms"
source = "0R001"
load = "1k"
[setup.loads]
"Low way" = "3k"
[[stage]]
name = "First"
use = "contact"
K = "J1"
[[stage]]
name = "Low way"
use = "mute"
RS = "R1 1k"
K = "K1"
[stage.points]
out = "Low"
[[stage]]
name = "High way"
use = "mute"
from = "First"
RS = "R2 1k"
K = "K2"
[stage.points]
out = "High"
"""


def impedance(load: Load, frequency: float) -> complex:
    """Return the impedance of a load [ohm], from ngspice: 1 A through it."""
    lines = ["Itest 0 hot dc 0 ac 1", *load_lines("rbench_load", load, "hot", "0")]
    return complex(run(lines, f"ac lin 1 {frequency:g} {frequency:g}")["hot"][0])


def test_a_resistor_a_capacitor_and_both() -> None:
    assert impedance(parse_load("8R"), 1e3) == pytest.approx(8)
    assert abs(impedance(parse_load("100n"), 1e3)) == pytest.approx(1 / (2 * np.pi * 1e3 * 100e-9), rel=1e-3)
    both = 1 / (1 / 8 + 2j * np.pi * 1e5 * 1e-6)
    assert impedance(parse_load("8R 1u"), 1e5) == pytest.approx(both, rel=1e-6)
    assert abs(impedance(OPEN, 1e3)) > 1e8


def test_a_loudspeaker_at_dc_is_its_voice_coil() -> None:
    load = library_load("loudspeaker-200mm")
    assert load.speaker is not None
    assert abs(impedance(load, 0.01)) == pytest.approx(load.speaker.re, rel=1e-3)


def test_each_way_takes_its_signal_where_it_says_and_has_its_own_load(tmp_path: Path, pool: Pool) -> None:
    (tmp_path / "unit.toml").write_text(BRANCHED, encoding="utf-8")
    circuit = build(open_unit(tmp_path), pool)
    found = pool.map(_levels, [(circuit.flat.lines(), list(circuit.points.values()))])[0].value
    # 0.02 ohm of the contact's and both ways' currents: a few millionths
    assert dict(zip(circuit.points, found, strict=True)) == pytest.approx({"Low": 0.75, "High": 0.5}, rel=1e-3)
    assert circuit.output == circuit.stage_ends["High way"]


def _levels(session: Session, item: tuple[list[str], list[str]]) -> list[float]:
    session.load(item[0])
    return [float(abs(value)) for value in session.ac([500.0], item[1])[:, 0]]
