"""One row's task of the power-off part, its circuit, and the numbers that come of it."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import Circuit, FlatCircuit
from lostgain.faults import Fault, Stray, put_in, put_stray
from lostgain.signatures.draws import Varied, drawn
from lostgain.signatures.poweroff_circuit import at_rest, unpowered
from lostgain.signatures.poweroff_facts import Facts
from lostgain.signatures.poweroff_meter import Meter
from lostgain.signatures.poweroff_places import Place

Values = NDArray[np.float64]


@dataclass(frozen=True)
class OffTask:
    """What a worker needs for one row.

    Parameters
    ----------
    circuit : Circuit
    facts : Facts
    meter : Meter
    places : tuple of Place
    fault : Fault or None
        None for the healthy unit.
    stray : Stray or None
    numbers : list of Varied
    z : array, (draw, number)
        The deviates of the powered table's draws.
    more : tuple of mapping
        For each draw, the deviates of what differs only with the power off.
    healthy : OffRow or None
        The healthy unit's row, once it is known.
    """

    circuit: Circuit
    facts: Facts
    meter: Meter
    places: tuple[Place, ...]
    fault: Fault | None
    stray: Stray | None
    numbers: list[Varied]
    z: Values
    more: tuple[Mapping[str, float], ...]
    healthy: OffRow | None = None

    def nominal(self) -> FlatCircuit:
        """Return the row's circuit with the power off, at nominal values."""
        return flat_of(self, None)

    def drawn(self, draw: int) -> FlatCircuit:
        """Return the row's circuit with the power off, of one draw."""
        return flat_of(self, draw)


@dataclass
class OffRow:
    """The numbers of one row [ohm], of a diode test [V]; the first sample is at nominal values, the others are draws.

    Parameters
    ----------
    value : array, (sample, place, polarity)
        As read after the meter's wait; the second polarity has the leads exchanged.
    settled : array, (place, polarity)
        Once everything has charged, at nominal values.
    other : array, (place, polarity)
        The same as the nominal value, with what is the maker's affair the other way round: chips without junctions at
        their signal pins, mutes that do not close.
    range : array of int, (place, polarity)
        The range the meter is on.
    charged : array, (place, polarity)
        From `lostgain.signatures.poweroff_meter.charging`.
    status : str
    """

    value: Values
    settled: Values
    other: Values
    range: NDArray[np.int_]
    charged: Values
    status: str = "ok"


def empty_row(task: OffTask) -> OffRow:
    """Return a row without numbers."""
    shape = (len(task.places), 2)
    return OffRow(
        np.full((len(task.z) + 1, *shape), np.nan), np.full(shape, np.nan), np.full(shape, np.nan),
        np.zeros(shape, dtype=int), np.ones(shape),
    )  # fmt: skip


def flat_of(task: OffTask, draw: int | None, usual: bool = True) -> FlatCircuit:
    """Return the row's circuit with the power off: at nominal values, or a draw's."""
    circuit = task.circuit
    flat = circuit.flat if draw is None else drawn(circuit.flat, task.numbers, task.z[draw])
    flat = at_rest(circuit, flat, task.facts, usual)
    for member in _with_effect(task):
        flat = put_in(flat, member, circuit)
    if task.stray is not None:
        flat = put_stray(flat, task.stray)
    return unpowered(circuit, flat, task.facts, None if draw is None else task.more[draw], usual)


def _with_effect(task: OffTask) -> list[Fault]:
    """Return the faults that are still there with the power off: a rail has none then."""
    if task.fault is None:
        return []
    members = task.fault.members or (task.fault,)
    return [each for each in members if task.circuit.parts[each.part].part.kind != "rail"]
