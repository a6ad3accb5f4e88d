"""All simulated repairs of a unit: the cases, good channels beside them, and what the references learn from."""

from __future__ import annotations

import time
from collections.abc import Callable
from dataclasses import dataclass

from benchmarks.cases import LIMIT, Case, make, simulated
from benchmarks.good_channel import chosen, good_of
from benchmarks.kept import store
from benchmarks.levels import at_levels
from benchmarks.references import Samples
from benchmarks.training import samples
from benchmarks.truth import Prior
from lostgain.circuit import Circuit, build
from lostgain.engine import Pool
from lostgain.readings import Reading
from lostgain.unit import find_units, open_unit

Say = Callable[[str], None]

#: Faulty cases a unit; healthy ones and outsiders beside them; circuits of each mode the references are trained on;
#: faulty cases that are followed from reading to reading.
FULL = {"cases": 670, "healthy": 201, "outsiders": 134, "each": 8, "follow": 20}
QUICK = {"cases": 120, "healthy": 60, "outsiders": 40, "each": 4, "follow": 20}


@dataclass(frozen=True)
class Plan:
    """How much is simulated, a unit.

    Parameters
    ----------
    cases, healthy, outsiders : int
    each : int
        Circuits of each mode for the references; 0 for no references.
    follow : int
        Faulty cases that are followed from reading to reading.
    seed : int
    workers : int
    """

    cases: int
    healthy: int
    outsiders: int
    each: int
    follow: int = 0
    seed: int = 1
    workers: int = 2


@dataclass(frozen=True)
class Repairs:
    """A unit's repairs, simulated.

    Parameters
    ----------
    prior : Prior
        What is stated of its faults.
    cases : list of Case
        Those that can be read.
    lost : int
        How many could not be simulated.
    beside : list of (Case, Case)
        Faulty cases, each with the good channel beside it.
    hunted : list of (Case, list of Reading)
        Faulty cases that are followed from reading to reading, with their readings at further generator levels.
    train : Samples or None
        What the references learn from.
    """

    prior: Prior
    cases: list[Case]
    lost: int
    beside: list[tuple[Case, Case]]
    hunted: list[tuple[Case, list[Reading]]]
    train: Samples | None


def repairs(circuit: Circuit, plan: Plan, say: Say) -> Repairs:
    """Simulate a unit's repairs, or find them simulated.

    Parameters
    ----------
    circuit : Circuit
    plan : Plan
    say : callable
        Takes progress, a line at a time.
    """
    name, prior = circuit.unit.name, Prior(circuit)
    cases = [
        make(prior, kind, (plan.seed, number))
        for kind, many in (("fault", plan.cases), ("healthy", plan.healthy), ("outsider", plan.outsiders))
        for number in range(many)
    ]
    with Pool(workers=plan.workers, time_limit=LIMIT, tries=1) as pool:
        simulated(cases, circuit, pool, counted(say, f"{name}: simulated repairs"))
        usable = [case for case in cases if case.usable]
        faulty = chosen(circuit, cases)
        good = [good_of(prior, case) for case in faulty]
        simulated(good, circuit, pool, counted(say, f"{name}: good channels"))
        hunted = [case for case in usable if case.truth.kind == "fault"][: plan.follow]
        levels = at_levels(circuit, hunted, pool, counted(say, f"{name}: further generator levels"))
        telling = counted(say, f"{name}: samples for the references")
        train = samples(prior, plan.seed, plan.each, max(20, 8 * plan.each), pool, telling) if plan.each else None
    beside = [(one, other) for one, other in zip(faulty, good, strict=True) if other.usable]
    return Repairs(prior, usable, len(cases) - len(usable), beside, list(zip(hunted, levels, strict=True)), train)


def stored(units: list[str], plan: Plan, say: Say) -> None:
    """Simulate units' repairs, as far as they are not yet, and put them beside the code.

    Parameters
    ----------
    units : list of str
        Names of shipped units; all of them if empty.
    plan : Plan
    say : callable
        Takes progress, a line at a time.

    Raises
    ------
    UserError
        There is no such unit, or what is beside the code already can't be read.
    """
    for name in units or [unit.name for unit in find_units(None)]:
        circuit = build(open_unit(name))
        repairs(circuit, plan, say)
        file, many = store(circuit)
        say(f"{name}: {many} simulated circuits in {file}")


def counted(say: Say, what: str) -> Callable[[int, int], None]:
    """Return a progress that says how far it is every few seconds, and at the end."""
    last = [0.0]

    def progress(done: int, total: int) -> None:
        if time.monotonic() - last[0] > 5 or done == total:
            last[0] = time.monotonic()
            say(f"{what}: {done} of {total}")

    return progress
