"""Faults as they are typed."""

from __future__ import annotations

import contextlib

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lostgain.circuit import Circuit, build
from lostgain.faults import Fault, listing, parse, put_in
from lostgain.problems import UserError
from lostgain.unit import open_unit
from tests.circuit.units import make
from tests.faults.units import DIVIDER

CIRCUIT: list[Circuit] = []


@pytest.fixture(scope="module")
def circuit() -> Circuit:
    if not CIRCUIT:
        CIRCUIT.append(build(open_unit("ferry-terminal")))
    return CIRCUIT[0]


@pytest.mark.parametrize(
    ("text", "part", "mode", "severity"),
    [
        ("C7 open", "C7", "open", None),
        ("R14 drift 3x", "R14", "drift", 3),
        ("  r14   DRIFT  3 x ", "R14", "drift", 3),
        ("R14 drift x0,5", "R14", "drift", 0.5),
        ("R14 drift 50%", "R14", "drift", 0.5),
        ("R14 drift 66k", "R14", "drift", 3),
        ("R14 drift 2M2", "R14", "drift", 100),  # not 2.2 milliohms
        ("Q5 ce-short", "Q5", "ce-short", None),
        ("Q5 c e short", "Q5", "ce-short", None),
        ("Q5 collector open", "Q5", "c-open", None),
        ("U2A dead", "U2A", "dead", None),
        ("U2A low gain 1e-4", "U2A", "low-gain", 1e-4),
        ("C4 esr 40", "C4", "esr", 40),
        ("C4 high-esr 4k7", "C4", "esr", 4700),
        ("C8 lost 220n", "C8", "lost", 0.1),
        ("C4 lost 4u7", "C4", "lost", 0.1),
        ("C4 dried 4.7 µF", "C4", "lost", 0.1),
        ("C4 lost 10 %", "C4", "lost", 0.1),
        ("C4 leaky 1M", "C4", "leaky", 1e6),
        ("K1 stuck", "K1", "stuck", None),
        ("J1 contact 47", "J1", "contact", 47),
        ("RV1 worn 10k", "RV1", "contact", 1e4),
        ("VN low -12 V", "VN", "low", 0.8),
        ("VP missing", "VP", "missing", 4.7e3),
        ("F1 blown", "F1", "open", None),
        ("R114 drift 3x", "R14", "drift", 3),  # the other channel's name
        ("U102A dead", "U2A", "dead", None),
    ],
)
def test_every_spelling(circuit: Circuit, text: str, part: str, mode: str, severity: float | None) -> None:
    fault = parse(text, circuit)
    assert (fault.part, fault.mode) == (part, mode)
    assert fault.severity == (severity if severity is None else pytest.approx(severity))
    assert fault.stage == circuit.parts[part].part.stage
    assert fault.shared == (part in ("VP", "VN", "F1"))
    assert put_in(circuit.flat, fault, circuit) != circuit.flat


@pytest.mark.parametrize("text", ["output-pair-shorted", "Q7 output-pair-shorted", "R24 Output Pair Shorted"])
def test_parts_that_fail_together_by_name_or_by_any_of_them(circuit: Circuit, text: str) -> None:
    assert len(parse(text, circuit).members) == 8


def test_every_fault_of_a_table_is_typed_as_it_is_shown(circuit: Circuit) -> None:
    for fault in listing(circuit):
        again = parse(fault.label, circuit)
        assert (again.part, again.mode, again.members) == (fault.part, fault.mode, fault.members)
        assert again.severity == (None if fault.severity is None else pytest.approx(fault.severity, rel=5e-3))


@pytest.mark.parametrize(
    ("text", "message"),
    [
        ("", 'Example: "C7 open"'),
        ("C7", 'Example: "C7 open"'),
        ("C77 open", "no part C77.*Did you mean C7"),
        ("R14 opne", "'opne' is no failure mode of R14.*Did you mean open"),
        ("Q7 output-pair-short", "Did you mean output-pair-shorted"),
        ("C7 esr 40", "ceramic.*Known: .*lost"),
        ("R14 drift", 'Expected: "R14 drift 3x"'),
        ("C7 open 3", "'3' is too much"),
        ("R14 drift lots", "'lots' is no severity"),
        ("R14 drift 0", "'0' is no severity"),
        ("R14 drift -3", "'-3' is no severity"),
        ("R14 drift 1e999", "no severity"),
        ("R14 drift nan", "no severity"),
        ("C4 lost 3", "no severity"),  # more than all of it
        ("C4 lost 100u", "no severity"),
        ("C4 esr 1e300", "no severity"),
    ],
)
def test_a_slip_is_told_with_what_was_expected(circuit: Circuit, text: str, message: str) -> None:
    with pytest.raises(UserError, match=message):
        parse(text, circuit)


def test_what_cannot_be_put_in_is_said_and_not_tried(tmp_path_factory: pytest.TempPathFactory) -> None:
    """A resistor with an expression for a value has none to change; its pins can be opened all the same."""
    text = DIVIDER.replace('out = "Tap"', 'out = "Tap"') + '[stage.parts]\nX1 = { kind = "opamp", as = "U1A" }\n'
    netlist = ".subckt a in out\nX1 in out in 0 out amp\nR1 in out 10k\nR2 out 0 10k\n.subckt amp p n vp vn o\n"
    netlist += "R1 p 0 1meg\nR2 n 0 1meg\nR3 vp vn 1meg\nE1 o 0 p n 10\n.ends\n.ends\n"
    circuit = build(make(tmp_path_factory.mktemp("own"), text, a=netlist))
    assert "low-gain" not in {fault.mode for fault in listing(circuit)}
    assert put_in(circuit.flat, parse("U1A dead", circuit), circuit) != circuit.flat
    with pytest.raises(UserError, match="no failure mode of U1A"):
        parse("U1A low-gain 0.1", circuit)


WORDS = st.sampled_from(
    ["C4", "R14", "Q5", "U2A", "VP", "RV1", "F1", "open", "short", "drift", "lost", "esr", "leaky", "3x", "10%", "1e9",
     "x", "output-pair-shorted", "dead", "-", "µ", "1M5", "inf", "٣", "low"]
)  # fmt: skip


@given(st.one_of(st.text(max_size=40), st.lists(st.one_of(WORDS, st.text(max_size=8)), max_size=5).map(" ".join)))
def test_any_text_is_a_fault_or_a_mistake_of_the_users(circuit: Circuit, text: str) -> None:
    with contextlib.suppress(UserError):
        fault = parse(text, circuit)
        assert isinstance(fault, Fault)
        assert put_in(circuit.flat, fault, circuit).lines() != circuit.flat.lines()
