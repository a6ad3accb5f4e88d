"""A healthy unit that does not stay at its operating point is refused, and the stage named."""

from __future__ import annotations

from pathlib import Path

import pytest

from lostgain.circuit import build, prove_running
from lostgain.engine import Pool
from lostgain.problems import UserError
from tests.circuit.units import AMPLIFIER, COUPLING, NETLIST, POWERED, make, netlist_stage

FIRST = COUPLING.partition("[[stage]]")[2].partition("[stage.points]")[0]
SECOND = netlist_stage("Second", ports="in out VP VN", parts='X1 = "U1A opamp-jfet"')
AMP = ".subckt a in out vp vn\nX1 {pins} vp vn out opamp-jfet\nR2 out fb 22k\nR3 fb 0 2.2k\n.ends\n"


@pytest.mark.parametrize("text", [AMPLIFIER, COUPLING], ids=["amplifier", "coupling"])
def test_a_healthy_unit_runs(tmp_path: Path, pool: Pool, text: str) -> None:
    prove_running(build(make(tmp_path, text), pool), pool)


@pytest.mark.parametrize("pins", ["fb in", "in fb"])
def test_feedback_wired_the_wrong_way_round_is_refused_with_its_stage(tmp_path: Path, pool: Pool, pins: str) -> None:
    """Both have an operating point and the same small-signal gain; one of them latches."""
    unit = make(tmp_path, f"{POWERED}[[stage]]{FIRST}{SECOND}", a=AMP.format(pins=pins))
    circuit = build(unit, pool)
    if pins == "in fb":
        prove_running(circuit, pool)
        return
    with pytest.raises(UserError, match=r"stage 'Second' (runs away|oscillates)") as caught:
        prove_running(circuit, pool)
    assert caught.value.problems[0].where == unit.stages[1].where


def test_what_is_doubtful_in_the_description_is_told_first(tmp_path: Path, pool: Pool) -> None:
    doubtful = FIRST.replace("R1 10k", "C3 10k")
    unit = make(tmp_path, f"{POWERED}[[stage]]{doubtful}{SECOND}", a=AMP.format(pins="fb in"))
    assert unit.doubts
    with pytest.raises(UserError) as caught:
        prove_running(build(unit, pool), pool)
    assert caught.value.problems[: len(unit.doubts)] == unit.doubts


def test_it_is_found_without_any_drive_reaching_the_stage(tmp_path: Path, pool: Pool) -> None:
    level = '[[stage]]\nname = "Level"\nuse = "level"\nRV = "RV1 10k linear"\n'
    head = POWERED + '[setup.controls]\nRV1 = "off"\n'
    circuit = build(make(tmp_path, f"{head}{level}{SECOND}", a=AMP.format(pins="fb in")), pool)
    with pytest.raises(UserError, match="stage 'Second'"):
        prove_running(circuit, pool)


def test_an_oscillator_is_refused(tmp_path: Path, pool: Pool) -> None:
    """A Wien bridge with a gain of 4, where 3 is the limit (textbook): it starts by itself, near 1 kHz."""
    board = """title
R9 in mix 1meg
X1 mix fb vp vn out opamp-jfet
R1 out mid 16k
C1 mid mix 10n
R2 mix 0 16k
C2 mix 0 10n
R3 out fb 30k
R4 fb 0 10k
"""
    text = NETLIST + '[rails]\nVP = "15 V"\nVN = "-15 V"\n[parts]\nX1 = "U1A opamp-jfet"\n'
    circuit = build(make(tmp_path, text, board=board), pool)
    with pytest.raises(UserError, match=r"stage 'Circuit' (oscillates|runs away)"):
        prove_running(circuit, pool)
    calm = build(make(tmp_path / "calm", text, board=board.replace("30k", "15k")), pool)
    prove_running(calm, pool)
