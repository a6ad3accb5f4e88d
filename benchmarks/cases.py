"""Simulated repairs: drawn, followed in workers, and kept by content, so that none is simulated twice."""

from __future__ import annotations

import hashlib
import json
import os
import pickle
import sqlite3
from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import numpy as np
import platformdirs

from benchmarks.broken import break_, bridge, off
from benchmarks.meters import Meter, first_sheet, on_bench
from benchmarks.parts import Bench, bench, built
from benchmarks.process import process
from benchmarks.simulate import Carried, Job, job, nothing
from benchmarks.truth import Prior, Truth
from benchmarks.waited import carried
from lostgain.circuit import Circuit, FlatCircuit
from lostgain.engine import Outcome, Pool
from lostgain.readings import Reading, Readings

Progress = Callable[[int, int], None]

#: Raised whenever the same netlist would give other numbers than before, or more of them.
METHOD = 3
#: Longest time one simulated channel may take [s].
LIMIT = 180.0
#: What the pool says of a circuit that took it each time.
TOO_LONG = "took longer than"
#: A DC voltage above this is none of an audio unit's [V].
HIGHEST = 1000.0
KINDS = ("fault", "healthy", "outsider")


@dataclass
class Case:
    """One simulated repair.

    Parameters
    ----------
    truth : Truth
    seed : tuple of int
        Everything about the case follows from it.
    job : Job
    carried : Carried or None
        What the faulty channel carries, once simulated.
    weight : float
        Probability it stands for, where cases were not drawn in the prior's proportions.
    """

    truth: Truth
    seed: tuple[int, ...]
    job: Job
    carried: Carried | None = None
    weight: float = 1.0

    @property
    def usable(self) -> bool:
        """Whether the simulation gave an operating point that can be, and at least one level."""
        found = self.carried
        if found is None or not np.isfinite(found.level).any():
            return False
        # Current sources in an op-amp's model may lift a floating node to any height.
        return bool((np.abs(found.dc) < HIGHEST).all())


def make(prior: Prior, kind: str, seed: tuple[int, ...], mode: int | None = None, in_time: bool = True) -> Case:
    """Draw one case.

    Parameters
    ----------
    prior : Prior
    kind : str
        One of `KINDS`.
    seed : tuple of int
    mode : int or None
        Which of ``prior.modes``, for a fault; drawn from the prior if None.
    in_time : bool
        False for small-signal analysis alone.
    """
    circuit = prior.circuit
    truth, shared, rng = begun(prior, kind, seed, mode)
    flat = wrong(built(circuit, shared, rng), truth, circuit, rng)
    return Case(truth, seed, job(circuit, flat, shared.generator, process()["simulation"], in_time))


def begun(
    prior: Prior, kind: str, seed: tuple[int, ...], mode: int | None = None
) -> tuple[Truth, Bench, np.random.Generator]:
    """Draw what is wrong, and the bench; the generator is where the faulty channel's own parts are drawn next."""
    rng = np.random.default_rng([KINDS.index(kind), *seed])
    truth = {"fault": lambda: prior.fault(rng, mode), "healthy": lambda: Truth("healthy", says="healthy"),
             "outsider": lambda: prior.outsider(rng)}[kind]()  # fmt: skip
    return truth, bench(prior.circuit, rng), rng


def wrong(flat: FlatCircuit, truth: Truth, circuit: Circuit, rng: np.random.Generator) -> FlatCircuit:
    """Return the unit with what is wrong with it."""
    if truth.fault is not None:
        return break_(flat, truth.fault, circuit, rng)
    for one, other, number in truth.outside:
        flat = bridge(flat, one, other, number) if other else off(flat, circuit.parts[one], number)
    return flat


def sheet(circuit: Circuit, case: Case, draw: int = 0) -> Readings:
    """Return the first sheet of readings of a simulated case.

    Parameters
    ----------
    circuit : Circuit
    case : Case
    draw : int
        Other instruments read the same circuit in each draw.
    """
    assert case.carried is not None
    channel = circuit.unit.channels[0].name
    rows: Sequence[Reading] = first_sheet(circuit, case.carried, channel, meters(circuit, case, draw))
    return Readings(tuple(rows), path=Path(f"case {case.seed}"))


def meters(circuit: Circuit, case: Case, draw: int = 0) -> dict[str, Meter]:
    """Return the instruments that a case is read with."""
    return on_bench(circuit, np.random.default_rng([*case.seed, 7919, draw]))


class Kept:
    """Simulations done before, by the content of what was simulated.

    Parameters
    ----------
    path : Path
        An SQLite file; made if it is not there.
    """

    def __init__(self, path: Path) -> None:
        path.parent.mkdir(parents=True, exist_ok=True)
        self._base = sqlite3.connect(path, timeout=60)
        self._base.execute("create table if not exists carried (key text primary key, found blob)")

    def get(self, key: str) -> Carried | None:
        """Return a simulation, or None."""
        row = self._base.execute("select found from carried where key = ?", (key,)).fetchone()
        return None if row is None else Carried(**pickle.loads(row[0]))

    def add(self, key: str, found: Carried) -> None:
        """Keep a simulation."""
        with self._base:
            self._base.execute("insert or replace into carried values (?, ?)", (key, pickle.dumps(vars(found))))

    def close(self) -> None:
        """Close the file."""
        self._base.close()


def folder() -> Path:
    """Return where simulations are kept: ``LOSTGAIN_BENCH_CACHE``, or beside the signature tables."""
    named = os.environ.get("LOSTGAIN_BENCH_CACHE")
    return Path(named) if named else Path(platformdirs.user_cache_dir("lostgain", appauthor=False)) / "bench"


def key_of(version: int, task: Job) -> str:
    """Return the identifier of a simulation: a digest of all that its numbers come from."""
    return hashlib.sha256(json.dumps([METHOD, version, vars(task)]).encode()).hexdigest()[:24]


def simulated(cases: Sequence[Case], version: int, pool: Pool, progress: Progress | None = None) -> None:
    """Fill in what each case carries. What is done is kept at once, so that a stopped run goes on where it was."""
    with closing(Kept(folder() / "carried.sqlite")) as kept:
        keys = [key_of(version, case.job) for case in cases]
        for case, key in zip(cases, keys, strict=True):
            case.carried = kept.get(key)
        waiting = [number for number, case in enumerate(cases) if case.carried is None]
        for count, (number, outcome) in enumerate(_followed(cases, waiting, pool), len(cases) - len(waiting) + 1):
            if outcome.error is None:
                cases[number].carried = outcome.value
                kept.add(keys[number], outcome.value)
            else:
                cases[number].carried = lost = nothing(cases[number].job, outcome.error)
                # Three times too long is what the next run would find, too; a worker may be lost for no fault of the
                # circuit's, and then it is tried again.
                if TOO_LONG in outcome.error and pool.time_limit >= LIMIT:
                    kept.add(keys[number], lost)
            if progress is not None:
                progress(count, len(cases))


def _followed(cases: Sequence[Case], waiting: list[int], pool: Pool) -> Iterator[tuple[int, Outcome]]:
    for index, outcome in pool.imap(carried, [cases[number].job for number in waiting]):
        yield waiting[index], outcome
