"""The debrief of a drill: what was known after each reading, what would have told more, and what the failure does."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

from lostgain.diagnosis.belief import HEALTHY, Belief, belief
from lostgain.diagnosis.next_model import NextReading
from lostgain.diagnosis.next_reading import next_reading
from lostgain.diagnosis.severity import sentence
from lostgain.faults import rates
from lostgain.readings.model import Reading, Readings
from lostgain.readings.taken import what
from lostgain.signatures import Prediction, Table, predict, sentences
from lostgain.teach.order import level
from lostgain.teach.record import Drill
from lostgain.teach.rig import Rig
from lostgain.teach.score import Score, believed, mended, score, usable
from lostgain.teach.standing import other_channel
from lostgain.teach.told import known_from, may_be_live
from lostgain.teach.traps import Trap, traps
from lostgain.unit import called

#: Suspects named after each reading; one that falls from the first share of the probability below the second is out.
NAMED, WAS, NOW_BELOW = 3, 0.04, 0.01
#: Another reading would have told more if it was expected to tell so many bits more than this one did.
MORE_BITS = 0.3

Progress = Callable[[int, int], None]


@dataclass(frozen=True)
class Better:
    """A reading that would have split the suspects sooner.

    Parameters
    ----------
    reading : NextReading
    bits : float
        What it was expected to tell [bit].
    """

    reading: NextReading
    bits: float


@dataclass(frozen=True)
class Known:
    """What was known after one reading, or after one of two faults was mended.

    Parameters
    ----------
    step : int
        Of the drill; -1 for what was read on arrival.
    reading : Reading or None
        None for a repair: what was read before is of another unit then.
    bits : float
        What it told [bit].
    suspects : tuple of (str, float)
        What one would lift, with its probability, most probable first.
    out : tuple of str
        What it excluded.
    better : Better or None
    """

    step: int
    reading: Reading | None
    bits: float
    suspects: tuple[tuple[str, float], ...]
    out: tuple[str, ...]
    better: Better | None


@dataclass(frozen=True)
class Debrief:
    """A drill looked back at.

    Parameters
    ----------
    drill : Drill
    score : Score
    known : tuple of Known
    traps : tuple of Trap
    failed : tuple of str
        What had failed, one sentence each.
    labels : tuple of str
        The same in short, ``C7 open``, as the channel's board calls the parts.
    does : tuple of str
        What the failure does, in the sentences of ``lostgain predict`` and the names of the channel's own board.
    prediction : Prediction
    """

    drill: Drill
    score: Score
    known: tuple[Known, ...]
    traps: tuple[Trap, ...]
    failed: tuple[str, ...]
    labels: tuple[str, ...]
    does: tuple[str, ...]
    prediction: Prediction


def debrief(drill: Drill, rig: Rig, table: Table, progress: Progress | None = None) -> Debrief:
    """Look back at a drill.

    Parameters
    ----------
    drill : Drill
        That has ended.
    rig : Rig
    table : Table
        Of the unit, with the power-off parts that the readings need.
    progress : callable, optional
    """
    result = score(drill, rig, table, progress)
    found = predict(table.circuit, drill.hidden.faults, rig.pool)
    channel = next(each for each in rig.unit.channels if each.name == drill.hidden.channel)
    failed = tuple(sentence(each, each.severity, None, table.circuit, channel) for each in drill.hidden.faults)
    labels = tuple(called(channel, each.label) for each in drill.hidden.faults)
    return Debrief(drill, result, _known(drill, table, result, rig), traps(drill, table.circuit), failed, labels,
                   tuple(called(channel, each) for each in sentences(found)), found)  # fmt: skip


def _known(drill: Drill, table: Table, result: Score, rig: Rig) -> tuple[Known, ...]:
    chosen, good = rates("bench"), drill.hidden.good
    rows: list[Reading] = []
    known = known_from(drill.hidden)
    before = belief(table, rows, good, chosen, known)
    found = []
    weighed = dict(usable(drill))
    for number in range(-1, len(drill.steps)):
        if number >= 0 and mended(drill, number):
            rows = []
            before = believed(drill, number, rows, table, chosen)
            found.append(Known(number, None, 0.0, _leading(before), (), None))
        if number not in weighed:
            continue
        reading = weighed[number]
        bits = result.told[number] if number >= 0 else 0.0
        better = None
        if number >= 0:
            step = next_reading(table, Readings(tuple(rows), good=good), None, chosen, known, most=60,
                                live=may_be_live(drill.hidden))  # fmt: skip
            better = _better([each for each in step.ranked if isinstance(each, NextReading)], drill, reading, bits, rig)
        rows.append(reading)
        now = believed(drill, number, rows, table, chosen)
        found.append(Known(number, reading, bits, _leading(now), _out(before, now), better))
        before = now
    return tuple(found)


def _better(ranked: list[NextReading], drill: Drill, taken: Reading, bits: float, rig: Rig) -> Better | None:
    """Return the first reading that this bench could give, if it would have told more."""
    away = other_channel(rig.unit, drill.hidden.channel) if level(drill.hidden.level).alone else ""
    for each in ranked:
        if away and each.channel == away:
            continue
        more = what(each) != what(taken) and each.information > bits + MORE_BITS
        return Better(each, each.information) if more else None
    return None


def _shares(believed: Belief) -> dict[str, float]:
    total = believed.weight.sum() + believed.unexplained
    share = believed.of_decision() / max(total, 1e-300)
    return {"nothing wrong" if lifted == HEALTHY else lifted[0]: float(each)
            for lifted, each in zip(believed.lifted, share, strict=True)}  # fmt: skip


def _leading(believed: Belief) -> tuple[tuple[str, float], ...]:
    share = {**_shares(believed), "something else": believed.unexplained}
    order = sorted(share, key=lambda name: -share[name])
    return tuple((name, share[name]) for name in order[:NAMED] if share[name] >= NOW_BELOW)


def _out(before: Belief, now: Belief) -> tuple[str, ...]:
    was, has = _shares(before), _shares(now)
    return tuple(name for name in sorted(was, key=lambda each: -was[each])
                 if was[name] > WAS and has.get(name, 0.0) < NOW_BELOW)  # fmt: skip
