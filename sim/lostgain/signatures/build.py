"""Building a signature table, or opening the one that was built before."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterator, Sequence
from concurrent.futures import Executor
from contextlib import closing, contextmanager
from dataclasses import dataclass, replace
from functools import cached_property
from pathlib import Path
from typing import Any

from lostgain.circuit import Circuit
from lostgain.engine import Pool
from lostgain.faults import Fault, Stray, listing, strays
from lostgain.problems import Problem, UserError, Where
from lostgain.signatures.bends import refined
from lostgain.signatures.controls import Turn, turns
from lostgain.signatures.draws import deviates, varied
from lostgain.signatures.file import TABLES, load, open_table, save, tidy, used
from lostgain.signatures.kept import Kept
from lostgain.signatures.lower import lowered
from lostgain.signatures.row import RowResult, RowTask
from lostgain.signatures.simulate import Row, simulated
from lostgain.signatures.store import alone, cannot_keep, folder, key_of, made_of, named_digests
from lostgain.signatures.table import Table, assembled, joined

Progress = Callable[[int, int], None]

SEED = 20_260
#: Tolerance draws by small-signal analysis, and how many of them are followed in time where that is not confirmed.
DRAWS = 16
SLOW_DRAWS = 16
#: The first so many frequencies are simulated together; each further one by itself, so that adding one repeats none.
TOGETHER = 3


def table(
    circuit: Circuit,
    pool: Pool | Executor | None = None,
    progress: Progress | None = None,
    seed: int = SEED,
    draws: int = DRAWS,
    slow_draws: int = SLOW_DRAWS,
) -> Table:
    """Build a unit's signature table, or open it.

    Parameters
    ----------
    circuit : Circuit
    pool : Pool, concurrent.futures.Executor or None
        Who simulates: workers that are there already, or an executor whose threads or processes then each look after a
        worker; workers of this computer are started if None.
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
        If the table cannot be kept where tables are kept, or what simulates it is gone.
    """
    wanted = _Wanted(circuit, seed, draws, slow_draws)
    found = wanted.opened()
    if found is not None:
        return found
    with alone(wanted.path):
        # Another process may have built it while this one waited.
        return wanted.opened() or wanted.built(pool, progress)


def table_from(path: Path | str, circuit: Circuit) -> Table:
    """Open a signature table that `write_table` wrote, perhaps on another computer.

    Parameters
    ----------
    path : path
    circuit : Circuit

    Returns
    -------
    Table
        Its `remarks` say in what it differs from the one that would be built here.

    Raises
    ------
    UserError
        If it is no table, damaged, or not of this unit as it is described now.
    """
    wanted = _Wanted(circuit, SEED, DRAWS, SLOW_DRAWS)
    return open_table(Path(path), circuit, wanted.faults, wanted.strays, named_digests(wanted.content))


def write_table(table: Table, path: Path | str) -> None:
    """Write a signature table to a file, whole or not at all.

    Raises
    ------
    UserError
        If it cannot be written there.
    """
    try:
        save(table, Path(path))
    except OSError as error:
        raise UserError(Problem(f"cannot be written: {error.strerror or error}.", Where(Path(path)))) from error


def by_drive(circuit: Circuit) -> list[Circuit]:
    """Return what a table is put together from: the circuit with the first frequencies of its set-up, with each further
    one by itself, and with each further level of the generator.
    """
    setup = circuit.unit.setup
    every = setup.frequencies
    parts = [(setup.generator, every[:TOGETHER]), *((setup.generator, (each,)) for each in every[TOGETHER:])]
    parts += [(each, every[:1]) for each in setup.levels]
    return [
        replace(circuit, unit=replace(circuit.unit, setup=replace(setup, generator=level, frequencies=some, levels=())))
        for level, some in parts
    ]


@dataclass(frozen=True)
class _Wanted:
    """A table that is wanted: its rows, what it is made of, and where it is kept."""

    circuit: Circuit
    seed: int
    draws: int
    slow_draws: int

    @cached_property
    def faults(self) -> tuple[Fault, ...]:
        """Those of the catalogue: the table has more where a signature bends."""
        return tuple(listing(self.circuit))

    @cached_property
    def strays(self) -> tuple[Stray, ...]:
        return tuple(strays(self.circuit))

    @cached_property
    def turns(self) -> list[Turn]:
        return turns(self.circuit)

    @cached_property
    def content(self) -> dict[str, Any]:
        return made_of(self.circuit, [*self.faults, *self.strays, *self.turns], self.seed, self.draws, self.slow_draws)

    @cached_property
    def path(self) -> Path:
        return folder() / f"{self.circuit.unit.name}-{key_of(self.content)}.nc"

    def opened(self) -> Table | None:
        found = load(self.path, self.circuit, self.faults, self.strays, key_of(self.content))
        if found is not None:
            used(self.path)
        return found

    def built(self, pool: Pool | Executor | None, progress: Progress | None) -> Table:
        """Build the table and keep it."""
        numbers = varied(self.circuit)
        z = deviates(self.draws, len(numbers), self.seed)
        tasks = [RowTask(each, (), numbers, z, self.slow_draws) for each in by_drive(self.circuit)]
        made = []
        own: list[RowResult] = []
        with closing(Kept(self.path.with_name("rows.db"))) as kept, _workers(pool) as workers:
            faults = refined(self.circuit, self.faults, workers)
            rows: list[Row] = [((), None, True), *(((fault,), None, True) for fault in faults)]
            rows += [((), path, True) for path in self.strays]
            rows += [((), turn, True) for turn in self.turns]
            for number, task in enumerate(tasks):
                content = made_of(task.circuit, (), self.seed, self.draws, self.slow_draws)
                known = _known(own, tasks[0].circuit, task.circuit) or [None] * len(rows)
                waiting = [row for row, found in zip(rows, known, strict=True) if found is None]
                told = _told(progress, number, len(tasks), len(rows) - len(waiting))
                new = iter(simulated(task, waiting, content, kept, workers, told))
                results = [next(new) if found is None else found for found in known]
                own = own or results
                key = key_of(self.content)
                made.append(assembled(task.circuit, faults, results, key, self.seed, self.strays, self.turns))
            whole = joined(made, self.circuit)
            whole.data.attrs["made_of"] = json.dumps(named_digests(self.content))
            try:
                save(whole, self.path)
            except OSError as error:
                raise cannot_keep(self.path, error) from error
            kept.trim()
        tidy(self.path, TABLES)
        return whole


def _known(own: Sequence[RowResult], higher: Circuit, lower: Circuit) -> list[RowResult | None]:
    """Return the rows of a further part of a table that follow from the first part's; the healthy unit's never does."""
    return [None, *(lowered(each, higher, lower) for each in own[1:])] if own else []


def _told(progress: Progress | None, part: int, parts: int, known: int) -> Progress | None:
    """Return what takes how far one of several equal parts is, and tells how far the whole is.

    Rows that are known without a simulation count as done.
    """
    if progress is None:
        return None
    return lambda done, total: progress(part * (total + known) + known + done, parts * (total + known))


@contextmanager
def _workers(pool: Pool | Executor | None) -> Iterator[Pool]:
    """Return a pool that is running: the one given, one that hands work to the executor given, or one of our own."""
    if isinstance(pool, Pool):
        yield pool
        return
    with Pool(executor=pool) as own:
        yield own
