"""Readings of simulated repairs at further levels of the generator, for what is followed from reading to reading."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from benchmarks.cases import Case, Progress, meters, simulated
from benchmarks.process import normal, process
from lostgain.circuit import Circuit
from lostgain.engine import Pool
from lostgain.readings import Reading, Readings


def at_levels(
    circuit: Circuit, cases: Sequence[Case], pool: Pool, progress: Progress | None = None
) -> list[list[Reading]]:
    """Return, for each case, the level at every point in reach with the generator at each further level of the set-up.

    The generator is set anew for them, with an error of its own; the instruments are those of the first sheet.

    Parameters
    ----------
    circuit : Circuit
    cases : sequence of Case
        Simulated at the set-up's own level.
    pool : Pool
    progress : callable or None
    """
    setup = circuit.unit.setup
    again = [_driven(case, level / setup.generator, setup.frequencies[0]) for case in cases for level in setup.levels]
    simulated(again, circuit, pool, progress)
    found: list[list[Reading]] = []
    for number, case in enumerate(cases):
        mine = again[number * len(setup.levels) : (number + 1) * len(setup.levels)]
        pairs = zip(setup.levels, mine, strict=True)
        found.append([row for level, driven in pairs for row in _read(circuit, case, driven, level)])
    return found


def more(sheet: Readings, rows: Sequence[Reading]) -> Readings:
    """Return a sheet with further readings."""
    return replace(sheet, rows=(*sheet.rows, *rows))


def _driven(case: Case, ratio: float, frequency: float) -> Case:
    rng = np.random.default_rng([*case.seed, 7927])
    off = 10 ** (process()["setting"]["generator_step_db"] * normal(rng) / 20)
    return Case(case.truth, case.seed, replace(case.job, drive=case.job.drive * ratio * off, frequencies=(frequency,)))


def _read(circuit: Circuit, case: Case, driven: Case, level: float) -> list[Reading]:
    unit, carried = circuit.unit, driven.carried
    meter = meters(circuit, case)[unit.setup.instrument]
    meter.rng = np.random.default_rng([*case.seed, 7933])  # the errors of single readings are others than the sheet's
    reach = {point.name for point in unit.points if point.reach}
    rows = []
    for row, point in enumerate(circuit.points):
        if carried is not None and point in reach and np.isfinite(carried.level[row, 0]):
            rms, swing = float(carried.level[row, 0]), float(carried.swing[row, 0])
            reading = meter.level(point, unit.channels[0].name, unit.setup.frequencies[0], rms, swing)
            rows.append(replace(reading, generator=level))
    return rows
