"""Building a signature table, or opening the one that was built before."""

from __future__ import annotations

import hashlib
from collections.abc import Callable
from contextlib import closing
from dataclasses import replace
from pathlib import Path

from lostgain.circuit import Circuit
from lostgain.engine import Outcome, Pool
from lostgain.faults import Fault, Stray, listing, put_in, put_stray, strays
from lostgain.signatures.draws import deviates, varied
from lostgain.signatures.rows import RowResult, RowTask, empty, run_row
from lostgain.signatures.store import Journal, alone, cannot_keep, folder, key_of
from lostgain.signatures.table import Table, assembled, load, save

Progress = Callable[[int, int], None]

SEED = 20_260
#: Tolerance draws by small-signal analysis, and how many of them are followed in time where that is not confirmed.
DRAWS = 16
SLOW_DRAWS = 3
#: Longest time a row may take [s]; most take a third of a second.
ROW_LIMIT = 30.0


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

    Raises
    ------
    UserError
        If the table cannot be kept where tables are kept.
    """
    faults = tuple(listing(circuit))
    paths = tuple(strays(circuit))
    key = key_of(circuit, [*faults, *paths], seed, draws, slow_draws)
    path = folder() / f"{circuit.unit.name}-{key}.nc"
    found = load(path, circuit, faults, paths, key)
    if found is not None:
        return found
    with alone(path):
        # Another process may have built it while this one waited.
        found = load(path, circuit, faults, paths, key)
        if found is not None:
            return found
        return _built(path, circuit, faults, paths, key, pool, progress, seed, draws, slow_draws)


def _built(
    path: Path,
    circuit: Circuit,
    faults: tuple[Fault, ...],
    paths: tuple[Stray, ...],
    key: str,
    pool: Pool | None,
    progress: Progress | None,
    seed: int,
    draws: int,
    slow_draws: int,
) -> Table:
    """Build a table and keep it."""
    numbers = varied(circuit)
    z = deviates(draws, len(numbers), seed)
    rows: list[tuple[Fault, ...]] = [(), *((fault,) for fault in faults)]
    tasks = [RowTask(circuit, row, numbers, z, slow_draws) for row in rows]
    tasks += [RowTask(circuit, (), numbers, z, slow_draws, stray=path) for path in paths]
    with closing(Journal(path.with_suffix(".partial"), key)) as journal:
        if pool is None:
            with Pool(time_limit=ROW_LIMIT) as own:
                results = _run(tasks, journal, own, progress)
        else:
            results = _run(tasks, journal, pool, progress)
        made = assembled(circuit, faults, results, key, seed, paths)
        try:
            save(made, path)
        except OSError as error:
            raise cannot_keep(path, error) from error
        journal.remove()
    return made


def _run(tasks: list[RowTask], journal: Journal, pool: Pool, progress: Progress | None) -> list[RowResult]:
    """Simulate the rows that are not in the journal; rows whose circuits are the same to the letter only once."""
    twins = _twins(tasks)
    done = journal.done(_nothing(tasks[0]))
    first = sorted(set(twins))
    waiting = [number for number in first if number not in done]
    hung: list[tuple[int, str]] = []
    before = len(first) - len(waiting)
    if 0 in waiting:
        outcome = pool.map(run_row, [tasks[0]])[0]
        done[0] = outcome.value if outcome.error is None else _result(outcome, tasks[0], outcome.error)
        journal.add(0, done[0])
        waiting.remove(0)
        before += 1
    tasks = [replace(task, healthy=done[0]) for task in tasks]
    for count, (index, outcome) in enumerate(pool.imap(run_row, [tasks[number] for number in waiting]), before + 1):
        number = waiting[index]
        if outcome.error is None:
            done[number] = outcome.value
            journal.add(number, done[number])
        else:
            hung.append((number, outcome.error))
        if progress is not None:
            progress(count, len(first))
    # A circuit whose transient never ends still has an operating point, and DC tells most about it.
    again = [replace(tasks[number], in_time=False) for number, _ in hung]
    for index, outcome in pool.imap(run_row, again):
        number, error = hung[index]
        done[number] = _result(outcome, again[index], error)
        journal.add(number, done[number])
    return [done[twin] for twin in twins]


def _twins(tasks: list[RowTask]) -> list[int]:
    """Return, for each row, the first row whose circuit is the same."""
    seen: dict[bytes, int] = {}
    twins = []
    for number, task in enumerate(tasks):
        flat = task.circuit.flat
        for fault in task.faults:
            flat = put_in(flat, fault, task.circuit)
        if task.stray is not None:
            flat = put_stray(flat, task.stray)
        digest = hashlib.sha256("\n".join(sorted(flat.lines())).encode()).digest()
        twins.append(seen.setdefault(digest, number))
    return twins


def _result(outcome: Outcome, task: RowTask, error: str) -> RowResult:
    """Return a row that could not be followed in time, with the reason."""
    if outcome.error is None:
        row: RowResult = outcome.value
    else:
        row = _nothing(task)
    row.status = f"no transient: {error}"
    return row


def _nothing(task: RowTask) -> RowResult:
    return empty(task.circuit, len(task.z) + 1)
