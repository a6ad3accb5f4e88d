"""Building a signature table, or opening the one that was built before."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from contextlib import closing

import numpy as np

from lostgain.circuit import Circuit
from lostgain.engine import Outcome, Pool
from lostgain.faults import Fault, listing, put_in
from lostgain.signatures.draws import deviates, varied
from lostgain.signatures.rows import RowResult, RowTask, empty, run_row
from lostgain.signatures.store import Journal, folder, key_of
from lostgain.signatures.table import Table, assembled, load, save

Progress = Callable[[int, int], None]

SEED = 20_260
#: Tolerance draws by small-signal analysis, and how many of them are followed in time where that is not confirmed.
DRAWS = 32
SLOW_DRAWS = 3


def table(
    circuit: Circuit,
    pool: Pool | None = None,
    progress: Progress | None = None,
    seed: int = SEED,
    draws: int = DRAWS,
    slow_draws: int = SLOW_DRAWS,
) -> Table:
    """Build a unit's signature table, or open it.

    Parameters
    ----------
    circuit : Circuit
    pool : Pool or None
        Workers to use; started if needed.
    progress : callable or None
        Called with rows done and rows in all, when there is something to simulate.
    seed, draws, slow_draws : int
        Tolerance draws: their seed and number, and how many are followed in time where small-signal analysis is not
        confirmed.

    Returns
    -------
    Table
    """
    faults = tuple(listing(circuit))
    key = key_of(circuit, list(faults), seed, draws, slow_draws)
    path = folder() / f"{circuit.unit.name}-{key}.nc"
    found = load(path, circuit, faults, key)
    if found is not None:
        return found
    numbers = varied(circuit)
    z = deviates(draws, len(numbers), seed)
    rows: list[tuple[Fault, ...]] = [(), *((fault,) for fault in faults)]
    tasks = [RowTask(circuit, row, numbers, z, slow_draws) for row in rows]
    with closing(Journal(path.with_suffix(".partial"))) as journal:
        if pool is None:
            with Pool() as own:
                results = _run(tasks, journal, own, progress)
        else:
            results = _run(tasks, journal, pool, progress)
        made = assembled(circuit, faults, results, key, seed)
        save(made, path)
        journal.remove()
    return made


def _run(tasks: list[RowTask], journal: Journal, pool: Pool, progress: Progress | None) -> list[RowResult]:
    """Simulate the rows that are not in the journal; rows whose circuits are the same to the letter only once."""
    twins = _twins(tasks)
    done = journal.done()
    first = sorted(set(twins))
    waiting = [number for number in first if number not in done]
    for count, (index, outcome) in enumerate(pool.imap(run_row, [tasks[number] for number in waiting]), 1):
        number = waiting[index]
        done[number] = _result(outcome, tasks[number])
        journal.add(number, done[number])
        if progress is not None:
            progress(len(first) - len(waiting) + count, len(first))
    return [done[twin] for twin in twins]


def _twins(tasks: list[RowTask]) -> list[int]:
    """Return, for each row, the first row whose circuit is the same."""
    seen: dict[bytes, int] = {}
    twins = []
    for number, task in enumerate(tasks):
        flat = task.circuit.flat
        for fault in task.faults:
            flat = put_in(flat, fault, task.circuit)
        digest = hashlib.sha256("\n".join(sorted(flat.lines())).encode()).digest()
        twins.append(seen.setdefault(digest, number))
    return twins


def _result(outcome: Outcome, task: RowTask) -> RowResult:
    if outcome.error is None:
        row: RowResult = outcome.value
        return row
    points, frequencies = len(task.circuit.points), len(task.circuit.unit.setup.frequencies)
    row = empty(len(task.z) + 1, points, frequencies)
    row.status = outcome.error
    row.small_signal = np.zeros(frequencies, dtype=bool)
    return row
