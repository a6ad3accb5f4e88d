"""One worker beside two on the same rows."""

from __future__ import annotations

import time
from dataclasses import replace

from benchmarks.speed_part import Part
from lostgain.engine import Pool
from lostgain.signatures.row import RowTask
from lostgain.signatures.rows import run_row


def core_scaling(part: Part, repeats: int) -> dict[str, float]:
    """Return the time of one worker over that of two, the shortest of several turns each.

    Parameters
    ----------
    part : Part
    repeats : int
        Turns of each, one after the other: another job on the machine spoils single turns only.
    """
    times: dict[int, list[float]] = {1: [], 2: []}
    with Pool(workers=1, time_limit=600) as one, Pool(workers=2, time_limit=600) as two:
        healthy = one.map(run_row, [part.healthy])[0].value
        rows: list[RowTask] = [replace(task, healthy=healthy) for task in (*part.faults, *part.strays)]
        two.map(run_row, rows[:4])  # both of its workers are up
        for _ in range(repeats):
            for pool in (one, two):
                begin = time.perf_counter()
                pool.map(run_row, rows)
                times[pool.workers].append(time.perf_counter() - begin)
    return {"core_scaling": min(times[1]) / min(times[2]), "one_s": min(times[1]), "two_s": min(times[2])}
