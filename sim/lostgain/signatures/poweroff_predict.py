"""What a failure looks like with the power off: the readings across parts that it changes, at nominal values."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from lostgain.circuit import Circuit
from lostgain.engine import Outcome, Pool, Session
from lostgain.faults import Fault
from lostgain.readings import instruments
from lostgain.readings.model import OFF
from lostgain.readings.words import quantities
from lostgain.signatures.poweroff import meter_of
from lostgain.signatures.poweroff_facts import facts
from lostgain.signatures.poweroff_places import usual
from lostgain.signatures.poweroff_row import run_off_row
from lostgain.signatures.poweroff_task import OffRow, OffTask

#: A reading counts as changed by more than this share of it, and this much [ohm or V].
CHANGED, CHANGED_SIZE = 0.1, 0.05


@dataclass(frozen=True)
class OffChange:
    """A reading with the power off that a failure changes.

    Parameters
    ----------
    quantity, instrument : str
    point, against : str
        Where the leads go; for across a part `point` is its designator and `against` empty.
    part : str
        Designator of that part; empty for a test point.
    lifted : bool
        True out of circuit.
    healthy, faulty : float
        [ohm], of a diode test [V].
    reversed : (float, float) or None
        The same with the leads exchanged, where that is not the same.
    largest : float
        The largest the instrument shows: what is above reads as open.
    """

    quantity: str
    instrument: str
    point: str
    against: str
    part: str
    lifted: bool
    healthy: float
    faulty: float
    reversed: tuple[float, float] | None
    largest: float


def predict_off(circuit: Circuit, faults: Sequence[Fault], pool: Pool) -> list[OffChange]:
    """Return the readings with the power off that a failure, or several at once, change.

    Parameters
    ----------
    circuit : Circuit
    faults : sequence of Fault
    pool : Pool

    Returns
    -------
    list of OffChange
        Those across the failed parts first, then the largest changes.
    """
    members = tuple(each for fault in faults for each in (fault.members or (fault,)))
    together = faults[0] if len(faults) == 1 else replace(faults[0], members=members)
    known, stated = instruments(circuit.unit.folder), facts(circuit.unit)
    tasks = []
    for quantity in OFF:
        meter = meter_of(known[quantities()[quantity].instrument], quantity)
        places = tuple(usual(circuit, quantity))
        if places:
            tasks.append(OffTask(circuit, stated, meter, places, together, None, [], np.zeros((0, 0)), ()))
    outcomes = pool.map(_both, tasks)
    found = [each for task, outcome in zip(tasks, outcomes, strict=True) for each in _changes(task, outcome)]
    own = {each.part for each in members}
    return sorted(found, key=lambda each: (each.part not in own, each.lifted, -_size(each)))


def _both(session: Session, task: OffTask) -> tuple[OffRow, OffRow]:
    healthy = run_off_row(session, replace(task, fault=None))
    return healthy, run_off_row(session, replace(task, healthy=healthy))


def _changes(task: OffTask, outcome: Outcome) -> list[OffChange]:
    if outcome.error is not None:
        return []
    quantity = task.meter.quantity
    instrument = instruments(task.circuit.unit.folder)[quantities()[quantity].instrument]
    largest = instrument.largest(quantity)
    well, ill = (np.minimum(row.value[0], 1.01 * largest) for row in outcome.value)
    found = []
    for number, place in enumerate(task.places):
        moved = np.abs(ill[number] - well[number])
        if not np.any(moved > CHANGED * well[number] + CHANGED_SIZE):
            continue
        ways = np.abs(np.diff(np.log(np.maximum([well[number], ill[number]], 1e-9)), axis=1)).max() > CHANGED
        back = (float(well[number, 1]), float(ill[number, 1])) if ways else None
        found.append(OffChange(quantity, instrument.name, place.point, place.against, place.part, place.lifted,
                               float(well[number, 0]), float(ill[number, 0]), back, largest))  # fmt: skip
    return found


def _size(each: OffChange) -> float:
    return abs(float(np.log((each.faulty + CHANGED_SIZE) / (each.healthy + CHANGED_SIZE))))
