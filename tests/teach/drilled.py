"""Drills on the small invented unit, each with a fault chosen by the test."""

from __future__ import annotations

import atexit
from collections.abc import Iterator
from contextlib import ExitStack, contextmanager
from dataclasses import replace
from functools import cache
from pathlib import Path

from lostgain import Circuit, Pool, Unit, build_circuit, open_unit, parse_fault
from lostgain.teach.draw import hide
from lostgain.teach.drill import Answer, begun, do
from lostgain.teach.record import Drill
from lostgain.teach.rig import Rig

UNITS = Path(__file__).parent.parent / "units"

#: A single-ended valve output on its dummy load.
VALVE = """\
[unit]
title = "Valve output for apprentices"
invented = true
output_stage = true
[[channel]]
name = "Left"
[rails]
VP = "+265 V"
VS = "+260 V"
[setup]
generator = "300 mV rms"
frequencies = ["1 kHz"]
load = "8R"
[[stage]]
name = "Output"
use = "pentode-single-ended"
CIN = "C1 100n"
RG = "R1 470k"
RS = "R2 1k5"
V = "V1 pentode-el84"
RK = "R3 135R"
CK = "C2 100u 25V"
RSC = "R4 470R"
CSC = "C3 10u 400V"
T = "T1 25.5:1 transformer_output_se"
rails = { vp = "VP", vs = "VS" }
[stage.points]
in = "C1, hot end"
out = "TP1"
"""


@cache
def megaphone() -> tuple[Unit, Circuit]:
    unit = open_unit(UNITS / "megaphone")
    return unit, build_circuit(unit)


@cache
def pool() -> Pool:
    """One worker for all tests of a run."""
    own = ExitStack()
    atexit.register(own.close)
    return own.enter_context(Pool(workers=1))


@contextmanager
def rigged(drill: Drill, unit: Unit | None = None) -> Iterator[Rig]:
    rig = Rig(unit or megaphone()[0], drill.hidden, pool())
    if unit is None:
        rig.keep(megaphone()[1])
    yield rig


@cache
def drilled(*faults: str, level: int = 2, seed: int = 1, channel: str = "Port", condition: str = "") -> Drill:
    """A drill with these faults, nothing done yet."""
    unit, circuit = megaphone()
    chosen = tuple(parse_fault(each, circuit) for each in faults)
    return begun(unit, hide(unit, circuit, level, seed, pool(), chosen, channel, condition), pool())


def done(drill: Drill, *lines: str, unit: Unit | None = None) -> Answer:
    """Do these lines one after the other, and return the last answer."""
    with rigged(drill, unit) as rig:
        for line in lines:
            answer = do(drill, rig, line)
            drill = answer.drill
    return answer


def values(drill: Drill) -> list[float | None]:
    """What the readings of a drill came to."""
    return [each.value for each in drill.readings]


def like(**facts: object) -> Unit:
    """The small unit with other facts: mains, bridged, output_stage."""
    return replace(megaphone()[0], **facts)  # type: ignore[arg-type]
