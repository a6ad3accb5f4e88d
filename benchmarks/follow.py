"""Following a policy from reading to reading, until the part is isolated or nothing reachable can change it.

A policy is a function that is given what is known so far and returns the reading to take next. All policies start from
the same readings, may take the same ones, pay the same minutes, and stop by the same rule, so that only the order of
readings differs between them.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

from lostgain.diagnosis.candidates import Candidate, candidates
from lostgain.diagnosis.next_model import Next, NextReading
from lostgain.diagnosis.next_reading import next_reading
from lostgain.faults import Rates, rates
from lostgain.readings import Reading, Readings, instruments
from lostgain.readings.taken import what
from lostgain.signatures import Table

#: Readings after which a walk is given up: its minutes until then count, which flatters it.
MOST = 30


@dataclass(frozen=True)
class State:
    """What is known at one step of a walk.

    Parameters
    ----------
    table : Table
    readings : Readings
        Taken so far, the start included.
    left : tuple of Candidate
        What can be read now, in signal order, with minutes from where the probe is.
    rates : Rates
    """

    table: Table
    readings: Readings
    left: tuple[Candidate, ...]
    rates: Rates

    @cached_property
    def step(self) -> Next:
        """What lostgain says to do next: whether to stop, and the first thing to do."""
        return next_reading(self.table, self.readings, None, self.rates, most=1, others=False)

    @cached_property
    def steps(self) -> Next:
        """The same with everything that could be done, which takes longer."""
        return next_reading(self.table, self.readings, None, self.rates, most=10_000, others=False)


Policy = Callable[[State], Candidate]
Oracle = Callable[[Reading], Reading | None]
Stop = Callable[[State], str]


@dataclass(frozen=True)
class Walk:
    """A walk from the start to where it stopped.

    Parameters
    ----------
    taken : tuple of Reading
        In order, without the start.
    minutes : float
    stop : str
        Why it stopped: as in `Next.stop`; ``all read`` where nothing was left, ``given up`` after `MOST` readings.
    last : State
    """

    taken: tuple[Reading, ...]
    minutes: float
    stop: str
    last: State = field(repr=False)


def isolated(state: State) -> str:
    """Return why a walk may stop, or an empty text: the rule of ``lostgain next``."""
    return state.step.stop


def follow(
    policy: Policy, oracle: Oracle, table: Table, stop: Stop = isolated, start: Sequence[Reading] = (),
    rate_set: str | Rates = "bench",
) -> Walk:  # fmt: skip
    """Follow a policy.

    Parameters
    ----------
    policy : function
        From a State to one of its candidates.
    oracle : function
        From a reading without a value to the reading as the bench gives it; None where it can't be taken.
    table : Table
    stop : function
        From a State to why the walk ends there; empty to go on.
    start : sequence of Reading
        Readings that every policy is given; they cost nothing here. They decide which channel is read.
    rate_set : str or Rates
    """
    chosen = rates(rate_set) if isinstance(rate_set, str) else rate_set
    known = instruments(table.circuit.unit.folder)
    channels = list(dict.fromkeys(row.channel for row in start)) or [table.circuit.unit.channels[0].name]
    readings, refused, taken, minutes = Readings(tuple(start)), set(), [], 0.0  # type: ignore[var-annotated]
    while True:
        left = tuple(each for each in candidates(table, readings, known, channels) if each.reading not in refused)
        state = State(table, readings, left, chosen)
        why = "all read" if not left else stop(state) or ("given up" if len(taken) >= MOST else "")
        if why:
            return Walk(tuple(taken), minutes, why, state)
        picked = policy(state)
        found = oracle(picked.reading)
        if found is None:
            refused.add(picked.reading)
            continue
        minutes += picked.minutes
        taken.append(found)
        readings = replace(readings, rows=(*readings.rows, found))


def by_next(state: State) -> Candidate:
    """The policy of ``lostgain next``: its first reading; the next one where the bench can't give that."""
    found = _first(state, state.step) or _first(state, state.steps)
    return found if found is not None else state.left[0]


def _first(state: State, step: Next) -> Candidate | None:
    for each in step.ranked:
        if isinstance(each, NextReading):
            for one in state.left:
                if _same(one, each):
                    return one
    return None


def _same(one: Candidate, other: NextReading) -> bool:
    return what(one.reading) == what(other)
