"""Netlist text that is refused, what the message says, and that nothing good is refused."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from lostgain.engine import CircuitRefused, Session, refuse, safe_name, safe_number
from lostgain.problems import UserError

GOOD = [
    "R1 a b 10k", "R1 a b 10R", "R1 a b 1e-3", "R1 a b {2.2k*x}", "R1 (a b) 4.7k tc1=1m", "R1 a b R=1k", "R1 a b 1meg",
    "R1 a b rmod L=1u W=1u", "C1 a b 4.7u ic=0", "C1 a b 100n", "L1 a b 10m", "K1 L1 L2 0.9", "V1 a 0", "V1 a 0 dc 5",
    "V1 in+ in- sin(0 1 1k)", "V1 a 0 dc 0 ac 1 pulse(0 1 0 1n 1n 1m 2m)",
    "I1 a 0 1m", "D1 a k 1n4148", "Q1 c b e 2n2222",
    "Q1 c b e s 2n2222 area=2", "X1 1 2 7805 r={r}", "X1 a b 2n3904", "B1 a 0 v={tanh(v(b)*1e3)}",
    "B1 a 0 i='v(x)>0 ? 1m : 2m'", "E1 o 0 vol='v(a)'", "E1 o 0 a b 1000", "E1 o 0 poly(1) a 0 0 1", "G1 o 0 a b 1m",
    "F1 o 0 v1 10", "H1 o 0 v1 10", "S1 a b c d swm", "J1 d g s jm", "M1 d g s b nm w=10u l=1u",
    ".model m npn(bf=100 is=1e-14)",
    ".model m d is=1e-14", ".param r=2.2k k='r*2'", ".func f(x) {x*2}", ".subckt foo a b params: r=1k", ".ends foo",
    ".global vcc", ".ic v(a)=1", ".options reltol=1e-4 temp=50",
]  # fmt: skip


@pytest.mark.parametrize("line", GOOD)
def test_what_a_circuit_is_written_with_passes(line: str) -> None:
    assert refuse([line]) == [line]


@pytest.mark.parametrize(
    ("line", "says"),
    [
        ("R1 a b 2k2", "2k2: ngspice would read 2k. Write 2.2k"),
        ("R1 a b 4R7", "4R7: ngspice would read 4. Write 4.7 "),
        ("R1 a b 0R22", "0R22: ngspice would read 1 mΩ. Write 0.22 "),
        ("R1 a b R47", "R47: ngspice would read 1 mΩ. Write 0.47 "),
        ("R1 a b 1M5", "1M5: ngspice would read 1m. Write 1.5meg"),
        ("R1 a b 1M", "Write 1meg"),
        ("R1 a b R=2k2", "Write 2.2k"),
        ("C1 a b 4u7", "4u7: ngspice would read 4u. Write 4.7u"),
        ("C1 a b 2n2", "Write 2.2n"),
        ("C1 a b 1F", "femtofarad"),
        ("L1 a b 1m5", "Write 1.5m"),
        ("V1 a 0 dc 1k5", "Write 1.5k"),
        ("V1 a 0 sin(0,2k2,1k)", "Write 2.2k"),
        ("X1 a b s r=2k2", "Write 2.2k"),
        (".param r=2k2", "Write 2.2k"),
        ("R1 a b {2k2*2}", "Write 2.2k"),
        ("B1 a 0 v=v(c)*2k2", "Write 2.2k"),
        ("E1 o 0 a b 2k2", "Write 2.2k"),
        ("R1 a b 10 k", "Write 10k"),
        ("R1 a b 1,5k", "Write 1.5k"),
        ("C1 a b 4.7µ", "write u"),
        ("R1 a b 10Ω", "leave it off"),
        ("R3 out", "Is a node or the value missing?"),
        ("R3 out 1k", "Is a node or the value missing?"),
        (".SUBCKT", "A .subckt line needs a name"),
        ("R3 out 1k x", "Is a node missing?"),
        ("Q1 c b 2n2222", "Is a node or the value missing?"),
        ("R1 all 0 1k", "Rename it"),
        ("A1 x y m", "code-model device"),
        ("N1 a b m", "no element"),
        (".model m file_source(f=1)", "no type of model"),
        (".model m", "needs a name and a type"),
        ("V1 a 0 pwl file=data", "reads a file"),
        (".temp 50", r"Write \.options temp="),
        (".control", "control block"),
        (".exec x", "may not run commands"),
        (".csparam x=1", "no use"),
        (".include x.lib", "cannot be read in"),
        (".lib x.lib y", "cannot be read in"),
        (".options rawfile=x", "option rawfile"),
        (".pre_osdi x", "no line"),
        (".subcircuit x a b", r"Did you mean \.subckt"),
        ("r`ls` a b 1", "backtick"),
        ('R1 a b "1k"', "cannot be in a netlist"),
        ("R1 a@b c 1", "cannot be in a netlist"),
        ("R1 a={b} c 1", "cannot be a name|Is a node"),
        ("*ng_script", "as commands"),
        ("*# shell x", "as a command"),
        ("+ 1k", "none"),
        ("R1 a\x00b c 1", "character"),
    ],
)
def test_what_is_refused_says_what_is_likely_meant(line: str, says: str) -> None:
    with pytest.raises(UserError, match=says) as refused:
        refuse(["v1 in 0 1", "", line] if not line.startswith("+") else ["", "", line], Path("unit.cir"))
    assert refused.value.problems[0].where.line == 3
    assert "unit.cir, line 3" in str(refused.value)


def test_every_mistake_is_named_in_order() -> None:
    with pytest.raises(UserError) as refused:
        refuse(["R1 a b 2k2", "C1 a b 100n", ".control", "R2 a", "*ng_script"])
    assert [problem.where.line for problem in refused.value.problems] == [1, 3, 4, 5]


def test_comments_and_analyses_never_reach_ngspice() -> None:
    lines = ["* a", "R1 a 0 1k ; x", "R2 a 0 1k $ x", "R3 a 0 1k // x", ".tran 1u 1m", ".save all", ".print tran v(a)",
             ".meas tran x max v(a)", ".end", "V1 a 0 1"]  # fmt: skip
    assert refuse(lines) == ["R1 a 0 1k", "R2 a 0 1k", "R3 a 0 1k", "V1 a 0 1"]


def test_continuations_are_joined_and_keep_the_first_lines_number() -> None:
    assert refuse(["R1 a b", "* between", "+ 10k"]) == ["R1 a b 10k"]
    with pytest.raises(UserError) as refused:
        refuse(["", "R1 a b", "+ 2k2"])
    assert refused.value.problems[0].where.line == 2


def test_long_lines_are_refused() -> None:
    lines = ["V1 a 0 pwl(", *[f"+ {n} {n}" for n in range(1000)], "+ )"]
    with pytest.raises(UserError, match="longer than 4000"):
        refuse(lines)


def test_title() -> None:
    assert refuse(["Filter with 2 op-amps", "R1 a 0 1k"], title=True) == ["R1 a 0 1k"]
    assert refuse([".subckt x a b", "R1 a b 1k", ".ends"], title=True)[0] == ".subckt x a b"
    with pytest.raises(UserError, match="reads like a part"):
        refuse(["R1 a 0 1k", "R2 a 0 1k"], title=True)


@given(st.lists(st.text(max_size=40), max_size=8))
def test_any_text_is_refused_or_harmless(lines: list[str]) -> None:
    try:
        cleaned = refuse(lines)
    except UserError:
        return
    for line in cleaned:
        assert not set('`;"$\\@\n\r\0') & set(line)
        assert line.isascii()
        assert not line.startswith(("*", "+"))
        assert not line.lower().startswith((".control", ".exec", ".inc", ".lib", "a"))


NASTY = st.text(alphabet="ab1 R.`;$*#+=(){}'\"\\/<>|&\t", max_size=30)


@given(st.sampled_from(GOOD), st.integers(0, 30), NASTY)
def test_good_lines_with_something_put_in_are_refused_or_harmless(line: str, place: int, nasty: str) -> None:
    try:
        cleaned = refuse([line[:place] + nasty + line[place:]])
    except UserError:
        return
    assert not any(set('`;"$\\@') & set(each) for each in cleaned)


@given(st.integers(0, 999), st.sampled_from(["k", "R", "r", "M", "meg", "n", "u", "p"]), st.integers(0, 99))
def test_no_value_of_that_form_gets_through(whole: int, letter: str, fraction: int) -> None:
    for line in (
        f"R1 a b {whole}{letter}{fraction}",
        f"C1 a b {whole}{letter}{fraction}",
        f".param x={whole}{letter}{fraction}",
    ):
        with pytest.raises(UserError, match="Write"):
            refuse([line])


@given(st.integers(1, 999), st.sampled_from(["k", "R", "M"]), st.integers(0, 9))
def test_what_is_proposed_instead_is_what_was_meant(whole: int, letter: str, fraction: int) -> None:
    with pytest.raises(UserError) as refused:
        refuse([f"R1 a b {whole}{letter}{fraction}"])
    proposed = str(refused.value).partition("Write ")[2].split()[0]
    session = Session()
    session.load(["i1 0 a 1", *refuse([f"R1 a 0 {proposed}"])])
    meant = (whole + fraction / 10) * {"k": 1e3, "R": 1, "M": 1e6}[letter]  # IEC 60062
    assert session.op(["a"])[0] == pytest.approx(meant)


@given(st.text(min_size=1, max_size=20))
def test_safe_names_are_names_to_ngspice(text: str) -> None:
    try:
        name = safe_name(text)
    except ValueError:
        return
    assert name == text
    assert name.isascii()
    assert not set(name) & set(" `;$\"'(){}=,*\\<>|&!?")


@given(st.floats(allow_nan=False, allow_infinity=False, min_value=1e-15, max_value=1e15))
def test_safe_numbers_come_back_to_the_last_bit(value: float) -> None:
    assert float(safe_number(value)) == value
    assert np.isfinite(float(safe_number(-value)))


def test_numbers_that_are_none() -> None:
    for value in (float("nan"), float("inf")):
        with pytest.raises(ValueError, match="not a value"):
            safe_number(value)


def test_what_passes_can_be_loaded() -> None:
    session = Session()
    session.load(refuse(["V1 in 0 1 ; supply", "R1 in out 1k", "+ tc1=0", "R2 out 0 {3k}", ".tran 1u 1m"]))
    assert session.op(["out"])[0] == pytest.approx(0.75)
    with pytest.raises(CircuitRefused):
        session.load(["x1 a b nowhere"])
