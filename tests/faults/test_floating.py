"""What alone holds the DC of an input, by inspection of small circuits."""

from __future__ import annotations

import pytest

from lostgain.circuit import Circuit, build
from lostgain.diagnosis.steps import _steps
from lostgain.engine import Pool
from lostgain.faults import floats, holders, listing, modes_for
from lostgain.unit import open_unit
from tests.circuit.units import POWERED, make

UNIT = (
    POWERED
    + """
[[stage]]
name = "Board"
netlist = "a.cir"
subckt = "a"
ports = ["in", "out", "VP", "VN"]
parts = { XU1 = "U1 opamp-jfet", XRV1 = "RV1 10k" }
[stage.points]
out = "Out"
"""
)
#: A gate behind a stopper with its leak, and a resistor to nothing but a capacitor; a gate on a divider; a gate on a
#: wiper; a follower behind a resistor alone.
NETLIST = """.subckt a in out vp vn
.model small njf(beta=1m vto=-2)
C1 in a 1u
R1 a 0 1meg
R2 a g 1k
R3 a dead 100k
C2 dead 0 10n
J1 vp g s small
R4 s 0 10k
C3 s b 1u
R5 vp b 100k
R6 b vn 100k
J2 vp b c small
R7 c vn 10k
C4 c t 1u
XRV1 t w 0 potentiometer
J3 vp w d small
R8 d vn 10k
R9 d e 10k
XU1 e out vp vn out opamp-jfet
R10 out 0 10k
.ends
"""


@pytest.fixture(scope="module")
def board(tmp_path_factory: pytest.TempPathFactory, pool: Pool) -> Circuit:
    """Every way an input is held."""
    return build(make(tmp_path_factory.mktemp("board"), UNIT, a=NETLIST), pool)


def test_what_alone_holds_an_input(board: Circuit) -> None:
    """The leak and its stopper, and a wiper; nothing where there are two ways, nor what an op-amp hangs on."""
    assert {part for part, _ in holders(board)} == {"R1", "R2", "RV1"}


@pytest.mark.parametrize(
    ("part", "mode", "floating"),
    [
        ("R1", "open", True),
        ("R1", "drift", False),
        ("R1", "short", False),
        ("R3", "open", False),
        ("R5", "open", False),
        ("R9", "open", False),
        ("RV1", "wiper-open", True),
        ("RV1", "top-open", False),
        ("C1", "open", False),
    ],
)
def test_which_failures_leave_an_input_floating(board: Circuit, part: str, mode: str, floating: bool) -> None:
    found = next(each for each in modes_for(board.parts[part].part.kind) if each.name == mode)
    assert floats(found, part, holders(board)) is floating


def test_a_floating_input_is_its_makers_affair(board: Circuit) -> None:
    faults = tuple(listing(board))
    kinds = tuple((board.parts[fault.part].part.kind,) for fault in faults)
    plain = [fault.members == () for fault in faults]
    faults, kinds = (tuple(each for each, keep in zip(rows, plain, strict=True) if keep) for rows in (faults, kinds))
    found = _steps(faults, kinds, (), holders(board))
    wild = {f"{found.suspects[one].part} {found.suspects[one].mode}" for one in found.fault[found.makers_affair]}
    assert {"R1 open", "R2 open", "RV1 wiper-open", "J1 g-open", "U1 inp-open"} <= wild
    assert not {"R3 open", "R5 open", "R9 open", "R1 short", "C1 open", "J1 d-open"} & wild


def test_the_shipped_valve_amplifier(pool: Pool) -> None:
    """Its grid leak and grid stoppers, and the volume control that the second grid hangs on."""
    found = holders(build(open_unit("clubhouse-guitar-amplifier"), pool))
    assert {part for part, _ in found} == {"R2", "R6", "RV4", "R9", "R10"}
