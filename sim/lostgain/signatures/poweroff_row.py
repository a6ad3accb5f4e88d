"""One row of the power-off part: what a meter shows at each place with one fault in the unit, run in a worker."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import Element, FlatCircuit
from lostgain.engine import EngineError, Session
from lostgain.signatures.poweroff_circuit import FLOAT, own_elements
from lostgain.signatures.poweroff_meter import (
    CHARGED,
    QUIET_VOLTS,
    after_wait,
    charging,
    impedance,
    put_on,
    reading,
    settled,
    take_off,
    volts_across,
    with_meters,
)
from lostgain.signatures.poweroff_task import OffRow, OffTask, empty_row, flat_of

__all__ = ["FAULT_DRAWS", "JOINTS", "OffRow", "OffTask", "run_off_row"]

Values = NDArray[np.float64]

#: A reading is the healthy unit's where it differs by less than this share of it, or this much [ohm or V].
SAME, SAME_SIZE = 1e-3, 1e-4
#: Draws that are followed for a fault, where it changes what is read.
FAULT_DRAWS = 4
#: What is open to any meter [ohm].
OPEN = 1e9
#: A cold joint is no part of a part that is lifted.
JOINTS = ("joint", "base-joint", "collector-joint")


def run_off_row(session: Session, task: OffTask) -> OffRow:
    """Run the readings of one row. What does not converge is recorded, never filled in."""
    row = empty_row(task)
    well = task.healthy
    mine = [number for number, each in enumerate(task.places) if not each.lifted]
    try:
        nominal = task.nominal()
        looked = _nominal(session, task, nominal, mine, row)
        if well is not None:
            _fill_in(row, well, mine, looked)
        moved = [number for number in mine if well is None or _moved(row, well, number)]
        others = flat_of(task, None, usual=False)
        if moved and task.stray is None and others.elements != nominal.elements:
            _others(session, task, others, moved, row)
        else:
            row.other[moved] = row.value[0, moved]
        for draw in range(_draws(task) if moved else 0):
            _draw(session, task, draw, moved, row)
        _lifted(session, task, row)
    except EngineError as error:
        if session.dead:
            raise
        row.status = f"no operating point: {error.reason}"
    return row


def _nominal(session: Session, task: OffTask, flat: FlatCircuit, mine: Sequence[int], row: OffRow) -> set[int]:
    """Fill in what is read at nominal values, settled and after the wait; return where charging was looked at."""
    pairs = [task.places[number].nodes for number in mine]
    session.load(with_meters(flat, pairs).lines())
    looked: set[int] = set()
    if task.meter.quantity == "esr":
        for local, number in enumerate(mine):
            row.value[0, number] = row.settled[number] = impedance(session, pairs[local], local, task.meter)
        return set(mine)
    waiting: list[tuple[int, int]] = []
    for local, number in enumerate(mine):
        for polarity, sign in enumerate((1.0, -1.0)):
            if polarity and _same_both_ways(task, row, number):
                for each in (row.settled, row.range, row.charged, row.value[0]):
                    each[number, 1] = each[number, 0]
                break
            begin = _begin(task, row, number, polarity)
            value, range_, _ = settled(session, pairs[local], local, task.meter, sign, begin)
            row.settled[number, polarity] = row.value[0, number, polarity] = value
            row.range[number, polarity] = range_
            if _may_charge(task, row, number, polarity):
                row.charged[number, polarity] = charging(session, pairs[local], local, task.meter)
                looked.add(number)
                if row.charged[number, polarity] < CHARGED and not _charges_as_healthy(task, row, number, polarity):
                    waiting.append((number, polarity))
            take_off(session, local)
    for number, polarity in waiting:
        pair, sign, range_ = task.places[number].nodes, (1.0, -1.0)[polarity], int(row.range[number, polarity])
        row.value[0, number, polarity] = _waited(session, task, flat, pair, range_, sign)
    for number in {number for number, _ in waiting}:
        if _same_both_ways(task, row, number):
            row.value[0, number, 1] = row.value[0, number, 0]
    return looked


def _waited(
    session: Session, task: OffTask, flat: FlatCircuit, pair: tuple[str, str], range_: int, sign: float
) -> float:
    """Return what is read after the wait; NaN where that could not be followed."""
    try:
        return after_wait(session, flat, pair, task.meter, range_, sign)
    except EngineError:
        if session.dead:
            raise
        return float("nan")


def _begin(task: OffTask, row: OffRow, number: int, polarity: int) -> int:
    """Return the range to begin with: the one a healthy unit is on, or the other polarity's."""
    if polarity:
        return int(row.range[number, 0])
    return int(task.healthy.range[number, 0]) if task.healthy is not None else 0


def _same_both_ways(task: OffTask, row: OffRow, number: int) -> bool:
    """Tell whether the other polarity reads the same: too few volts for any junction."""
    if task.meter.quantity != "resistance":
        return False
    _, source = task.meter.ranges[int(row.range[number, 0])]
    ohms = row.settled[number, 0]
    return bool(task.meter.open_volts * ohms / (ohms + source) < QUIET_VOLTS)


def _may_charge(task: OffTask, row: OffRow, number: int, polarity: int) -> bool:
    """Tell whether it has to be looked at whether something is charging there still.

    Where a fault changes neither the settled reading nor any capacitor, the wait changes nothing either.
    """
    if task.meter.quantity == "diode test":
        return False
    well = task.healthy
    if well is None or _concerns_capacitor(task):
        return True
    return not _close(row.settled[number, polarity], well.settled[number, polarity])


def _charges_as_healthy(task: OffTask, row: OffRow, number: int, polarity: int) -> bool:
    """Tell whether the reading rises as in a healthy unit, whose reading after the wait is then taken over."""
    well = task.healthy
    if well is None or not _close(row.settled[number, polarity], well.settled[number, polarity]):
        return False
    if abs(row.charged[number, polarity] - well.charged[number, polarity]) > 3e-3:
        return False
    row.value[0, number, polarity] = well.value[0, number, polarity]
    return True


def _concerns_capacitor(task: OffTask) -> bool:
    if task.fault is None:
        return task.stray is not None
    members = task.fault.members or (task.fault,)
    kinds = {task.circuit.parts[each.part].part.kind for each in members}
    return bool(kinds & {"electrolytic", "tantalum", "film", "ceramic"}) or len(members) > 1


def _close(one: float, other: float) -> bool:
    return bool(abs(one - other) <= SAME * abs(other) + SAME_SIZE)


def _draws(task: OffTask) -> int:
    """Return how many draws are followed: all for the healthy unit, fewer for a fault, none for a stray path."""
    if task.stray is not None:
        return 0
    return len(task.z) if task.healthy is None else min(FAULT_DRAWS, len(task.z))


def _moved(row: OffRow, well: OffRow, number: int) -> bool:
    """Tell whether a fault has moved what is read at a place."""
    pairs = zip((*row.settled[number], *row.value[0, number]), (*well.settled[number], *well.value[0, number]),
                strict=True)  # fmt: skip
    return not all(_close(one, other) for one, other in pairs)


def _fill_in(row: OffRow, well: OffRow, mine: Sequence[int], looked: set[int]) -> None:
    """Take over from the healthy unit what a fault leaves alone, the same draw by draw."""
    for number in mine:
        # What settles as it does in a healthy unit, and was not looked at again, charges as there.
        same = all(_close(row.settled[number, each], well.settled[number, each]) for each in (0, 1))
        if same and number not in looked:
            row.value[0, number] = well.value[0, number]
        if not _moved(row, well, number):
            row.value[:, number] = well.value[:, number]
            row.settled[number], row.other[number] = well.settled[number], well.other[number]


def _measure(session: Session, task: OffTask, flat: FlatCircuit, moved: Sequence[int], row: OffRow) -> Values:
    """Return what is read, settled, on the nominal ranges: array, (moved, polarity)."""
    pairs = [task.places[number].nodes for number in moved]
    session.load(with_meters(flat, pairs).lines())
    found = np.full((len(moved), 2), np.nan)
    for local, number in enumerate(moved):
        if task.meter.quantity == "esr":
            found[local] = impedance(session, pairs[local], local, task.meter)
            continue
        for polarity, sign in enumerate((1.0, -1.0)):
            if polarity and row.settled[number, 0] == row.settled[number, 1]:
                found[local, 1] = found[local, 0]
                break
            range_ = int(row.range[number, polarity])
            put_on(session, local, task.meter, range_, sign)
            found[local, polarity] = reading(sign * volts_across(session, pairs[local]), task.meter, range_)
        take_off(session, local)
    return found


def _others(session: Session, task: OffTask, flat: FlatCircuit, moved: Sequence[int], row: OffRow) -> None:
    """Fill in what is read where what is the maker's affair is the other way round; the wait changes it alike."""
    try:
        found = _measure(session, task, flat, moved, row)
    except EngineError:
        if session.dead:
            raise
        found = row.settled[moved]
    row.other[moved] = _after(row, moved, found)


def _after(row: OffRow, moved: Sequence[int], found: Values) -> Values:
    """Return readings after the wait from settled ones: array, (moved, polarity).

    The further from settled the reading is, the less it follows what it will settle to.
    """
    value, end = np.maximum(row.value[0, moved], 1e-12), np.maximum(row.settled[moved], 1e-12)
    return np.asarray(value * (np.maximum(found, 1e-12) / end) ** np.minimum(value / end, 1.0))


def _draw(session: Session, task: OffTask, draw: int, moved: Sequence[int], row: OffRow) -> None:
    """Fill in one draw at the places that a fault has moved."""
    try:
        found = _measure(session, task, flat_of(task, draw), moved, row)
    except EngineError:
        if session.dead:
            raise
        return
    row.value[draw + 1, moved] = _after(row, moved, found)


def _lifted(session: Session, task: OffTask, row: OffRow) -> None:
    """Fill in what parts read out of circuit: all of them in a healthy unit, else those that a fault is in."""
    faulty = {each.part for each in task.fault.members or (task.fault,)} if task.fault is not None else set()
    alone = [number for number, each in enumerate(task.places) if each.lifted]
    for number in alone:
        if task.healthy is not None and task.places[number].part not in faulty:
            row.value[:, number] = task.healthy.value[:, number]
            row.settled[number], row.other[number] = task.healthy.settled[number], task.healthy.other[number]
    mine = [number for number in alone if task.healthy is None or task.places[number].part in faulty]
    for draw in (None, *range(_draws(task))) if mine else ():
        flat = flat_of(_without_joint(task), draw)
        for number in mine:
            _alone(session, task, flat, number, draw, row)
    row.other[mine] = row.value[0, mine]
    _no_more_than_open(row)


def _no_more_than_open(row: OffRow) -> None:
    """Cut off what is open to any meter: beyond it are only the solver's last digits."""
    for each in (row.value, row.settled, row.other):
        np.minimum(each, OPEN, out=each)


def _without_joint(task: OffTask) -> OffTask:
    """Leave a cold joint out: it is on the board, and not in the part."""
    return replace(task, fault=None) if task.fault is not None and task.fault.mode in JOINTS else task


def _alone(session: Session, task: OffTask, flat: FlatCircuit, number: int, draw: int | None, row: OffRow) -> None:
    place = task.places[number]
    own = own_elements(flat, task.circuit.parts[place.part])
    used = {element.rest.split()[0] for element in own}
    models = {name: text for name, text in flat.models.items() if name in used}
    part = FlatCircuit({each.name: each for each in own}, models, (FLOAT,))
    if "0" not in place.nodes:
        part = part.with_elements(Element("rground", (place.nodes[1], "0"), "1"))
    session.load(with_meters(part, [place.nodes]).lines())
    sample = 0 if draw is None else draw + 1
    if task.meter.quantity == "esr":
        row.value[sample, number] = impedance(session, place.nodes, 0, task.meter)
        row.settled[number] = row.value[0, number]
        return
    for polarity, sign in enumerate((1.0, -1.0)):
        value, range_, _ = settled(session, place.nodes, 0, task.meter, sign, int(row.range[number, polarity]))
        if draw is None:
            row.settled[number, polarity], row.range[number, polarity] = value, range_
            if task.meter.quantity == "resistance" and charging(session, place.nodes, 0, task.meter) < CHARGED:
                value = _waited(session, task, part, place.nodes, range_, sign)
                session.load(with_meters(part, [place.nodes]).lines())
            row.value[0, number, polarity] = value
        else:
            row.value[sample, number, polarity] = value
    if draw is not None:
        row.value[sample, number] = _after(row, [number], row.value[sample, [number]])[0]
