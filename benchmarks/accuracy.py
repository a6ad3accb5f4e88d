"""``scripts/bench accuracy``: how good the diagnosis is on simulated repairs."""

from __future__ import annotations

import json
import sys
import time
from collections.abc import Callable
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from benchmarks.answers import Answer, of_verdict
from benchmarks.cases import LIMIT, make, sheet, simulated
from benchmarks.good_channel import both, chosen, good_of
from benchmarks.isolate import isolate
from benchmarks.levels import at_levels, more
from benchmarks.optimum import beside as optimum
from benchmarks.optimum import small
from benchmarks.outcomes import Outcomes, outcomes, read, write
from benchmarks.process import process
from benchmarks.references import HEALTHY, Reference, features
from benchmarks.score import FAILED, Scored, scores
from benchmarks.text import table_text
from benchmarks.times import match_ms, next_ms
from benchmarks.training import samples
from benchmarks.truth import Prior
from benchmarks.workers import spread
from lostgain.circuit import build
from lostgain.diagnosis import match
from lostgain.engine import Pool
from lostgain.readings import Readings
from lostgain.signatures import Table, table
from lostgain.unit import find_units, open_unit

Say = Callable[[str], None]

#: Faulty cases a unit; healthy ones and outsiders beside them; circuits of each mode the references are trained on;
#: faulty cases that are followed from reading to reading.
FULL = {"cases": 670, "healthy": 201, "outsiders": 134, "each": 8, "follow": 20}
QUICK = {"cases": 120, "healthy": 60, "outsiders": 40, "each": 4, "follow": 20}
REFERENCES = ("gaussian", "extra-trees", "neighbours")


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


def accuracy(units: list[str], plan: Plan, file: Path, say: Say, folder: Path | None = None) -> dict[str, object]:
    """Run the benchmark and write its figures.

    Parameters
    ----------
    units : list of str
        Names of shipped units; all of them if empty.
    plan : Plan
    file : Path
        Where the figures go, as JSON.
    say : callable
        Takes progress, a line at a time.
    folder : Path or None
        Where each unit's outcomes are kept as soon as it is done, to be counted together with others by `together`.
    """
    done = []
    for name in units or [unit.name for unit in find_units(None)]:
        done.append(outcomes(one_unit(name, plan, say), vars(plan)))
        if folder is not None:
            say(f"{name}: outcomes kept in {write(done[-1], folder)}")
    return _count(done, file, say)


def together(folder: Path, file: Path, say: Say) -> dict[str, object]:
    """Write the figures of all units whose outcomes are in a folder.

    Raises
    ------
    UserError
        As `benchmarks.outcomes.read`.
    """
    found = read(folder)
    if len({each.code for each in found}) > 1:
        say("These outcomes are of different code: " + ", ".join(f"{each.scored.unit} {each.code}" for each in found))
    return _count(found, file, say)


def _count(done: list[Outcomes], file: Path, say: Say) -> dict[str, object]:
    """Write and print the figures of each unit and over all."""
    found: dict[str, object] = {"units": {each.scored.unit: scores([each.scored]) for each in done}}
    found["over_all"] = scores([each.scored for each in done])
    record = {
        "made_by": "scripts/bench accuracy",
        "plans": {each.scored.unit: each.plan for each in done},
        "process": process(),
        "code": {each.scored.unit: each.code for each in done},
        "tables": {each.scored.unit: each.scored.table for each in done},
        **{key: _plain(value) for key, value in found.items()},
    }
    file.write_text(json.dumps(record, indent=1), encoding="utf-8")
    print(table_text(found))
    say(f"Figures written to {file}.")
    return found


def _plain(value: object) -> object:
    if isinstance(value, dict):
        return {key: _plain(each) for key, each in value.items()}
    return value.record() if hasattr(value, "record") else value


def one_unit(name: str, plan: Plan, say: Say) -> Scored:
    """Simulate, match and train for one unit."""
    circuit = build(open_unit(name))
    prior = Prior(circuit)
    with Pool(workers=plan.workers, time_limit=LIMIT) as pool:
        signature = table(circuit, progress=_counted(say, f"{name}: signature table"))
        cases = [
            make(prior, kind, (plan.seed, number))
            for kind, many in (("fault", plan.cases), ("healthy", plan.healthy), ("outsider", plan.outsiders))
            for number in range(many)
        ]
        simulated(cases, circuit, pool, _counted(say, f"{name}: simulated repairs"))
        beside = chosen(circuit, cases)
        good = [good_of(prior, case) for case in beside]
        simulated(good, circuit, pool, _counted(say, f"{name}: good channels"))
        usable = [case for case in cases if case.usable]
        hunted = [case for case in usable if case.truth.kind == "fault"][: plan.follow]
        levels = at_levels(circuit, hunted, pool, _counted(say, f"{name}: further generator levels"))
        sheets = [sheet(circuit, case) for case in usable]
        train = samples(prior, plan.seed, plan.each, max(20, 8 * plan.each), pool,
                        _counted(say, f"{name}: samples for the references")) if plan.each else None  # fmt: skip
    ours = spread(_answer, signature, sheets, plan.workers, _counted(say, f"{name}: matched"), 2)
    truths = [case.truth for case in usable]
    alone = {case.seed: answer for case, answer in zip(usable, ours, strict=True) if case.truth.kind == "fault"}
    pairs = [(one, other) for one, other in zip(beside, good, strict=True) if other.usable]
    together = spread(_answer, signature, [both(circuit, *pair) for pair in pairs], plan.workers,
                      _counted(say, f"{name}: matched with a good channel"))  # fmt: skip
    faults = [(case.truth, more(sheet(circuit, case), rows)) for case, rows in zip(hunted, levels, strict=True)]
    followed = spread(isolate, signature, faults, plan.workers, _counted(say, f"{name}: followed to the fault"))
    searched = spread(optimum, signature, faults if small(circuit) else [], plan.workers,
                      _counted(say, f"{name}: searched completely"))  # fmt: skip
    references: dict[str, list[Answer]] = {}
    halves: dict[str, list[Answer]] = {}
    if train is not None:
        stages = {fault.part: fault.stage for fault in prior.modes}
        fill = np.median(train.x[train.part == HEALTHY], axis=0)
        x = np.array([features(circuit, readings.rows, fill) for readings in sheets])
        half = train.at(train.circuit % 2 == 0)
        for kind in REFERENCES:
            say(f"{name}: training reference {kind} on {len(train.x)} samples")
            references[kind] = Reference(kind, train, stages).answers(x)
            halves[kind] = Reference(kind, half, stages).answers(x)
    return Scored(
        name, truths, ours, references, halves, len(cases) - len(usable), match_ms(signature, sheets), signature.key,
        next_ms(signature, sheets), followed, searched,
        [(one.truth, answer, alone[one.seed]) for (one, _), answer in zip(pairs, together, strict=True)],
    )  # fmt: skip


def _answer(signature: Table, readings: Readings) -> Answer:
    """Match; a mistake of lostgain's own counts as a wrong answer and is told, and the run goes on."""
    start = time.perf_counter()
    try:
        verdict = match(signature, readings)
    except Exception as error:
        print(f"match failed on {readings.path}: {error!r}", file=sys.stderr, flush=True)
        return Answer({FAILED: 1.0}, {FAILED: 1.0}, 0.0)
    return of_verdict(verdict, time.perf_counter() - start)


def _counted(say: Say, what: str) -> Callable[[int, int], None]:
    """Return a progress that says how far it is every few seconds, and at the end."""
    last = [0.0]

    def progress(done: int, total: int) -> None:
        if time.monotonic() - last[0] > 5 or done == total:
            last[0] = time.monotonic()
            say(f"{what}: {done} of {total}")

    return progress
