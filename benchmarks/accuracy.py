"""``scripts/bench accuracy``: how good the diagnosis is on simulated repairs."""

from __future__ import annotations

import json
import sys
import time
from pathlib import Path

import numpy as np

from benchmarks.answers import Answer, of_verdict
from benchmarks.cases import sheet
from benchmarks.good_channel import both
from benchmarks.isolate import isolate
from benchmarks.levels import more
from benchmarks.optimum import beside as optimum
from benchmarks.optimum import small
from benchmarks.outcomes import Outcomes, outcomes, read, write
from benchmarks.process import process
from benchmarks.references import HEALTHY, Reference, features
from benchmarks.repairs import Plan, Say, counted, repairs
from benchmarks.score import FAILED, Scored, scores
from benchmarks.text import table_text
from benchmarks.times import match_ms, next_ms
from benchmarks.workers import spread
from lostgain.circuit import build
from lostgain.diagnosis import match
from lostgain.readings import Readings
from lostgain.signatures import Table, table
from lostgain.unit import find_units, open_unit

REFERENCES = ("gaussian", "extra-trees", "neighbours")


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
    signature = table(circuit, progress=counted(say, f"{name}: signature table"))
    made = repairs(circuit, plan, say)
    sheets = [sheet(circuit, case) for case in made.cases]
    ours = spread(_answer, signature, sheets, plan.workers, counted(say, f"{name}: matched"), 2)
    truths = [case.truth for case in made.cases]
    alone = {case.seed: answer for case, answer in zip(made.cases, ours, strict=True) if case.truth.kind == "fault"}
    together = spread(_answer, signature, [both(circuit, *pair) for pair in made.beside], plan.workers,
                      counted(say, f"{name}: matched with a good channel"))  # fmt: skip
    faults = [(case.truth, more(sheet(circuit, case), rows)) for case, rows in made.hunted]
    followed = spread(isolate, signature, faults, plan.workers, counted(say, f"{name}: followed to the fault"))
    searched = spread(optimum, signature, faults if small(circuit) else [], plan.workers,
                      counted(say, f"{name}: searched completely"))  # fmt: skip
    references: dict[str, list[Answer]] = {}
    halves: dict[str, list[Answer]] = {}
    if (train := made.train) is not None:
        stages = {fault.part: fault.stage for fault in made.prior.modes}
        fill = np.median(train.x[train.part == HEALTHY], axis=0)
        x = np.array([features(circuit, readings.rows, fill) for readings in sheets])
        half = train.at(train.circuit % 2 == 0)
        for kind in REFERENCES:
            say(f"{name}: training reference {kind} on {len(train.x)} samples")
            references[kind] = Reference(kind, train, stages).answers(x)
            halves[kind] = Reference(kind, half, stages).answers(x)
    return Scored(
        name, truths, ours, references, halves, made.lost, match_ms(signature, sheets), signature.key,
        next_ms(signature, sheets), followed, searched,
        [(one.truth, answer, alone[one.seed]) for (one, _), answer in zip(made.beside, together, strict=True)],
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
