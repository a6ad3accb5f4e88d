"""Electrolytics side by side on the ESR meter: in circuit each shows both, out of it itself."""

from __future__ import annotations

from pathlib import Path

import pytest

from lostgain.circuit import Circuit
from lostgain.circuit import build as build_circuit
from lostgain.engine import Pool
from lostgain.faults import parse
from lostgain.signatures.poweroff_esr import dielectric_esr, electrolyte_ohms, esr_table
from lostgain.signatures.poweroff_predict import predict_off
from lostgain.unit import open_unit
from tests.published.conftest import pool  # noqa: F401

UNIT = """
[unit]
title = "Two electrolytics side by side, invented"
netlist = "a.cir"
input = "in"
output = "out"
[setup]
generator = "100 mV rms"
[parts]
C1 = "electrolytic 25V"
C2 = "electrolytic 25V"
"""
NETLIST = "two electrolytics side by side\nR1 in out 10k\nC1 out 0 100u\nC2 out 0 47u\n.end\n"


@pytest.fixture(scope="module")
def circuit(pool: Pool, tmp_path_factory: pytest.TempPathFactory) -> Circuit:  # noqa: F811
    folder: Path = tmp_path_factory.mktemp("parallel")
    (folder / "a.cir").write_text(NETLIST, encoding="utf-8")
    (folder / "unit.toml").write_text(UNIT, encoding="utf-8")
    return build_circuit(open_unit(folder), pool)


def alone(farads: float) -> float:
    """Its two terms at 100 kHz: the electrolyte's resistance and the dielectric's loss [ohm]."""
    return electrolyte_ohms(farads, 25.0) + dielectric_esr(farads, 100e3, esr_table().tan_delta)


def shown(circuit: Circuit, pool: Pool, fault: str) -> dict[tuple[str, bool], tuple[float, float]]:  # noqa: F811
    """Return what the ESR meter shows healthy and faulty, by part and whether it is lifted."""
    found = predict_off(circuit, [parse(fault, circuit)], pool)
    return {(each.point, each.lifted): (each.healthy, each.faulty) for each in found if each.quantity == "esr"}


def test_in_circuit_both_show_and_an_open_one_hides_behind_the_other(circuit: Circuit, pool: Pool) -> None:  # noqa: F811
    """Two resistances side by side, since 100 uF and 47 uF are 0.02 and 0.03 ohm at 100 kHz."""
    first, second = alone(100e-6), alone(47e-6)
    found = shown(circuit, pool, "C1 open")
    healthy, faulty = found["C1", False]
    assert healthy == pytest.approx(first * second / (first + second), rel=0.03)
    assert faulty == pytest.approx(second, rel=0.03)
    assert faulty < 100  # the meter shows something, though the part is open


def test_out_of_circuit_it_shows_itself(circuit: Circuit, pool: Pool) -> None:  # noqa: F811
    healthy, faulty = shown(circuit, pool, "C1 esr 20")["C1", True]
    assert healthy == pytest.approx(alone(100e-6), rel=0.03)
    assert faulty == pytest.approx(20 + alone(100e-6), rel=0.05)
