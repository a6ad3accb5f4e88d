"""Tolerance draws."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy.stats import norm

from lostgain.circuit import build
from lostgain.circuit.flat import parameter
from lostgain.engine import Pool
from lostgain.faults import parse, put_in
from lostgain.signatures.draws import CUT, OPEN_DECADES, Device, Within, deviates, drawn, opens, varied, with_opens
from tests.circuit.units import make
from tests.faults.units import ALL_KINDS, ALL_KINDS_NETLIST
from tests.signatures.units import SMALL, SMALL_NETLIST


def test_deviates_are_standard_normal_and_cut() -> None:
    z = deviates(4096, 5, seed=1)
    assert z.mean(axis=0) == pytest.approx(np.zeros(5), abs=5e-3)
    # Variance of a standard normal with its tails put at ±3: from scipy.stats.norm.
    tail = norm.sf(CUT)
    variance = 1 - 2 * CUT * norm.pdf(CUT) - 2 * tail + 2 * tail * CUT**2
    assert z.std(axis=0) == pytest.approx(np.full(5, variance**0.5), rel=5e-3)
    assert np.abs(z).max() == CUT
    assert np.corrcoef(z.T) == pytest.approx(np.eye(5), abs=0.03)


@pytest.mark.parametrize("count", [1, 5, 16])
def test_deviates_are_the_same_for_the_same_seed(count: int) -> None:
    assert np.array_equal(deviates(count, 7, seed=3), deviates(count, 7, seed=3))
    assert not np.array_equal(deviates(count, 7, seed=3), deviates(count, 7, seed=4))
    assert deviates(count, 7, seed=3).shape == (count, 7)
    assert deviates(count, 0, seed=3).shape == (count, 0)


def test_two_standard_deviations_are_the_tolerance() -> None:
    assert [Within(-0.05, 0.05)(1e3, z) for z in (-2, 0, 2)] == pytest.approx([950, 1000, 1050])
    assert [Within(-0.2, 0.5)(100e-6, z) for z in (-2, 0, 2)] == pytest.approx([80e-6, 115e-6, 150e-6])
    assert [Device(1.4, 0.0)(200, z) for z in (-1, 0, 1)] == pytest.approx([200 / 1.4, 200, 280])
    assert [Device(1.0, 1e-3)(0, z) for z in (-1, 0, 1)] == pytest.approx([-1e-3, 0, 1e-3])


def test_every_part_varies_within_its_tolerance_and_nothing_else(tmp_path: Path, pool: Pool) -> None:
    circuit = build(make(tmp_path, SMALL, board=SMALL_NETLIST), pool)
    numbers = varied(circuit)
    values = np.array(
        [
            [drawn(circuit.flat, numbers, z).elements[name].value for name in ("r1", "c1", "r2", "r3")]
            for z in deviates(256, len(numbers), seed=2)
        ]
    )
    assert values.std(axis=0) / [1e3, 100e-9, 10e3, 10e3] == pytest.approx([0.01, 0.05, 0.01, 0.01], rel=0.05)
    assert values.mean(axis=0) == pytest.approx([1e3, 100e-9, 10e3, 10e3], rel=5e-3)
    bench = [name for name in circuit.flat.elements if "bench" in name]
    after = drawn(circuit.flat, numbers, deviates(1, len(numbers), seed=2)[0])
    assert len(bench) == 3
    assert all(after.elements[name] == circuit.flat.elements[name] for name in bench)


def test_devices_of_one_class_vary_apart_and_a_track_as_one(tmp_path: Path, pool: Pool) -> None:
    netlist = ALL_KINDS_NETLIST.replace("Q2 vn f g pnp-small", "Q2 vp f g npn-small")
    circuit = build(make(tmp_path, ALL_KINDS, a=netlist), pool)
    numbers = varied(circuit)
    after = drawn(circuit.flat, numbers, deviates(1, len(numbers), seed=2)[0])

    def gain(part: str) -> float:
        element = circuit.parts[part].element
        found = parameter(after.models[after.model_of(element)], "bf")
        assert found is not None
        return found

    assert gain("Q1") != gain("Q2")
    track = circuit.parts["RV1"]
    halves = [after.elements[track.inside(name, after)].value for name in ("rtop", "rbot")]
    assert halves[0] == pytest.approx(halves[1])  # at half its turn
    assert sum(halves) != pytest.approx(10e3, rel=1e-3)
    rails = [after.elements[circuit.parts[name].element].value for name in ("VP", "VN")]
    assert rails[0] != pytest.approx(-rails[1], rel=1e-4)
    opamp = circuit.parts["U1A"]
    assert after.elements[opamp.inside("vos", after)].value != 0


def test_how_open_an_open_connection_is_differs_from_draw_to_draw(pool: Pool, tmp_path: Path) -> None:
    """A decade either way, and no more: neither what is high by itself, nor a fault that is no open one."""
    circuit = build(make(tmp_path, SMALL, board=SMALL_NETLIST.replace("R3 out 0 10k", "R3 out 0 330meg")), pool)
    decades = opens(16)
    assert np.sort(decades) == pytest.approx(OPEN_DECADES * (2 * np.arange(1, 17) / 16 - 1), abs=OPEN_DECADES / 8)
    cut = put_in(circuit.flat, parse("R2 open", circuit), circuit)
    name = circuit.parts["R2"].element
    for each in (-1.0, 0.0, 0.5):
        found = with_opens(cut, circuit.flat, each)
        assert found.elements[name].value == pytest.approx(1e9 * 10**each)
        assert {key: one for key, one in found.elements.items() if key != name} == {
            key: one for key, one in cut.elements.items() if key != name
        }
    drifted = put_in(circuit.flat, parse("R2 drift 3x", circuit), circuit)
    assert with_opens(drifted, circuit.flat, 1.0) == drifted


def test_what_is_left_of_an_open_capacitor_differs_from_draw_to_draw(pool: Pool, tmp_path: Path) -> None:
    """3 to 30 pF of 10: half a decade either way; what has lost capacitance by a stated share keeps that."""
    circuit = build(make(tmp_path, SMALL, board=SMALL_NETLIST), pool)
    cut = put_in(circuit.flat, parse("C1 open", circuit), circuit)
    (name,) = (each for each in cut.elements if cut.elements[each] != circuit.flat.elements.get(each))
    for decades, farads in ((-1.0, 10e-12 / 10**0.5), (0.0, 10e-12), (1.0, 10e-12 * 10**0.5)):
        assert with_opens(cut, circuit.flat, decades).elements[name].value == pytest.approx(farads)
    lost = put_in(circuit.flat, parse("C1 lost 0.01x", circuit), circuit)
    assert with_opens(lost, circuit.flat, 1.0) == lost
