"""Predictions: numbers, sentences and stage gains of known faults."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

import numpy as np
import pytest

from lostgain.circuit import Circuit, build
from lostgain.engine import Pool
from lostgain.faults import parse
from lostgain.problems import UserError
from lostgain.signatures import Prediction, predict, sentences, stage_gains
from lostgain.signatures.predict import sweep_frequencies
from tests.circuit.units import AMPLIFIER, COUPLING, POWERED, make

#: A coupling network, then a gain of 11.
TWO = POWERED.replace("[setup]", '[setup]\nsource = "0R001"', 1) + (
    '[[stage]]\nname = "Coupling"\nuse = "coupling"\nCIN = "C1 1u film"\nRB = "R1 10k"\n'
    '[stage.points]\nin = "Jack"\nout = "R1, hot end"\n[[stage]]'
    + AMPLIFIER.partition("[[stage]]")[2].replace("U1 pin 3", "U1 pin 3, aside").replace('in = "U1 pin 3, aside"\n', "")
)


@pytest.fixture(scope="module")
def circuit(tmp_path_factory: pytest.TempPathFactory, pool: Pool) -> Circuit:
    return build(make(tmp_path_factory.mktemp("two"), TWO), pool)


def told(circuit: Circuit, pool: Pool, *faults: str) -> tuple[Prediction, str]:
    found = predict(circuit, [parse(text, circuit) for text in faults], pool)
    return found, " ".join(sentences(found))


def test_the_healthy_state_and_the_response(circuit: Circuit, pool: Pool) -> None:
    found, text = told(circuit, pool)
    assert found.healthy.level[-1, 0] == pytest.approx(1.1, rel=0.012)
    corner = 1 / (2 * np.pi * 10e3 * 1e-6)
    expected = 11 / np.sqrt(1 + (corner / found.sweep) ** 2)
    middle = (found.sweep > 100) & (found.sweep < 5e3)
    assert found.healthy.response[middle] == pytest.approx(expected[middle], rel=0.03)
    assert found.sweep == pytest.approx(sweep_frequencies())
    assert (found.sweep[0], found.sweep[-1]) == pytest.approx((10, 100e3))
    gains = stage_gains(circuit, found.healthy)
    assert [(gain.stage, gain.first, gain.last) for gain in gains] == [
        ("Coupling", "Jack", "R1, hot end"), ("Gain", "R1, hot end", "U1 pin 1")
    ]  # fmt: skip
    assert [gain.gain[0] for gain in gains] == pytest.approx([1.0, 11.0], rel=0.02)
    assert "leaves no mark" in text


def test_an_open_coupling_capacitor(circuit: Circuit, pool: Pool) -> None:
    found, text = told(circuit, pool, "C1 open")
    assert "The signal is whole at Jack and gone at R1, hot end at 500 Hz" in text
    assert text.count("gone") == 1
    assert "DC is as it should be" in text
    assert np.isnan(stage_gains(circuit, found.faulty)[1].gain[0])  # nothing comes in: no gain of 0 or 11


def test_an_open_feedback_resistor_and_two_faults_at_once(circuit: Circuit, pool: Pool) -> None:
    _, text = told(circuit, pool, "R3 open")
    assert "21 dB low at U1 pin 1" in text  # a gain of 1 instead of 11
    found, text = told(circuit, pool, "R3 open", "C1 open")
    assert "gone at R1, hot end" in text
    assert found.faulty.level[-1, 0] < 1e-3


def test_lost_bass(circuit: Circuit, pool: Pool) -> None:
    _, text = told(circuit, pool, "C1 lost 20%")
    assert "There is less bass: 6 dB less at 40 Hz than at 500 Hz, from R1, hot end on." in text


def test_a_stuck_output_moves_dc(circuit: Circuit, pool: Pool) -> None:
    _, text = told(circuit, pool, "U1A stuck-low")
    assert "DC is off from" in text
    assert "at U1 pin 1" in text
    assert "-14" in text or "−14" in text


def test_a_unit_that_cannot_be_simulated_is_said(tmp_path: Path, pool: Pool, monkeypatch: pytest.MonkeyPatch) -> None:
    circuit = build(make(tmp_path, COUPLING), pool)
    broken = circuit.flat.with_values({circuit.parts["R1"].element: 1e3}).with_parameters({})
    monkeypatch.setattr(type(broken), "lines", lambda self: ["r1 a b nothing", ".end"])
    with pytest.raises(UserError, match="the healthy unit cannot be simulated"):
        predict(circuit, [], _Refusing(pool))  # type: ignore[arg-type]


class _Refusing:
    """A pool whose simulations fail, since a worker does not see what a test replaces."""

    def __init__(self, pool: Pool) -> None:
        self.pool = pool

    def map(self, task: object, items: list[object]) -> list[object]:
        """Fail everything."""
        from lostgain.engine import Outcome

        return [Outcome(None, "no convergence") for _ in items]


def test_dc_that_hangs_on_the_units_own_parts_is_no_dc_as_it_should_be(circuit: Circuit, pool: Pool) -> None:
    """An op-amp without feedback at DC goes to one rail or the other, and at nominal values may stand between them."""
    found = predict(circuit, [], pool)
    ends = found.healthy.dc_range
    assert ends.shape == (2, len(found.points))
    assert (ends[0] <= found.healthy.dc + 1e-3).all()
    assert (ends[1] >= found.healthy.dc - 1e-3).all()
    loose = ends.copy()
    loose[:, -1] = (-13.0, 13.5)
    said = " ".join(sentences(replace(found, faulty=replace(found.healthy, dc_range=loose))))
    assert "DC hangs on each unit's own parts" in said
    assert f"between -13 V and 13.5 V (at {found.points[-1]})" in said
    assert "DC is as it should be" not in said
    assert "leaves no mark" not in said
    moved = found.healthy.dc.copy()
    moved[-1] = 13.4
    loose[:, -1] = (12.0, 14.5)
    said = " ".join(sentences(replace(found, faulty=replace(found.healthy, dc=moved, dc_range=loose))))
    assert "DC is off" in said
    assert "hangs on" not in said  # it is at the rail in every unit
