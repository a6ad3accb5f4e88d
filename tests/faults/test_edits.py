"""Faults in the flat circuit: each changes what it says, by inspection and against closed forms."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from lostgain.circuit import Circuit, Element, FlatCircuit, build
from lostgain.circuit.flat import parameter
from lostgain.engine import Pool
from lostgain.faults import Fault, listing, modes_for, parse, put_in
from lostgain.unit import open_unit
from tests.circuit import tasks
from tests.circuit.units import COUPLING, make
from tests.faults.units import ALL_KINDS, ALL_KINDS_NETLIST, DIVIDER, DIVIDER_NETLIST


@pytest.fixture(scope="module")
def circuit(tmp_path_factory: pytest.TempPathFactory, pool: Pool) -> Circuit:
    """A circuit with a part of every kind."""
    return build(make(tmp_path_factory.mktemp("all"), ALL_KINDS, a=ALL_KINDS_NETLIST), pool)


@pytest.fixture(scope="module")
def divider(tmp_path_factory: pytest.TempPathFactory, pool: Pool) -> Circuit:
    return build(make(tmp_path_factory.mktemp("divider"), DIVIDER, a=DIVIDER_NETLIST), pool)


@pytest.fixture(scope="module")
def coupling(tmp_path_factory: pytest.TempPathFactory, pool: Pool) -> Circuit:
    text = COUPLING.replace("1u film", "1u 25V").replace("10k", '10k"\nRS = "R2 100R')
    return build(make(tmp_path_factory.mktemp("coupling"), text), pool)


def faulty(circuit: Circuit, *texts: str) -> FlatCircuit:
    flat = circuit.flat
    for text in texts:
        flat = put_in(flat, parse(text, circuit), circuit)
    return flat


def changed(before: FlatCircuit, after: FlatCircuit) -> dict[str, Element]:
    """Return the elements that are new or other than before."""
    assert before.elements.keys() <= after.elements.keys()
    return {name: each for name, each in after.elements.items() if before.elements.get(name) != each}


def everything(circuit: Circuit) -> list[Fault]:
    return [fault for fault in listing(circuit) if not fault.members]


def test_every_kind_of_part_is_in_the_test(circuit: Circuit) -> None:
    seen = {place.part.kind for place in circuit.parts.values()}
    assert seen == {"resistor", "electrolytic", "film", "tantalum", "ceramic", "inductor", "potentiometer", "diode",
                    "npn", "pnp", "njf", "opamp", "fuse", "connector", "mute", "rail"}  # fmt: skip
    of = {(circuit.parts[fault.part].part.kind, fault.mode) for fault in listing(circuit)}
    assert of == {(kind, mode.name) for kind in seen for mode in modes_for(kind)}


def test_every_fault_changes_what_its_mode_says_and_nothing_else(circuit: Circuit) -> None:
    flat = circuit.flat
    untouched = flat.lines()
    for fault in everything(circuit):
        place = circuit.parts[fault.part]
        mode = next(mode for mode in modes_for(place.part.kind) if mode.name == fault.mode)
        after = put_in(flat, fault, circuit)
        new = changed(flat, after)
        models = {name for name, text in after.models.items() if flat.models.get(name) != text}
        assert new or models, fault.label
        allowed = {pin.element for pin in place.pins.values()} | {place.element}
        for name in new:
            own = name in allowed or name.startswith("rfault_") or name.startswith("dfault_")
            assert own or f".{place.element}." in name, fault.label
        for edit in mode.edits:
            amount = next((each for each in (edit.ohms, edit.to, edit.by) if each is not None), fault.severity or 0.0)
            added = [each for name, each in new.items() if name.startswith("rfault_")]
            if edit.do == "set":
                assert new[place.element].value == amount, fault.label
            elif edit.do == "times":
                assert new[place.element].value == pytest.approx(flat.elements[place.element].value * amount)
            elif edit.do == "series":
                pin = place.pins[edit.pins[0]]
                (joint,) = [each for each in added if each.nodes[1] == after.elements[pin.element].nodes[pin.index]]
                assert joint.nodes[0] == flat.elements[pin.element].nodes[pin.index]
                assert joint.value == amount
            elif edit.do == "across":
                board = {flat.elements[place.pins[pin].element].nodes[place.pins[pin].index] for pin in edit.pins}
                assert [each.value for each in added if set(each.nodes) == board] == [amount], fault.label
            elif edit.do == "model":
                model = flat.model_of(place.element)
                assert models == {model}
                was = parameter(flat.models[model], edit.parameter)
                assert was is not None
                assert parameter(after.models[model], edit.parameter) == pytest.approx(was * amount)
            elif edit.do == "swap":
                one, other = (place.pins[pin].index for pin in edit.pins)
                before, now = flat.elements[place.element].nodes, after.elements[place.element].nodes
                assert (now[one], now[other]) == (before[other], before[one])
            elif edit.do == "inside":
                ((name, each),) = new.items()
                assert each.value == pytest.approx(flat.elements[name].value * amount)
            elif edit.do == "add":
                ((name, each),) = new.items()
                assert each.value == pytest.approx(flat.elements[name].value + amount)
            else:
                assert edit.do == "conduct"
                assert any(name.startswith("dfault_") for name in new)
    assert flat.lines() == untouched


@pytest.mark.parametrize("name", ["ferry-terminal", "state-variable-filter"])
def test_every_fault_of_a_shipped_unit_changes_its_circuit(name: str, pool: Pool) -> None:
    circuit = build(open_unit(name), pool)
    untouched = circuit.flat.lines()
    faults = listing(circuit)
    assert len(faults) == len(set(faults))
    for fault in faults:
        assert put_in(circuit.flat, fault, circuit).lines() != untouched, fault.label
    assert circuit.flat.lines() == untouched


def level(pool: Pool, circuit: Circuit, flat: FlatCircuit, frequency: float) -> float:
    """Level at the last test point [V rms]."""
    item = (flat, [list(circuit.points.values())[-1]], [frequency])
    return float(pool.map(tasks.levels, [item])[0].value[0, 0])


@pytest.mark.parametrize(
    ("texts", "upper", "lower"),
    [
        ((), 10e3, 10e3),
        (("R2 drift 3x",), 10e3, 30e3),
        (("R2 drift 30k",), 10e3, 30e3),
        (("R1 drift 3x", "R2 wrong 0.1"), 30e3, 1e3),
        (("R1 drift 2", "R1 drift 2"), 40e3, 10e3),
        (("R1 joint 5k", "R1 joint 25k"), 40e3, 10e3),
        (("R1 joint 5k", "R2 joint 47k"), 15e3, 57e3),
        (("R1 open",), 1e9, 10e3),
        (("R2 short",), 10e3, 0.05),
    ],
)
def test_a_divider_with_faults_is_a_divider(
    pool: Pool, divider: Circuit, texts: tuple[str, ...], upper: float, lower: float
) -> None:
    found = level(pool, divider, faulty(divider, *texts), 500)
    assert found == pytest.approx(lower / (upper + lower), rel=3e-5)  # Ohm's law; 1 Gohm loads it


@pytest.mark.parametrize(
    ("texts", "capacitance", "esr", "leak"),
    [
        ((), 1e-6, 0, np.inf),
        (("C1 lost 5%",), 0.05e-6, 0, np.inf),
        (("C1 lost 220n",), 0.22e-6, 0, np.inf),
        (("C1 esr 4k7",), 1e-6, 4.7e3, np.inf),
        (("C1 esr 1k", "C1 joint 47k"), 1e-6, 48e3, np.inf),
        (("C1 open",), 10e-12, 0, np.inf),
        (("C1 leaky 10k",), 1e-6, 0, 10e3),
        (("C1 leaky 10k", "C1 leaky 10k"), 1e-6, 0, 5e3),
        (("C1 lost 5%", "C1 short"), 0.05e-6, 0, 0.05),
    ],
)
@pytest.mark.parametrize("frequency", [40.0, 500.0])
def test_a_coupling_capacitor_with_faults_gives_the_closed_form(
    pool: Pool, coupling: Circuit, texts: tuple[str, ...], capacitance: float, esr: float, leak: float, frequency: float
) -> None:
    branch = esr + 1 / (2j * np.pi * frequency * capacitance)
    series = 1 / (1 / branch + 1 / leak)
    expected = abs(10e3 / (10e3 + series))
    assert level(pool, coupling, faulty(coupling, *texts), frequency) == pytest.approx(expected, rel=1e-3, abs=1e-7)


def test_a_leak_shows_in_dc(tmp_path: Path, pool: Pool) -> None:
    unit = make(tmp_path, COUPLING.replace("[setup]", '[setup]\nstart = "TP1"\nstart_dc = "6 V"'))
    circuit = build(unit, pool)
    flat = faulty(circuit, "C1 leaky 20k")
    node = circuit.points["R1, hot end"]
    assert pool.map(tasks.voltages, [(flat, [node])])[0].value[0] == pytest.approx(2, rel=2e-5)  # 6 V · 10k/(20k + 10k)


def test_a_swap_after_a_cold_joint_keeps_the_joint(circuit: Circuit) -> None:
    flat = faulty(circuit, "Q1 joint 47", "Q1 reversed")
    place = circuit.parts["Q1"]
    collector, _, emitter = circuit.flat.elements[place.element].nodes
    joint = flat.elements["rfault_q1_e_lifted1"]
    assert joint.nodes[0] == collector
    assert flat.elements[place.element].nodes == (
        emitter,
        circuit.flat.elements[place.element].nodes[1],
        joint.nodes[1],
    )


def test_a_short_at_a_lifted_pin_is_on_the_board(circuit: Circuit) -> None:
    flat = faulty(circuit, "Q1 e-open", "Q1 ce-short")
    collector, _, emitter = circuit.flat.elements[circuit.parts["Q1"].element].nodes
    assert set(flat.elements["rfault_q1_c_e_1"].nodes) == {collector, emitter}


def test_a_faulty_supply_feeds_less(pool: Pool, circuit: Circuit) -> None:
    for texts, volts in ((), 15.0), (("VP low 0.8",), 12.0), (("VP low 12 V",), 12.0):
        found = pool.map(tasks.voltages, [(faulty(circuit, *texts), ["vp"])])[0].value[0]
        assert found == pytest.approx(volts, abs=0.3)
    # A dead rail is not held at zero: what hangs between it and the other one pulls it down behind its bleeder.
    for text in ("F1 open", "VP missing"):
        assert pool.map(tasks.voltages, [(faulty(circuit, text), ["vp"])])[0].value[0] < 3
    # Unless something holds it there.
    held, left = (pool.map(tasks.voltages, [(faulty(circuit, text), ["vp"])])[0].value[0]
                  for text in ("VP clamped", "VP missing"))  # fmt: skip
    assert abs(held) < 0.05 < abs(left)


def test_parts_that_fail_together(pool: Pool) -> None:
    circuit = build(open_unit("ferry-terminal"), pool)
    fault = parse("output-pair-shorted", circuit)
    parts = circuit.parts
    by_role = {parts[member.part].part.role or parts[member.part].part.kind: member.mode for member in fault.members}
    assert {"QN2", "QP2", "QN1", "QP1", "RE1", "RE2"} <= set(by_role)
    assert [by_role[role] for role in ("QN2", "QP1", "RE1")] == ["ce-short", "ce-short", "open"]
    assert {member.part for member in fault.members if member.shared} == {"F1", "F2"}
    flat = put_in(circuit.flat, fault, circuit)
    assert flat.elements[parts["F1"].element].value == 1e9
    one_by_one = circuit.flat
    for member in fault.members:
        one_by_one = put_in(one_by_one, member, circuit)
    assert one_by_one == flat
    assert {"upper-half-blown", "lower-half-blown"} <= {each.mode for each in listing(circuit)}
