"""Source impedances, and draws made by changing numbers instead of loading circuits anew."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from lostgain import build_circuit, open_unit
from lostgain.circuit import Circuit, Element
from lostgain.circuit.model import driven
from lostgain.engine import Pool, Session
from lostgain.faults import listing, put_in
from lostgain.signatures.draws import deviates, drawn, varied
from lostgain.signatures.probes import IMPEDANCE_AT, loading
from lostgain.signatures.row import RowTask
from lostgain.signatures.rows import run_row

UNIT = Path(__file__).parent.parent / "units" / "megaphone"


@pytest.fixture(scope="module")
def circuit() -> Circuit:
    return build_circuit(open_unit(UNIT))


def loaded(session: Session, item: tuple[Circuit, str, float, float]) -> tuple[complex, float]:
    """The level at 10 kHz and DC with a probe really hung on the node."""
    circuit, node, ohms, farads = item
    flat = driven(circuit.flat, circuit.unit.setup.generator, 500.0)
    probe = [Element("rprobe", (node, "0"), f"{ohms:g}"), Element("cprobe", (node, "0"), f"{farads:g}")]
    session.load(flat.with_elements(*probe).lines())
    return complex(session.ac([10e3], [node])[0, 0]), float(session.op([node])[0])


def by_loading(session: Session, item: tuple[Circuit, tuple[str, ...]]) -> tuple[np.ndarray, np.ndarray]:
    """DC and small-signal level of every draw, each circuit loaded anew."""
    circuit, labels = item
    numbers = varied(circuit)
    faults = [fault for fault in listing(circuit) if fault.label in labels]
    dc, level = [], []
    for z in deviates(4, len(numbers), 7):
        flat = drawn(circuit.flat, numbers, z)
        for fault in faults:
            flat = put_in(flat, fault, circuit)
        session.load(driven(flat, circuit.unit.setup.generator, 500.0).lines())
        dc.append(session.op(list(circuit.points.values())))
        level.append(np.abs(session.ac(circuit.unit.setup.frequencies, list(circuit.points.values()))))
    return np.array(dc), np.array(level)


@pytest.mark.parametrize("labels", [(), ("C1 lost 0.05",), ("R4 drift 2.5",), ("C3 esr 220",)])
def test_draws_by_changing_numbers_are_those_of_circuits_loaded_anew(circuit: Circuit, labels: tuple[str, ...]) -> None:
    faults = tuple(fault for fault in listing(circuit) if fault.label in labels)
    numbers = varied(circuit)
    with Pool(1) as pool:
        task = RowTask(circuit, faults, numbers, deviates(4, len(numbers), 7), 0)
        row = pool.map(run_row, [task])[0].value
        dc, level = pool.map(by_loading, [(circuit, labels)])[0].value
    assert row.dc[1:] == pytest.approx(dc, rel=1e-4, abs=2e-5)
    heard = level > 1e-3
    # The transient's own last tenth of a decibel is in the row's levels.
    assert row.level[1:][heard] == pytest.approx(level[heard], rel=0.012)


def test_probe_loading_is_that_of_a_probe_hung_on_the_node(circuit: Circuit) -> None:
    """A ×1 probe, 1 MΩ and 100 pF, and a heavy one of 10 kΩ and 1 nF, at points of 600 Ω to 100 kΩ."""
    with Pool(1) as pool:
        numbers = varied(circuit)
        row = pool.map(run_row, [RowTask(circuit, (), numbers, deviates(1, len(numbers), 7), 0)])[0].value
        for name in ("J1 tip", "R2, left end", "R2, right end", "U1 pin 2", "U1 pin 1"):
            place = list(circuit.points).index(name)
            for ohms, farads in ((1e6, 100e-12), (10e3, 1e-9)):
                wanted, _ = pool.map(loaded, [(circuit, circuit.points[name], ohms, farads)])[0].value
                share = loading(row.impedance[place], 10e3, ohms, farads)
                assert abs(row.phasor[0, place, 2] * share) == pytest.approx(abs(wanted), rel=0.02), name


def test_loading_between_the_frequencies_it_is_known_at() -> None:
    """100 kΩ with 100 pF across it, read at 500 Hz by 10 MΩ and 12 pF."""
    at = np.array(IMPEDANCE_AT)
    impedance = 1 / (1 / 100e3 + 2j * np.pi * at * 100e-12)
    exact = 1 / (1 + (1 / 10e6 + 2j * np.pi * 500 * 12e-12) / (1 / 100e3 + 2j * np.pi * 500 * 100e-12))
    assert loading(impedance, 500.0, 10e6, 12e-12) == pytest.approx(exact, rel=1e-3)
    assert loading(impedance, None, 10e6, 12e-12) == pytest.approx(1 / 1.01, rel=1e-6)


def test_phasor_of_the_fundamental_agrees_with_level_and_turns_in_an_inverting_stage(circuit: Circuit) -> None:
    numbers = varied(circuit)
    with Pool(1) as pool:
        row = pool.map(run_row, [RowTask(circuit, (), numbers, deviates(2, len(numbers), 7), 0)])[0].value
    first, last = list(circuit.points).index("U1 pin 1"), list(circuit.points).index("U1 pin 7")
    assert abs(row.phasor[0, last, 0]) == pytest.approx(row.level[0, last, 0], rel=1e-3)
    turn = np.angle(row.phasor[:, last, 0] / row.phasor[:, first, 0], deg=True)
    assert np.abs(turn) == pytest.approx(180, abs=2)


def test_rail_currents_are_what_the_parts_draw(circuit: Circuit) -> None:
    """Two op-amps of the general-purpose class: quiescent currents as its facts say."""
    from lostgain.unit.library import device

    numbers = varied(circuit)
    with Pool(1) as pool:
        row = pool.map(run_row, [RowTask(circuit, (), numbers, deviates(1, len(numbers), 7), 0)])[0].value
    each = device("opamp-bipolar").facts["supply_current"]
    assert np.abs(row.current[0]) == pytest.approx(2 * each, rel=0.25)
