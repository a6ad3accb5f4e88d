"""How a drill went, beside the policy of ``lostgain next`` from the same start on the same hidden unit."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np

from lostgain.diagnosis.belief import Belief, belief
from lostgain.diagnosis.moves import facts as move_facts
from lostgain.diagnosis.next_model import NextReading
from lostgain.diagnosis.next_reading import next_reading
from lostgain.faults import Rates, rates
from lostgain.problems import UserError
from lostgain.readings.model import OFF, Reading, Readings
from lostgain.signatures import Table
from lostgain.teach.actions import acts
from lostgain.teach.drill import repaired, show_place, simulated
from lostgain.teach.order import level
from lostgain.teach.places import instrument_of
from lostgain.teach.prove import at_start, under_condition
from lostgain.teach.record import SIGNED_OFF, Drill
from lostgain.teach.rig import Rig
from lostgain.unit import called
from lostgain.unit.model import Unit

#: Readings after which the policy gives up.
MOST = 30
#: What brings an intermittent fault on, by its condition.
BRINGS = {"warm": "warm", "level": "generator", "vibration": "tap"}

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Best:
    """What the policy did on the same unit.

    Parameters
    ----------
    readings : tuple of Reading
        In order, those on arrival left out.
    minutes : float
        Of the readings [min].
    stop : str
        Why it stopped, as in `lostgain.diagnosis.next_model.Next`; ``given up`` after too many.
    parts : tuple of str
        What it had come down to, most probable first.
    changed : int
        Parts it would have changed until all that failed were new; 0 where they are not among them.
    repair : float
        Minutes of switching off and changing those [min].
    """

    readings: tuple[Reading, ...]
    minutes: float
    stop: str
    parts: tuple[str, ...]
    changed: int
    repair: float


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
    what little a new part in a good one's place has changed since would speak against the truth.
    """
    found = [(-1, each) for each in drill.start]
    known = {_taken(each) for each in drill.start}
    for number, step in enumerate(drill.steps):
        if step.reading is not None and step.compared and _taken(step.reading) not in known:
            known.add(_taken(step.reading))
            found.append((number, step.reading))
    return found


def _taken(reading: Reading) -> Reading:
    """Return a reading without what it came to: equal for two of the same thing."""
    return Reading(reading.point, reading.quantity, reading.channel, frequency=reading.frequency,
                   instrument=reading.instrument, against=reading.against, lifted=reading.lifted)  # fmt: skip


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
    now = entropy(belief(table, rows, drill.hidden.good, chosen))
    told, left = [], []
    for number in range(len(drill.steps)):
        before = now
        if number in weighed:
            rows.append(weighed[number])
            now = entropy(belief(table, rows, drill.hidden.good, chosen))
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


def best(drill: Drill, rig: Rig, table: Table, chosen: Rates) -> Best:
    """Follow ``lostgain next`` from the readings on arrival, on the same hidden unit."""
    hidden, unit = drill.hidden, rig.unit
    bench = under_condition(hidden, at_start(unit, level(hidden.level)), unit)
    taken: list[Reading] = []
    refused: set[tuple[object, ...]] = set()
    spent = acts()[BRINGS[hidden.condition]].minutes if hidden.condition else 0.0
    while True:
        step = next_reading(table, Readings((*drill.start, *taken), good=hidden.good), None, chosen, most=60)
        wanted = _first([each for each in step.ranked if isinstance(each, NextReading)], refused, drill)
        stop = step.stop or ("given up" if len(taken) >= MOST or wanted is None else "")
        if stop or wanted is None:
            return _ended(drill, taken, spent, stop, [name for name, _, _ in step.parts], unit)
        asked = Reading(wanted.point, wanted.quantity, wanted.channel, given_as=wanted.given_as,
                        frequency=wanted.frequency, instrument=wanted.instrument, against=wanted.against)  # fmt: skip
        now = replace(bench, power=wanted.quantity not in OFF, discharged=wanted.quantity in OFF)
        try:
            found, _, _ = simulated(rig, now, asked, instrument_of(unit, asked), 1000 + len(taken))
        except UserError:
            found = None
        if found is None:
            refused.add(_place(wanted))
            continue
        spent += wanted.minutes if bench.power else move_facts().power_off.each
        taken.append(found)


def _place(reading: NextReading) -> tuple[object, ...]:
    return (reading.point, reading.against, reading.quantity, reading.frequency, reading.channel)


def _first(ranked: Sequence[NextReading], refused: set[tuple[object, ...]], drill: Drill) -> NextReading | None:
    """Return the first reading that this drill's bench can give."""
    wanted = level(drill.hidden.level)
    for each in ranked:
        lone = wanted.alone and each.channel not in ("", drill.hidden.channel)
        powered = not wanted.power and each.quantity not in OFF
        if _place(each) not in refused and not lone and not powered:
            return each
    return None


def _ended(drill: Drill, taken: list[Reading], spent: float, stop: str, parts: list[str], unit: Unit) -> Best:
    channel = next(each for each in unit.channels if each.name == drill.hidden.channel)
    bad = [called(channel, name) for name in drill.hidden.parts]
    ranks = [next((rank for rank, part in enumerate(parts, 1) if name.startswith(part)), 0) for name in bad]
    changed = max(ranks) if ranks and all(ranks) else 0
    new = changed or len(parts) + len(bad)  # where it is not among them: it has to change them all, and look further
    switching = move_facts().power_off.enter + acts()["power"].minutes if drill.start else 0.0
    repair = switching + new * acts()["replace"].minutes
    return Best(tuple(taken), spent, stop, tuple(parts), changed, repair)


def score_record(result: Score) -> Mapping[str, Any]:
    """Return a score as plain data, as it is kept in a drill's file and marked from there."""
    return {
        "solved": result.solved, "hazard": result.hazard, "minutes": result.minutes, "money": result.money,
        "readings": result.readings, "needless": list(result.needless), "share": result.share,
        "told": list(result.told), "policy": {
            "minutes": result.best.minutes, "repair": result.best.repair, "readings": len(result.best.readings),
            "stop": result.best.stop, "parts": list(result.best.parts), "order": [
                show_place(each) for each in result.best.readings]},
    }  # fmt: skip
