"""Where slow capacitors charge to: against the same circuit followed for as long as it takes."""

from __future__ import annotations

import numpy as np
import pytest

from lostgain.circuit import build
from lostgain.circuit.model import driven
from lostgain.engine import Pool, Session
from lostgain.faults import listing, put_in
from lostgain.signatures.cycle import decibels
from lostgain.signatures.drift import _put_right, _step
from lostgain.signatures.states import Slopes
from lostgain.signatures.steady import steady
from lostgain.unit import open_unit
from tests.signatures.tasks import settle, wait


@pytest.mark.parametrize("fault", [("Q8", "b-open"), ("R24", "open"), ("Q7", "b-open")])
def test_half_an_output_stage_ends_where_seconds_of_waiting_end(fault: tuple[str, str], pool: Pool) -> None:
    """On a single supply the output capacitor charges for two seconds until the half that is left cuts itself off."""
    circuit = build(open_unit("ferry-terminal"), pool)
    setup, nodes = circuit.unit.setup, list(circuit.points.values())
    broken = next(each for each in listing(circuit) if (each.part, each.mode) == fault)
    flat = put_in(circuit.flat, broken, circuit)
    found = pool.map(settle, [(flat, setup.generator, 40.0, nodes)])[0].value
    waited = pool.map(wait, [(driven(flat, setup.generator, 40.0, 0.0), 1 / 40, 120, nodes)])[0].value
    assert found.settled
    assert found.drifted
    assert found.slopes is not None
    assert np.abs(decibels(found.level, waited)).max() < 0.1


def test_slopes_of_other_capacitors_are_measured_anew(pool: Pool) -> None:
    """A draw may have a capacitor fewer that counts as slow."""
    circuit = build(open_unit("ferry-terminal"), pool)
    setup, nodes = circuit.unit.setup, list(circuit.points.values())
    broken = next(each for each in listing(circuit) if (each.part, each.mode) == ("Q8", "b-open"))
    given = put_in(circuit.flat, broken, circuit), setup.generator, 40.0, setup.start_dc, nodes
    session = Session()
    alone = steady(session, *given)
    beside = steady(session, *given, slopes=Slopes(np.ones(2, dtype=bool), -1e-3 * np.eye(2)))
    assert beside.settled
    assert np.abs(decibels(beside.level, alone.level)).max() < 0.1


def test_a_step_is_as_long_as_the_circuit_would_go() -> None:
    """One capacitor of 1 mF behind 1 kΩ, 5 V from rest: V/R over (C/t + 1/R) after any time t (implicit Euler)."""
    farads, siemens, currents = np.array([1e-3]), np.array([[-1e-3]]), np.array([5e-3])
    step, whole = _step(farads, siemens, currents, 100.0)
    assert step[0] == whole == pytest.approx(5e-3 / (1e-3 / 10 + 1e-3))
    short, still = _step(farads, siemens, currents, 1.0)
    assert 0.5 < short[0] <= 1.0
    assert still == whole


def test_slopes_put_right_foretell_the_step_they_were_put_right_by() -> None:
    rng = np.random.default_rng(1)
    farads, siemens = rng.uniform(1e-6, 1e-3, 4), rng.normal(size=(4, 4))
    step, change = rng.normal(size=4), rng.normal(size=4)
    found = _put_right(farads, siemens, step, change)
    assert found @ step == pytest.approx(change)
    across = rng.normal(size=4)
    across -= step * (across @ (farads * step)) / (step @ (farads * step))  # what the step did not try stays
    assert found @ across == pytest.approx(siemens @ across)
