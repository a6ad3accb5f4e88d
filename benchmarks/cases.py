"""Simulated repairs: drawn, and followed in workers."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Sequence
from contextlib import closing
from dataclasses import dataclass
from pathlib import Path

import numpy as np

from benchmarks.broken import break_, bridge, off
from benchmarks.kept import Kept, key_of
from benchmarks.loaded import read
from benchmarks.meters import Meter, first_sheet, on_bench
from benchmarks.parts import Bench, bench, built
from benchmarks.process import process
from benchmarks.simulate import Carried, Job, job, nothing
from benchmarks.truth import Prior, Truth
from lostgain.circuit import Circuit, FlatCircuit
from lostgain.engine import Outcome, Pool
from lostgain.readings import Reading, Readings

Progress = Callable[[int, int], None]

#: Longest time one simulated channel may take [s].
LIMIT = 180.0
#: What the pool says of a circuit that took it.
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


def simulated(cases: Sequence[Case], circuit: Circuit, pool: Pool, progress: Progress | None = None) -> None:
    """Fill in what each case carries. What is done is kept at once, so that a stopped run goes on where it was."""
    with closing(Kept(circuit)) as kept:
        keys = [key_of(circuit.version, case.job) for case in cases]
        for case, key in zip(cases, keys, strict=True):
            case.carried = kept.get(key)
        waiting = [number for number, case in enumerate(cases) if case.carried is None]
        for count, (number, outcome) in enumerate(_followed(cases, waiting, pool), len(cases) - len(waiting) + 1):
            if outcome.error is None:
                cases[number].carried = found = outcome.value.rounded()
                kept.add(keys[number], found)
            else:
                cases[number].carried = lost = nothing(cases[number].job, outcome.error)
                # Too long is what the next run would find, too; a worker may be lost for no fault of the circuit's, and
                # then it is tried again.
                if TOO_LONG in outcome.error and pool.time_limit >= LIMIT:
                    kept.add(keys[number], lost)
            if progress is not None:
                progress(count, len(cases))


def _followed(cases: Sequence[Case], waiting: list[int], pool: Pool) -> Iterator[tuple[int, Outcome]]:
    for index, outcome in pool.imap(read, [cases[number].job for number in waiting]):
        yield waiting[index], outcome
