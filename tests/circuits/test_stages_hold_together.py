"""Every stage's netlist and its facts say the same: ports, roles, elements, nodes, and what may be left out."""

from __future__ import annotations

import re
from itertools import combinations
from pathlib import Path

import numpy as np
import pytest

from lostgain import quantities
from lostgain.unit import library
from lostgain.unit.kinds import of_family
from tests.circuits.examples import EXAMPLES, SIGNAL
from tests.circuits.solve import CIRCUITS, body, facts, model, powered, run

STAGES = sorted(file.stem for file in (CIRCUITS / "stages").glob("*.cir"))
LETTERS = {
    "resistor": "R", "capacitor": "C", "inductor": "L", "diode": "D", "npn": "Q", "pnp": "Q", "njf": "J",
    "contact": "R", "mute": "R",
}  # fmt: skip


def letter(kind: str) -> str:
    """Return the letter that the elements of a kind or family of part begin with."""
    return "X" if of_family(kind)[0].subckt else LETTERS[of_family(kind)[0].family]


def element_of(role: str, about: dict[str, str]) -> str:
    """Return the name that a role's element must have."""
    return about.get("element", f"X{role}" if letter(about["kind"]) == "X" else role)


def pins(line: str, kind: str) -> list[str]:
    """Return the nodes an element line names."""
    return line.split()[1 : 1 + len(of_family(kind)[0].pins)]


def test_every_netlist_has_its_facts_and_an_example() -> None:
    facts_files = {file.stem for file in (CIRCUITS / "stages").glob("*.toml") if "." not in file.stem}
    assert facts_files == set(STAGES)
    assert set(STAGES) == set(library.stage_names())
    assert set(EXAMPLES) == set(SIGNAL)


@pytest.mark.parametrize("name", STAGES)
def test_the_package_reads_it(name: str) -> None:
    stage = library.stage(name)
    assert all((stage.title, stage.purpose, stage.gain))
    assert all(role.does for role in stage.roles.values())
    assert all(stage.nodes.values())


@pytest.mark.parametrize("name", STAGES)
def test_ports_are_those_of_the_subcircuit_in_its_order(name: str) -> None:
    known = facts("stages", name)
    text = (CIRCUITS / "stages" / f"{name}.cir").read_text()
    head = re.search(r"^\.subckt (\S+) (.*?)(?: params:|$)", text, re.MULTILINE)
    assert head is not None
    assert (head[1], head[2].split()) == (name, known["ports"])
    assert known["ports"][:2] == ["in", "out"]
    assert [*known.get("outputs", []), *known.get("inputs", {}), *known.get("rails", {})] == known["ports"][2:]
    assert text.rstrip().endswith(".ends")


@pytest.mark.parametrize("name", STAGES)
def test_roles_and_elements_are_the_same_set(name: str) -> None:
    roles = facts("stages", name)["roles"]
    named = {element_of(role, about): role for role, about in roles.items()}
    lines = {line.split()[0]: line for line in body(name)}
    assert set(lines) == set(named)
    for element, role in named.items():
        kind = roles[role]["kind"]
        assert element[0] == letter(kind)
        by_model = letter(kind) in "DQJX"
        words = lines[element].split()
        assert words[1 + len(pins(lines[element], kind)) :] == [f"m_{role.lower()}" if by_model else "{" + role + "}"]


@pytest.mark.parametrize("name", STAGES)
def test_nodes_worth_probing_exist_and_none_hangs_in_the_air(name: str) -> None:
    known = facts("stages", name)
    kinds = {element_of(role, about): about["kind"] for role, about in known["roles"].items()}
    touched = [node for line in body(name) for node in pins(line, kinds[line.split()[0]])]
    assert {"in", "out"} <= set(known["nodes"]) <= set(touched)
    assert set(known["ports"]) <= set(touched)
    assert {node for node in touched if touched.count(node) == 1} <= {"0", *known["ports"]}


@pytest.mark.parametrize("name", STAGES)
def test_typical_values_are_numbers_ngspice_reads_as_meant(name: str) -> None:
    known = facts("stages", name)
    text = (CIRCUITS / "stages" / f"{name}.cir").read_text()
    given = dict(re.findall(r"(\w+)=(\S+)", " ".join(re.findall(r"params:(.*?)\n(?:[^+]|$)", text, re.DOTALL))))
    valued = {
        role
        for role, about in known["roles"].items()
        if letter(about["kind"]) in "RCL" or about["kind"] == "potentiometer"
    }
    assert set(given) == valued
    for role, value in given.items():
        # 2k2 is 2000 to ngspice: the number, then at most one prefix
        assert re.fullmatch(r"\d+(\.\d+)?(e\d+)?[kmunp]?", value)
        unit = {"C": "farad", "L": "henry"}.get(letter(known["roles"][role]["kind"]), "ohm")
        if "e" not in value:
            assert quantities.component(value, unit) > 0


def behind_coupling(name: str) -> float:
    """DC behind the input's coupling capacitor [V], which suits what follows where no capacitor is fitted."""
    node = next(line.split()[2] for line in body(name) if line.startswith("CIN "))
    parts, load, volts = EXAMPLES[name]
    inner = node if node in facts("stages", name)["ports"] else f"xs.{node}"
    return float(run(powered(name, parts, "dc 0", load, volts), "op")[inner][0].real)


@pytest.mark.parametrize("name", SIGNAL)
def test_each_optional_part_may_be_left_out_alone_and_in_pairs(name: str) -> None:
    parts, load, volts = EXAMPLES[name]
    if isinstance(volts, dict) and volts.get("vn") == 0:
        volts = {
            **volts,
            "vn": -volts["vp"],
        }  # what biases a stage from a single supply is not fitted where there are two
    optional = [role for role, about in facts("stages", name)["roles"].items() if "absent" in about]
    for count in (1, 2):
        for left_out in combinations(optional, count):
            fitted = {role: value for role, value in parts.items() if role not in left_out}
            source = f"dc {behind_coupling(name):g} ac 1" if "CIN" in left_out else "dc 0 ac 1"
            result = run(powered(name, fitted, source, load, volts), "ac lin 1 1k 1k")
            assert abs(result["out"][0]) > 0.3, left_out


@pytest.mark.parametrize("name", SIGNAL)
def test_it_is_whole_with_every_part_fitted(name: str) -> None:
    parts, load, volts = EXAMPLES[name]
    gain = abs(run(powered(name, parts, "dc 0 ac 1", load, volts), "ac lin 1 1k 1k")["out"][0])
    assert 0.05 < gain < 1000
    assert np.isfinite(run(powered(name, parts, "dc 0", load, volts), "op")["out"][0])


@pytest.mark.parametrize("file", sorted((CIRCUITS / "models").glob("*.lib")), ids=lambda file: file.stem)
def test_device_classes_hold_together(file: Path) -> None:
    name = file.stem
    device = library.device(name)
    text = "\n".join(model(name))
    assert all((device.title, device.stands_for, device.source))
    if device.subckt:
        head = re.search(r"^\.subckt (\S+) (.*?)(?: params:.*)?$", text, re.MULTILINE)
        assert head is not None
        assert (head[1], tuple(head[2].split())) == (name, device.pins)
    else:
        head = re.search(r"^\.model (\S+) (\w+) ", text, re.MULTILINE)
        assert head is not None
        assert (head[1], head[2]) == (name, {"diode": "d"}.get(device.kind, device.kind))
    elements = set(re.findall(r"^(\w+) ", text, re.MULTILINE))
    for spread in device.spreads:
        assert not spread.element or spread.element in elements
        assert not spread.parameter or re.search(rf"\b{spread.parameter}=", text)
        assert spread.times > 1 or spread.add > 0
    for hint in device.faults.values():
        assert hint["element"] in elements
    assert max(map(len, text.splitlines())) < 120
