"""What the policy of ``lostgain next`` does on the hidden unit of a drill, from the readings on arrival on.

It looks for one part. Where more have failed it goes on in rounds, as somebody at a bench would who only knows that:
find one, change it, read again what is there now, find the next.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

from lostgain.diagnosis.moves import facts as move_facts
from lostgain.diagnosis.next_model import NextReading
from lostgain.diagnosis.next_reading import next_reading
from lostgain.faults import Rates
from lostgain.problems import UserError
from lostgain.readings.model import OFF, Reading, Readings
from lostgain.readings.taken import What, what
from lostgain.signatures import Table
from lostgain.teach.actions import acts
from lostgain.teach.drill import minutes, simulated
from lostgain.teach.hidden import Bench
from lostgain.teach.order import level
from lostgain.teach.places import Lifted, as_lifted, instrument_of
from lostgain.teach.prove import at_start, under_condition
from lostgain.teach.record import Drill
from lostgain.teach.rig import Rig
from lostgain.teach.standing import left
from lostgain.teach.told import known_from, may_be_live

#: Readings of a unit after which the policy gives up, and what it is then said to be.
MOST = 30
GIVEN_UP = "given up"
#: What brings an intermittent fault on, by its condition.
BRINGS = {"warm": "warm", "level": "generator", "vibration": "tap"}


@dataclass(frozen=True)
class Round:
    """From the unit as it stands to the next parts that are changed.

    Parameters
    ----------
    readings : tuple of Reading
        In order; those on arrival, which cost nothing, are left out.
    minutes : float
        Of the readings [min].
    stop : str
        Why it stopped, as in `lostgain.diagnosis.next_model.Next`; ``given up`` after too many.
    parts : tuple of (str, str)
        Part and channel, as the verdict names them: what it had come down to, most probable first; what is new by then
        is left out.
    right : int
        How many of those it changed until one fault was done away with; 0 where that is not among them, so that it
        changed them all in vain.
    repair : float
        Minutes of switching off and changing those, and of proving the last repair [min].
    """

    readings: tuple[Reading, ...]
    minutes: float
    stop: str
    parts: tuple[Lifted, ...]
    right: int
    repair: float

    @property
    def changed(self) -> tuple[Lifted, ...]:
        """The parts that it changed."""
        return self.parts[: self.right or None]


@dataclass(frozen=True)
class Best:
    """What the policy did on the same unit.

    Parameters
    ----------
    rounds : tuple of Round
        One for each time it changed something.
    """

    rounds: tuple[Round, ...]

    @property
    def readings(self) -> tuple[Reading, ...]:
        """All readings, in order."""
        return tuple(reading for each in self.rounds for reading in each.readings)

    @property
    def minutes(self) -> float:
        """Of the readings [min]."""
        return sum(each.minutes for each in self.rounds)

    @property
    def repair(self) -> float:
        """Of switching off and changing parts [min]."""
        return sum(each.repair for each in self.rounds)

    @property
    def solved(self) -> bool:
        """Whether it came to all that had failed."""
        return self.rounds[-1].right > 0


def best(drill: Drill, rig: Rig, table: Table, chosen: Rates) -> Best:
    """Follow ``lostgain next`` from the readings on arrival, until nothing that failed is left or it knows no more."""
    hidden = drill.hidden
    bench = under_condition(hidden, at_start(rig.unit, level(hidden.level)), rig.unit)
    brought = acts()[BRINGS[hidden.condition]].minutes if hidden.condition else 0.0
    known, read, spent = list(drill.start), list[Reading](), brought
    rounds: list[Round] = []
    while left(hidden, bench, rig.unit):
        if rounds:  # does it work now?
            read, spent = _again(drill, rig, bench)
            known = list(read) if rounds[-1].right else known  # with a fault less it is another unit
        found = _followed(drill, rig, table, chosen, bench, known, read, spent)
        rounds.append(found)
        known += found.readings[len(read) :]
        bench = _mended(bench, rig, found.changed)
        if found.stop == GIVEN_UP and not found.right:
            break
    if rounds and rounds[-1].right:  # the repair is proved by what was read on arrival
        proof = sum(minutes(rig.unit, each, None) for each in drill.start)
        rounds[-1] = replace(rounds[-1], repair=rounds[-1].repair + proof)
    return Best(tuple(rounds))


def _again(drill: Drill, rig: Rig, bench: Bench) -> tuple[list[Reading], float]:
    """Take the readings on arrival again, of the unit as it is now, and return them with their minutes."""
    found: list[Reading] = []
    spent = 0.0
    for each in drill.start:
        asked = replace(each, value=None, word="", text="", below=False, above=False)
        reading, _, _ = simulated(rig, bench, asked, instrument_of(rig.unit, asked), 2000 + len(bench.replaced))
        spent += minutes(rig.unit, asked, found[-1] if found else None)
        found += [reading] if reading is not None else []
    return found, spent


def _followed(
    drill: Drill, rig: Rig, table: Table, chosen: Rates, bench: Bench, known: list[Reading], read: list[Reading],
    spent: float,
) -> Round:  # fmt: skip
    """Take one reading after the other until the policy stops with parts that are not new yet."""
    hidden, unit = drill.hidden, rig.unit
    new = {as_lifted(unit, where, part) for where, part in bench.replaced}
    taken, refused = list[Reading](), set[What]()
    rails = {rail.name for rail in unit.rails}  # these are no parts that could be changed
    knowledge = known_from(hidden, (name for name, _ in new))
    while True:
        step = next_reading(table, Readings((*known, *taken), good=hidden.good), None, chosen, knowledge,
                            most=60, live=may_be_live(hidden))  # fmt: skip
        parts = tuple((name, where) for name, where, _ in step.parts
                      if (name, where) not in new and name not in rails)  # fmt: skip
        wanted = _first([each for each in step.ranked if isinstance(each, NextReading)], refused, drill)
        if (step.stop and parts) or wanted is None or len(known) + len(taken) >= MOST:
            stop = step.stop if parts and step.stop else GIVEN_UP
            return _ended(drill, rig, bench, (*read, *taken), spent, stop, parts)
        asked = Reading(wanted.point, wanted.quantity, wanted.channel, given_as=wanted.given_as,
                        frequency=wanted.frequency, instrument=wanted.instrument, against=wanted.against,
                        generator=wanted.generator)  # fmt: skip
        now = replace(bench, power=wanted.quantity not in OFF, discharged=wanted.quantity in OFF,
                      generator=wanted.generator or bench.generator)  # fmt: skip
        number = 1000 + 100 * len(bench.replaced) + len(taken)  # of its own: the last digit stirs with it
        try:
            found, _, _ = simulated(rig, now, asked, instrument_of(unit, asked), number)
        except UserError:
            found = None
        if found is None:
            refused.add(what(wanted))
            continue
        spent += wanted.minutes if bench.power else move_facts().power_off.each
        taken.append(found)


def _first(ranked: Sequence[NextReading], refused: set[What], drill: Drill) -> NextReading | None:
    """Return the first reading that this drill's bench can give."""
    alone = level(drill.hidden.level).alone
    for each in ranked:
        lone = alone and each.channel not in ("", drill.hidden.channel)
        # A fault that comes with level has gone when the generator is turned down.
        quiet = drill.hidden.condition == "level" and each.generator is not None
        if what(each) not in refused and not lone and not quiet:
            return each
    return None


def _ended(
    drill: Drill, rig: Rig, bench: Bench, read: tuple[Reading, ...], spent: float, stop: str, parts: tuple[Lifted, ...]
) -> Round:
    """Return a round with what it takes to change the parts it has come down to, until one fault is done away with."""
    still = left(drill.hidden, bench, rig.unit)
    ranks = []
    for fault in drill.hidden.faults:
        bad = [as_lifted(rig.unit, where, each.part) for where, each in still if each in (fault.members or (fault,))]
        if bad and all(each in parts for each in bad):
            ranks.append(1 + max(parts.index(each) for each in bad))
    right = min(ranks, default=0)
    count = right or len(parts)
    if not right and stop == GIVEN_UP:
        count += len({each.part for _, each in still})  # looking further until these are found, too
    switching = move_facts().power_off.enter + acts()["power"].minutes if drill.start else 0.0
    return Round(read, spent, stop, parts, right, switching + count * acts()["replace"].minutes)


def _mended(bench: Bench, rig: Rig, parts: Sequence[Lifted]) -> Bench:
    """Return the bench with new parts in, each in all its sections."""
    first = rig.unit.channels[0].name
    new = [(first if where == "all" else where, name, where) for name, where in parts]
    return replace(bench, replaced=(*bench.replaced, *(
        (channel, part) for channel, name, where in new for part in rig.unit.parts
        if as_lifted(rig.unit, channel, part) == (name, where))))  # fmt: skip
