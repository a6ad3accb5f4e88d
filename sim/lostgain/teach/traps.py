"""Common traps, named when an apprentice has fallen into them: rules on the record of a drill."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator
from dataclasses import dataclass, replace
from functools import cache
from pathlib import Path
from typing import Any

from lostgain.circuit import Circuit
from lostgain.readings.model import UNPOWERED, Reading
from lostgain.readings.taken import what
from lostgain.teach.record import Drill, Step
from lostgain.teach.score import needless
from lostgain.unit import called
from lostgain.unit.model import Unit

#: A probe that takes more than this share of what it reads loads it.
TAKEN = 0.05
#: The signal inputs of an op-amp, by pin.
INPUTS = ("inp", "inn")


@dataclass(frozen=True)
class Trap:
    """A trap fallen into.

    Parameters
    ----------
    name, title, says : str
    step : int
        Which step of the drill it was.
    """

    name: str
    title: str
    says: str
    step: int


@cache
def _file() -> dict[str, Any]:
    return tomllib.loads(Path(__file__).with_name("traps.toml").read_text(encoding="utf-8"))


def trap_titles() -> dict[str, str]:
    """Return the traps by name."""
    return {name: row["title"] for name, row in _file().items()}


def _trap(name: str, step: int, **figures: str) -> Trap:
    row = _file()[name]
    return Trap(name, row["title"], row["says"].format(**figures), step)


def traps(drill: Drill, circuit: Circuit) -> tuple[Trap, ...]:
    """Return the traps of a drill, each once, where it was fallen into first.

    Parameters
    ----------
    drill : Drill
    circuit : Circuit
        Of the unit.
    """
    found = sorted([*_changed(drill, circuit), *_compared(drill), *_loaded(drill)],
                   key=lambda each: each.step)  # fmt: skip
    return tuple({each.name: each for each in reversed(found)}.values())[::-1]


def _changed(drill: Drill, circuit: Circuit) -> Iterator[Trap]:
    """Traps of changing a part that had not failed."""
    unit = circuit.unit
    for number in needless(drill):
        step = drill.steps[number]
        before = [each.reading for each in drill.steps[:number] if each.reading is not None]
        channel = next((each for each in unit.channels if each.name == step.channel), unit.channels[0])
        part = called(channel, step.parts[0])
        mine = [each for each in before if each.channel == step.channel]
        at_inputs = any(_at_input(circuit, step.parts, each) for each in mine)
        if unit.parts[step.parts[0]].kind == "opamp" and not at_inputs:
            yield _trap("opamp-blamed", number, part=part)
        stages = {unit.parts[each].stage for each in step.parts}
        if not any(_in_stage(unit, stages, each) for each in mine):
            yield _trap("by-appearance", number, part=part)
        elif len(before) == 1:
            yield _trap("one-reading", number, part=part)


def _at_input(circuit: Circuit, parts: tuple[str, ...], reading: Reading) -> bool:
    nodes = {circuit.node_of(part, pin) for part in parts for pin in INPUTS if pin in circuit.parts[part].pins}
    return circuit.points.get(reading.point) in nodes


def _in_stage(unit: Unit, stages: set[str], reading: Reading) -> bool:
    point = next((each for each in unit.points if each.name == reading.point), None)
    if point is not None:
        return point.stage in stages
    part = unit.parts.get(reading.point.split()[0])
    return part is not None and part.stage in stages and reading.quantity in UNPOWERED


def _compared(drill: Drill) -> Iterator[Trap]:
    """A reading of one channel right after the same one of another, whose controls stand differently."""
    before: Step | None = None
    for number, step in enumerate(drill.steps):
        if step.reading is None:
            continue
        if before is not None and before.reading is not None and _same_place(before.reading, step.reading):
            turned = [each.turned or "as the unit's set-up" for each in (before, step)]
            if before.turned != step.turned:
                yield _trap("other-controls", number, point=step.reading.point, one=turned[0], other=turned[1])
        before = step


def _same_place(one: Reading, other: Reading) -> bool:
    alike = what(replace(one, channel="")) == what(replace(other, channel=""))
    return alike and one.channel != other.channel and one.quantity not in UNPOWERED


def _loaded(drill: Drill) -> Iterator[Trap]:
    for number, step in enumerate(drill.steps):
        if step.reading is not None and step.left < 1 - TAKEN:
            yield _trap("probe-loads", number, point=step.reading.point, share=f"{step.left * 100:.0f} %")
