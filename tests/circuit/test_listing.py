"""Reading ngspice's expanded listing: nodes and values of every element letter."""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from lostgain.circuit.flat import Element, own_models, parameter, set_parameter, spice_number
from lostgain.circuit.listing import parse_listing
from lostgain.engine import CircuitRefused

MODELS = (".model npn npn(bf=100)", ".model rm r(tc1=0.001)", ".model sw1 sw(vt=1)")

# Lines as ngspice 39 prints them, with the nodes and what must follow them.
LINES = [
    ("r1 a b 10k", "a b", "10000"),
    ("r.xa.rfb outa xa.fb    3.000000000000000e+03   ", "outa xa.fb", "3000"),
    ("r1 a gnd 10k tc=0.001", "a 0", "10000 tc=0.001"),
    ("r1 a b r=4.7k", "a b", "4700"),
    ("r1 a b rm 10k", "a b", "10000 rm"),
    ("r1 a b 10k rm", "a b", "10000 rm"),
    ("c1 a b 47u ic=0", "a b", "4.7e-05 ic=0"),
    ("c1 a b c=4.7uf", "a b", "4.7e-06"),
    ("c1 a b 1meg", "a b", "1000000"),
    ("l1 a b 2u", "a b", "2e-06"),
    ("k1 l1 l2 0.9", "", "l1 l2 0.9"),
    ("v1 a 0 dc 5 ac 1", "a 0", "5 ac 1"),
    ("v1 a 0 sin(0 1 1k)", "a 0", "sin(0 1 1k)"),
    ("i1 0 a 1m", "0 a", "0.001"),
    ("e1 a 0 b c 10", "a 0 b c", "10"),
    ("g1 y 0 g3_int1 0 1m", "y 0 g3_int1 0", "1m"),
    ("b1 e2 0 v= v(a) * tanh ( v(b) )", "e2 0", "v= v(a) * tanh( v(b) )"),
    ("f1 a b vsense 2", "a b", "vsense 2"),
    ("h1 a b vsense 2", "a b", "vsense 2"),
    ("s1 a b c d sw1", "a b c d", "sw1"),
    ("w1 a b vsense sw1", "a b", "vsense sw1"),
    ("t1 a 0 b 0 z0=50 td=1n", "a 0 b 0", "z0=50 td=1n"),
    ("d1 a b npn 2", "a b", "npn 2"),
    ("q1 npn b e npn", "npn b e", "npn"),
    ("q1 c b e sub npn 2", "c b e sub", "npn 2"),
    ("j1 d g s npn", "d g s", "npn"),
    ("m1 d g s b npn w=1u l=1u", "d g s b", "npn w=1u l=1u"),
]


@pytest.mark.parametrize(("line", "nodes", "rest"), LINES)
def test_nodes_and_value_of_each_element(line: str, nodes: str, rest: str) -> None:
    flat = parse_listing([line, *MODELS])
    (element,) = flat.elements.values()
    assert (" ".join(element.nodes), element.rest) == (nodes, rest)


@pytest.mark.parametrize("line", ["a1 [x y] z model", "q1 c b e nomodel", "r1 a", "u1 a b c"])
def test_a_line_that_cannot_be_told_apart_is_refused(line: str) -> None:
    with pytest.raises(CircuitRefused, match="cannot be told apart"):
        parse_listing([line, *MODELS])


def test_two_elements_of_one_name_are_refused() -> None:
    with pytest.raises(CircuitRefused, match="two elements are called R1"):
        parse_listing(["r1 a b 1k", "r1 b 0 1k"])


def test_a_changed_value_keeps_what_follows_it() -> None:
    flat = parse_listing(["r1 a b r=4.7k tc=0.001"]).with_values({"r1": 100.0})
    assert flat.elements["r1"].line() == "r1 a b 100 tc=0.001"


@pytest.mark.parametrize("rest", ["", "rm w=1u l=2u", "nan", "inf"])
def test_what_has_no_number_says_so(rest: str) -> None:
    assert not Element("r1", ("a", "b"), rest).has_value
    assert Element("r1", ("a", "b"), "4700 tc=1").has_value


# ngspice manual, section 2.1.4: the scale factors; letters behind them are ignored.
@pytest.mark.parametrize(
    ("text", "value"),
    [("47u", 47e-6), ("1meg", 1e6), ("1m", 1e-3), ("1.2e-3", 1.2e-3), ("5mil", 127e-6), ("10kohm", 1e4), (".5", 0.5),
     ("-3V", -3.0), ("1t", 1e12), ("2g", 2e9), ("3n", 3e-9), ("4p", 4e-12), ("6f", 6e-15), ("7volts", 7.0)],
)  # fmt: skip
def test_numbers_as_ngspice_reads_them(text: str, value: float) -> None:
    assert spice_number(text) == pytest.approx(value)


@given(st.floats(1e-15, 1e12))
def test_a_value_put_in_is_read_back(value: float) -> None:
    line = Element("r1", ("a", "b"), "1").with_value(value).line()
    assert parse_listing([line]).elements["r1"].value == pytest.approx(value, rel=1e-11)


@pytest.mark.parametrize("text", ["npn(is=1e-14 bf=200 nf=1)", "npn is=1e-14 bf=200 nf=1", "npn(bf = 200)"])
def test_a_model_parameter_is_found_set_and_added(text: str) -> None:
    assert parameter(text, "bf") == 200
    assert parameter(set_parameter(text, "bf", 50), "bf") == 50
    added = set_parameter(text, "vaf", 80)
    assert (parameter(added, "vaf"), parameter(added, "bf"), added.count("(")) == (80, 200, text.count("("))
    assert parameter(text, "f") is None  # part of a name is no name


def test_every_device_gets_a_model_of_its_own() -> None:
    flat = own_models(parse_listing(["q1 c b e npn", "q2 c b e npn 2", "s1 a b c d sw1", *MODELS]))
    first, second = flat.model_of("q1"), flat.model_of("q2")
    assert first != second
    changed = flat.with_parameters({(first, "bf"): 10.0})
    assert (parameter(changed.models[first], "bf"), parameter(changed.models[second], "bf")) == (10, 100)
    assert flat.elements["q2"].rest == f"{second} 2"
    assert "sw1" in flat.models
    assert "npn" not in flat.models
