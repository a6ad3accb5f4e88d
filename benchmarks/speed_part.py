"""A part of a table, drawn from all of it, and each row's samples as circuits."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import pairwise

import numpy as np

from lostgain.circuit import Circuit, FlatCircuit
from lostgain.engine import Pool
from lostgain.faults import listing, strays
from lostgain.signatures.bends import refined
from lostgain.signatures.build import DRAWS, SEED, SLOW_DRAWS
from lostgain.signatures.draws import deviates, drawn, opens, varied, with_opens
from lostgain.signatures.row import RowTask, changed


@dataclass(frozen=True)
class Part:
    """Some rows of a table.

    Parameters
    ----------
    circuit : Circuit
    healthy : RowTask
    faults, strays : tuple of RowTask
        Those drawn.
    all_faults, all_strays : int
        How many rows the whole table has of each.
    """

    circuit: Circuit
    healthy: RowTask
    faults: tuple[RowTask, ...]
    strays: tuple[RowTask, ...]
    all_faults: int
    all_strays: int

    @property
    def samples(self) -> int:
        """Samples of a fault's row, the nominal one included."""
        return len(self.healthy.z) + 1


def part(circuit: Circuit, faults: int, paths: int, seed: int) -> Part:
    """Draw rows of a unit's table: so many faults and stray paths, evenly over the list.

    Parameters
    ----------
    circuit : Circuit
    faults, paths : int
        All of them where there are fewer.
    seed : int
    """
    numbers = varied(circuit)
    z = deviates(DRAWS, len(numbers), SEED)
    rng = np.random.default_rng(seed)
    with Pool(workers=1) as pool:
        rows, all_strays = refined(circuit, listing(circuit), pool), strays(circuit)
    return Part(
        circuit,
        RowTask(circuit, (), numbers, z, SLOW_DRAWS),
        tuple(RowTask(circuit, (rows[at],), numbers, z, SLOW_DRAWS) for at in spread(len(rows), faults, rng)),
        tuple(RowTask(circuit, (), numbers, z, SLOW_DRAWS, instead=all_strays[at])
              for at in spread(len(all_strays), paths, rng)),
        len(rows),
        len(all_strays),
    )  # fmt: skip


def spread(count: int, wanted: int, rng: np.random.Generator) -> list[int]:
    """Return places in a list, one drawn from each of `wanted` equal stretches, so that all of it has its share."""
    wanted = min(wanted, count)
    ends = np.linspace(0, count, wanted + 1)
    return [int(rng.uniform(low, high)) for low, high in pairwise(ends)]


def samples(task: RowTask) -> Iterator[FlatCircuit]:
    """Yield a row's samples as circuits: at nominal values, then the draws; of a stray path, the first alone."""
    yield broken(task.circuit.flat, task)
    if task.instead is None:
        for z, decades in zip(task.z, opens(len(task.z)), strict=True):
            yield with_opens(broken(drawn(task.circuit.flat, task.numbers, z), task), task.circuit.flat, decades)


def broken(flat: FlatCircuit, task: RowTask) -> FlatCircuit:
    """Return a circuit with the row's fault in it."""
    return changed(flat, task.circuit, task.faults, task.instead)


def label(task: RowTask) -> str:
    """Return a row's name."""
    if task.instead is not None:
        return task.instead.label
    return " and ".join(fault.label for fault in task.faults) or "healthy"
