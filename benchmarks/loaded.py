"""What an instrument shows of a point: it loads what it is on. Each point is read by itself, the others left alone.

The operating point and the small signals are found with the instrument on. A level is the one without it, changed as
the small signal is; where that says too little, the circuit is followed in time once more, with the instrument on.
"""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from benchmarks.simulate import QUIET, Carried, Job, Values, netlist
from benchmarks.waited import carried
from lostgain.engine import EngineError, Session

#: A level that the instrument changes by more than this [dB] may be another circuit's altogether, as where it gives a
#: floating input its bias.
MUCH = 1.0
#: No instrument [ohm], [F].
OFF = 1e15, 1e-21


def read(session: Session, task: Job) -> Carried:
    """Find what instruments show of the points.

    Parameters
    ----------
    session : Session
    task : Job
    """
    found = carried(session, task)
    if not (task.loads and np.isfinite(found.small).all()):
        return found
    linear = found.as_small(task.agree_db, 10 * QUIET)
    again: list[tuple[int, NDArray[np.int_]]] = []
    session.load(netlist(_with_instruments(task), task.frequencies[0], ()))
    for number, node in enumerate(task.nodes):
        try:
            dc, small = _loaded(session, task, number, node)
        except EngineError as error:
            if session.dead:
                raise
            found.status = f"not loaded at {node}: {error.reason}"
            continue
        before = found.small[number]
        off = np.abs(20 * np.log10(np.maximum(small, QUIET) / np.maximum(before, QUIET)))
        scale = np.where(before > 0, small / np.where(before > 0, before, 1), 1)
        found.dc[number], found.small[number] = dc, small
        found.level[number] *= scale
        found.swing[number] *= scale
        columns = np.flatnonzero((off > MUCH) | (off > task.agree_db) & ~linear)
        if task.cycles and columns.size:
            again.append((number, columns))
    for number, columns in again:
        _follow(session, task, found, number, columns)
    return found


def _with_instruments(task: Job) -> Job:
    """Return the circuit with instruments that are not on yet.

    Its operating point begins from nothing, as without them: from the voltages of the one without (``.nodeset``)
    ngspice stopped 0.1 V short of it at an amplifier's output.
    """
    ohms, farads = OFF
    lines = [line for number, node in enumerate(task.nodes)
             for line in (f"rmeter{number} {node} 0 {ohms:g}", f"cmeter{number} {node} 0 {farads:g}")]  # fmt: skip
    return replace(task, lines=(*task.lines, *lines))


def _loaded(session: Session, task: Job, number: int, node: str) -> tuple[float, Values]:
    """A point's DC with the DC instrument on it [V], its small signals with the other one: array, (frequency,) [V]."""
    names = f"rmeter{number}", f"cmeter{number}"
    level, dc = task.loads
    try:
        session.change(dict(zip(names, dc, strict=True)), {})
        volts = float(session.op([node])[0])
        session.change(dict(zip(names, level, strict=True)), {})
        return volts, np.abs(session.ac(task.frequencies, [node])[0])
    finally:
        session.change(dict(zip(names, OFF, strict=True)), {})


def _follow(session: Session, task: Job, found: Carried, number: int, columns: NDArray[np.int_]) -> None:
    """Follow the circuit in time with the instrument on a point, and take that point's levels. In place."""
    node, (ohms, farads) = task.nodes[number], task.loads[0]
    on = (f"rmeter {node} 0 {ohms:.9g}", f"cmeter {node} 0 {farads:.9g}")
    frequencies = tuple(task.frequencies[column] for column in columns)
    again = carried(session, replace(task, lines=(*task.lines, *on), frequencies=frequencies, loads=()))
    heard = np.isfinite(again.level[number])
    found.level[number, columns[heard]] = again.level[number, heard]
    found.swing[number, columns[heard]] = again.swing[number, heard]
    found.settled[columns[heard]] &= again.settled[heard]
    found.waited = max(found.waited, again.waited)
