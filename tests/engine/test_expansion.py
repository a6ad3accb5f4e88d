"""Netlists that grow without end once subcircuits and functions are put in are refused before ngspice sees them."""

from __future__ import annotations

from pathlib import Path

import pytest

from lostgain.engine.expansion import LONGEST_EXPRESSION, MOST_ELEMENTS, refuse_endless
from lostgain.problems import UserError, Where

FILE = Path("board.cir")


def refuse(text: str) -> None:
    refuse_endless((line, Where(FILE, number)) for number, line in enumerate(text.splitlines(), start=1))


def refused(text: str) -> str:
    with pytest.raises(UserError) as caught:
        refuse(text)
    return str(caught.value)


def ladder(levels: int, each: int) -> str:
    """Subcircuits that call the next one `each` times."""
    text = "".join(f".subckt s{level} a b\n" + f"x1 a b s{level + 1}\n" * each + ".ends\n" for level in range(levels))
    return f"{text}.subckt s{levels} a b\nr1 a b 1k\n.ends\nx1 out 0 s0\n"


def test_elements_are_counted_with_all_subcircuits() -> None:
    refuse(ladder(3, 10))
    refuse("r1 a b 1\n" * MOST_ELEMENTS)
    assert "more than 5000 elements" in refused(ladder(7, 10))
    assert f"has {MOST_ELEMENTS + 1} elements" in refused("r1 a b 1\n" * (MOST_ELEMENTS + 1))


def test_what_calls_itself_is_named_with_its_line() -> None:
    assert refused(".subckt s a b\nx1 a b s\n.ends\nx1 a b s") == "board.cir, line 2: The subcircuit s calls itself."
    mutual = ".subckt s a b\nx1 a b t\n.ends\n.subckt t a b\nx1 a b s\n.ends\nx1 a b s"
    assert "line 5: The subcircuit s calls itself" in refused(mutual)
    assert "The function f calls itself" in refused(".func f(x) {f(x)+1}\nr1 a b {f(1)}")
    assert "20 deep" in refused(ladder(30, 1))


def test_a_name_means_the_innermost_definition() -> None:
    """An inner subcircuit may have the name of one that calls the outer one: nothing calls itself then."""
    inner = ".subckt a 1 2\n.subckt b 1 2\nr1 1 2 1k\n.ends\nx1 1 2 b\n.ends\n"
    refuse(f"{inner}.subckt b 1 2\nx1 1 2 a\n.ends\nx1 in 0 b")


@pytest.mark.parametrize(
    "call",
    [
        "{" + "f(" * 28 + "1" + ")" * 28 + "}",
        "{h(h(h(1,2),3),4)}",
    ],
)
def test_functions_that_grow_are_refused(call: str) -> None:
    functions = ".func f(x) {x+x}\n.func g(x) {f(f(f(x)))*f(x)}\n.func h(x,y) {g(g(x))+g(y)}\n"
    refuse(f"{functions}r1 a b {{f(1)+g(f(2))}}\nr2 a b {{h(1,2)}}")
    assert f"longer than {LONGEST_EXPRESSION}" in refused(f"{functions}r1 a b {call}")


def test_functions_as_the_trade_writes_them_pass() -> None:
    refuse(".func lim(x,a,b) {min(max(x,a),b)}\n.param db(x)={20*log10(x)}\nb1 a 0 v={lim(v(b),-1,1)*db(v(c))}")
