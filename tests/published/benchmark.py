"""The state-variable filter's benchmark: its fault list, its table, and independent samples of every fault.

Soft faults are six standard deviations off, hard ones opens and shorts, of each R and C [1]_. Every fault is at one
fixed severity, as the benchmark has it, so that the table holds one row for each.

References
----------
.. [1] Kondagunturi, Bradley, Maggard and Stroud, Proc. IEEE Southeastcon 1999: values and fault lists. From memory, to
   be verified.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace

import numpy as np

from lostgain.circuit import Circuit
from lostgain.engine import Pool, Session
from lostgain.faults import Fault, Rates, put_in
from lostgain.readings.model import Reading, Readings
from lostgain.signatures import Table, follow, steady
from lostgain.signatures.draws import deviates, drawn, varied
from lostgain.signatures.row import RowResult, RowTask
from lostgain.signatures.rows import run_row
from lostgain.signatures.table import assembled

PARTS = ("R1", "R2", "R3", "R4", "R5", "R6", "R7", "C1", "C2")
DRAWS, SLOW_DRAWS = 32, 0
#: How often the steady state is extrapolated, and cycles followed after that; what has not settled by then oscillates
#: or drifts, and is marked unsettled.
TIMES, LAST = 1, 3
#: Error of the samples' voltmeter: shared by all its readings, and of each (one standard deviation).
SCALE, READ = 0.003, 0.003

#: The bench rates say what fails often; the benchmark's faults are all as likely.
EVEN = Rates("benchmark", "benchmark", "every fault as likely as any other", {}, {}, 1.0)


def soft(part: str) -> tuple[Fault, Fault]:
    """The part six standard deviations low, and as much high."""
    off = 6 * (0.05 if part == "C1" else 0.03)
    down, up = ("drift", "wrong") if part.startswith("R") else ("lost", "wrong")
    return Fault(part, down, 1 - off), Fault(part, up, 1 + off)


def hard(part: str) -> tuple[Fault, Fault]:
    """The part open, and shorted."""
    return Fault(part, "open"), Fault(part, "short")


def label(fault: Fault) -> str:
    """How the fault is called here: ``R4 up``, ``C1 short``."""
    if fault.severity is None:
        return f"{fault.part} {fault.mode}"
    return f"{fault.part} {'up' if fault.severity > 1 else 'down'}"


FAULTS = tuple(fault for part in PARTS for fault in (*soft(part), *hard(part)))


def row(session: Session, task: RowTask) -> RowResult:
    """One row by the package's own means, given up after a few cycles: a filter that oscillates never settles.

    Runs in a worker, so that the change of `steady` stays there; each row sets it back.
    """
    whole = steady.TIMES, follow.LAST
    steady.TIMES, follow.LAST = TIMES, LAST
    try:
        return run_row(session, task)
    finally:
        steady.TIMES, follow.LAST = whole


def run(rows: Iterable[RowTask], pool: Pool) -> list[RowResult]:
    """Run rows in the workers."""
    outcomes = pool.map(row, rows)
    assert [outcome.error for outcome in outcomes if outcome.error] == []
    return [outcome.value for outcome in outcomes]


def table(circuit: Circuit, pool: Pool) -> Table:
    """The signature table of the benchmark's faults."""
    numbers = varied(circuit)
    z = deviates(DRAWS, len(numbers), 1)
    tasks = [RowTask(circuit, row, numbers, z, SLOW_DRAWS) for row in [(), *((fault,) for fault in FAULTS)]]
    return assembled(circuit, FAULTS, run(tasks, pool), "benchmark", 1)


def samples(circuit: Circuit, pool: Pool, count: int, seed: int) -> list[tuple[Fault, Readings]]:
    """Readings of independent samples of every fault: other part values than any row of the table."""
    rng = np.random.default_rng(seed)
    numbers = varied(circuit)
    tasks, faults = [], []
    for fault in FAULTS:
        for _ in range(count):
            z = np.clip(rng.standard_normal(len(numbers)), -3, 3)
            flat = put_in(drawn(circuit.flat, numbers, z), fault, circuit)
            tasks.append(RowTask(replace(circuit, flat=flat), (), [], np.zeros((0, 0)), 0))
            faults.append(fault)
    return [(fault, _readings(circuit, result, rng)) for fault, result in zip(faults, run(tasks, pool), strict=True)]


def _readings(circuit: Circuit, result: RowResult, rng: np.random.Generator) -> Readings:
    scale = 1 + SCALE * rng.standard_normal()
    rows = []
    for number, point in enumerate(circuit.points):
        dc = float(result.dc[0, number]) * scale * (1 + READ * rng.standard_normal())
        rows.append(Reading(point, "dc", "main", dc, instrument="dmm-trms"))
        for index, frequency in enumerate(circuit.unit.setup.frequencies):
            level = float(result.level[0, number, index]) * scale * (1 + READ * rng.standard_normal())
            rows.append(Reading(point, "level", "main", max(level, 0.0), frequency=frequency, instrument="dmm-trms"))
    return Readings(tuple(rows))
