"""Netlists in further styles, each imported, built and compared with itself: kinds, ends and stages that are found."""

from __future__ import annotations

from pathlib import Path

import pytest

from lostgain.engine import Pool
from lostgain.netlists import import_netlist
from lostgain.problems import UserError

FOLDER = Path(__file__).with_name("corpus") / "newcomers"
#: Netlist: input and output asked for, output found, parts of some kinds, and where stages end.
CASES = {
    "package.cir": (("", ""), "30", {"IC1": "opamp"}, ["6", "30"]),
    "stereo.net": (("inL", ""), "outl", {"U1A": "opamp"}, ["ol", "outl"]),
    "triode.cir": (("", ""), "out", {"X1": "triode", "X2": "triode", "RV1": "potentiometer"}, ["a1", "w", "k2", "out"]),
    "mosfet.cir": (("", ""), "out", {"C2": "electrolytic"}, ["out"]),
    "crossover.cir": (("", "/lo"), "lo", {"U3": "opamp"}, ["u1", "lo"]),
    "regulated.cir": (("", ""), "out", {"REG": "regulator", "U1": "opamp"}, ["p", "o", "out"]),
    "transformer.cir": (("", ""), "out", {"L1": "inductor", "U1": "opamp"}, ["out"]),
    "tabs.cir": (("", ""), "out", {"Q1": "npn"}, ["c", "out"]),
    "notch.cir": (("", ""), "out", {"P1": "potentiometer"}, ["b", "d", "f", "out"]),
}


@pytest.mark.parametrize("name", CASES)
def test_what_is_found(name: str, pool: Pool) -> None:
    (asked_in, asked_out), output, kinds, ends = CASES[name]
    found = import_netlist(FOLDER / name, asked_in, asked_out, pool)
    assert found.output == output
    by_name = {piece.board: piece.kind for piece in found.parts}
    assert {designator: by_name.get(designator) for designator in kinds} == kinds
    assert [stage.output for stage in found.stages if stage.name != "Supply and reference"] == ends
    assert found.worst < 1e-3


@pytest.mark.parametrize(("name", "meant"), [("stereo.net", "--input inl"), ("crossover.cir", "--output lo")])
def test_what_is_asked(name: str, meant: str, pool: Pool) -> None:
    with pytest.raises(UserError) as caught:
        import_netlist(FOLDER / name, pool=pool)
    assert meant in caught.value.problems[0].meant


def test_another_channel_is_left_out_and_said(pool: Pool) -> None:
    found = import_netlist(FOLDER / "stereo.net", "inL", "outL", pool)
    assert not any(piece.board.startswith(("R2", "C2", "U1B")) and piece.board != "C2" for piece in found.parts)
    assert any("another channel" in guess.text and "U1B" in guess.text for guess in found.guesses)
