"""How a drill went, beside the policy of ``lostgain next`` from the same start on the same hidden unit."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from lostgain.diagnosis.belief import Belief, belief
from lostgain.faults import Rates, rates
from lostgain.readings.model import Reading
from lostgain.signatures import Table
from lostgain.teach.drill import repaired, show_place
from lostgain.teach.places import as_lifted
from lostgain.teach.policy import MOST, Best, best
from lostgain.teach.record import SIGNED_OFF, Drill
from lostgain.teach.rig import Rig
from lostgain.teach.told import known_from
from lostgain.unit import called
from lostgain.unit.model import Unit

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Score:
    """How a drill went.

    Parameters
    ----------
    solved : bool
        Signed off, and nothing that failed is left.
    hazard : str
        Name of an unsafe act that stopped it.
    minutes, money : float
    readings : int
    told : tuple of float
        For each step how much it told [bit]: the change of the entropy of what to do; negative where a reading raised
        a doubt.
    left : tuple of float
        The entropy left after each step [bit].
    needless : tuple of str
        Parts replaced that had not failed.
    best : Best
    """

    solved: bool
    hazard: str
    minutes: float
    money: float
    readings: int
    told: tuple[float, ...]
    left: tuple[float, ...]
    needless: tuple[str, ...]
    best: Best

    @property
    def share(self) -> float:
        """The policy's minutes over those used, at most 1; 0 for a drill that was not solved."""
        if not self.solved:
            return 0.0
        return min(1.0, (self.best.minutes + self.best.repair) / max(self.minutes, 1e-9))


def entropy(believed: Belief) -> float:
    """Return how much is not known about what to do [bit]; what is unexplained counts as one more possibility."""
    share = np.append(believed.of_decision(), believed.unexplained)
    share = share[share > 0] / share.sum()
    return float(-(share * np.log2(share)).sum()) + 0.0


def usable(drill: Drill) -> list[tuple[int, Reading]]:
    """Return the readings that a signature table can weigh, each with its step; those on arrival are step -1.

    What was read before, with the same instrument at the same place, is not weighed again: it tells nothing new, and
    what little a new part in a good one's place has changed since would speak against the truth. With one of two
    faults mended it is another unit, and all is new.
    """
    found = [(-1, each) for each in drill.start]
    known = {(0, _taken(each)) for each in drill.start}
    for number, step in enumerate(drill.steps):
        if step.reading is None or not step.compared:
            continue
        if (mine := (step.gone, _taken(step.reading))) not in known:
            known.add(mine)
            found.append((number, step.reading))
    return found


def _taken(reading: Reading) -> Reading:
    """Return a reading without what it came to: equal for two of the same thing."""
    return Reading(reading.point, reading.quantity, reading.channel, frequency=reading.frequency,
                   instrument=reading.instrument, against=reading.against, lifted=reading.lifted,
                   generator=reading.generator)  # fmt: skip


def believed(drill: Drill, number: int, rows: list[Reading], table: Table, chosen: Rates) -> Belief:
    """Return what readings say once a step is over: with one of two faults mended, that no new part is the other.

    Parameters
    ----------
    drill : Drill
    number : int
        The step; -1 for what was read on arrival.
    rows : list of Reading
        Those of the unit as it is then.
    table : Table
    chosen : Rates
    """
    found = belief(table, rows, drill.hidden.good, chosen, known_from(drill.hidden))
    if number < 0 or not 0 < drill.steps[number].gone < len(drill.hidden.faults):
        return found
    unit = table.circuit.unit
    new = {as_lifted(unit, step.channel, part) for step in drill.steps[: number + 1] if step.act == "replace"
           for part in step.parts}  # fmt: skip
    old = np.array([each not in new for each in found.lifted])
    weight = found.weight * old[found.decision]
    held = weight.sum() + found.unexplained
    return replace(found, weight=weight / held, unexplained=found.unexplained / held)


def mended(drill: Drill, number: int) -> bool:
    """Tell whether a step has done away with one fault and left another: what was read before is of another unit."""
    before = drill.steps[number - 1].gone if number > 0 else 0
    return before < drill.steps[number].gone < len(drill.hidden.faults)


def score(drill: Drill, rig: Rig, table: Table, progress: Progress | None = None) -> Score:
    """Score a drill.

    Parameters
    ----------
    drill : Drill
    rig : Rig
    table : Table
        Of the unit, with the power-off parts that the readings taken need.
    progress : callable, optional
    """
    chosen = rates("bench")
    weighed = dict(usable(drill))
    rows = list(drill.start)
    now = entropy(believed(drill, -1, rows, table, chosen))
    told, left = [], []
    for number in range(len(drill.steps)):
        if mended(drill, number):  # nothing is known of it yet; that is told by no reading
            rows = []
            now = entropy(believed(drill, number, rows, table, chosen))
        before = now
        if number in weighed:
            rows.append(weighed[number])
            now = entropy(believed(drill, number, rows, table, chosen))
        told.append(before - now)
        left.append(now)
        if progress is not None:
            progress(number + 1, len(drill.steps) + MOST)
    return Score(
        solved=drill.ended == SIGNED_OFF and repaired(drill, rig.unit), hazard=drill.hazard, minutes=drill.minutes,
        money=drill.money, readings=len(drill.readings), told=tuple(told), left=tuple(left),
        needless=tuple(_named(drill, each, rig.unit) for each in needless(drill)), best=best(drill, rig, table, chosen),
    )  # fmt: skip


def needless(drill: Drill) -> tuple[int, ...]:
    """Return the steps in which a part was replaced that had not failed."""
    bad, swapped = set(drill.hidden.parts), set(drill.bench.swapped)
    shared = {each.part for each in drill.hidden.members if each.shared}
    found = []
    for number, step in enumerate(drill.steps):
        if step.act != "replace" or not step.parts:
            continue
        there = step.channel == drill.hidden.channel or bool(set(step.parts) & swapped)
        if not (set(step.parts) & bad and there) and not set(step.parts) & shared:
            found.append(number)
    return tuple(found)


def _named(drill: Drill, number: int, unit: Unit) -> str:
    """Return what a step was done to, as its channel's board calls it."""
    step = drill.steps[number]
    channel = next((each for each in unit.channels if each.name == step.channel), unit.channels[0])
    return called(channel, step.parts[0])


def score_record(result: Score) -> Mapping[str, Any]:
    """Return a score as plain data, as it is kept in a drill's file and marked from there."""
    return {
        "solved": result.solved, "hazard": result.hazard, "minutes": result.minutes, "money": result.money,
        "readings": result.readings, "needless": list(result.needless), "share": result.share,
        "told": list(result.told), "policy": {
            "minutes": result.best.minutes, "repair": result.best.repair, "readings": len(result.best.readings),
            "solved": result.best.solved, "order": [show_place(each) for each in result.best.readings],
            "rounds": [{"stop": each.stop, "parts": [name for name, _ in each.parts], "right": each.right}
                       for each in result.best.rounds]},
    }  # fmt: skip
