"""What a simulated unit carries after the generator was left on: biases that drift have then got where they stay.

In each of some periods of time, the level at its end is compared with that at its middle. The generator goes from one
frequency to the next as at a bench, with the unit on all the while.
"""

from __future__ import annotations

import numpy as np

from benchmarks.simulate import GRID, OPTIONS, QUIET, Carried, Job, Values, apart, carry, netlist, without_drift
from lostgain.engine import EngineError, RunFailed, Session

#: The first frequency is the lowest above this [Hz]: quick to follow, and no capacitor's voltage changes in a cycle.
FIRST = 200.0
#: Steps a cycle at most, on average: a circuit that oscillates by itself takes thousands.
POINTS_A_CYCLE = 200


def carried(session: Session, task: Job) -> Carried:
    """Find what the test points carry, after a while where that matters.

    Parameters
    ----------
    session : Session
    task : Job
    """
    found = carry(session, task)
    if task.cycles and np.isfinite(found.small).all():
        wait(session, task, found)
    return found


def wait(session: Session, task: Job, found: Carried) -> None:
    """Replace levels that small-signal analysis does not give by those after a while. In place.

    Parameters
    ----------
    session : Session
    task : Job
    found : Carried
        What the first cycles gave.
    """
    late = ~found.as_small(task.agree_db, 10 * QUIET)
    if not (task.seconds and late.any()):
        return
    order = sorted(range(len(task.frequencies)), key=lambda column: _turn(task.frequencies[column]))
    state: Values | None = None
    for column in order:
        if not late[column] and not (column == order[0] and task.every):
            continue
        try:
            cycle, settled, end, waited = _left_on(session, task, task.frequencies[column], state)
        except EngineError as error:
            if session.dead:
                raise
            found.status = f"not followed for long at {task.frequencies[column]:g} Hz: {error.reason}"
            found.settled[column] = False
            continue
        state = end if state is None and task.every else state
        found.level[:, column], found.swing[:, column] = np.std(cycle, axis=1), np.ptp(cycle, axis=1)
        found.settled[column] = settled
        found.waited = max(found.waited, waited)


def _turn(frequency: float) -> tuple[bool, float]:
    return frequency < FIRST, frequency


def _left_on(
    session: Session, task: Job, frequency: float, state: Values | None
) -> tuple[Values, bool, Values | None, float]:
    """One cycle after a while, whether it is like the one at half that time, its end's state, and the while [s]."""
    period = 1 / frequency
    for seconds, steps in task.seconds:
        count = max(4, round(min(seconds, steps * period / task.steps) / period))
        time, values = _transient(session, task, frequency, count, state)
        points = values[[task.every.index(node) for node in task.nodes]] if task.every else values
        middle, last = (_one(time, points, start * period, period) for start in (count // 2, count - 1))
        settled = apart(middle, last) < task.agree_db
        if settled:
            break
    return last, settled, values[:, -1] if task.every else None, count * period


def _transient(
    session: Session, task: Job, frequency: float, count: int, state: Values | None
) -> tuple[Values, Values]:
    start = () if state is None else zip(task.every, state, strict=True)
    held = [f".ic v({name})={volts:.10g}" for name, volts in start]
    for options in OPTIONS:
        session.load(netlist(task, frequency, (options, *held)))
        try:
            return session.tran(
                count / frequency, 1 / frequency / task.steps, task.every or task.nodes, (count // 2 - 0.1) / frequency,
                from_initial=state is not None, most_points=count * POINTS_A_CYCLE,
            )  # fmt: skip
        except RunFailed:
            if session.dead or options is OPTIONS[-1]:
                raise
    raise AssertionError("no options")


def _one(time: Values, values: Values, start: float, period: float) -> Values:
    grid = start + period * np.arange(GRID + 1) / GRID
    return without_drift(np.array([np.interp(grid, time, row) for row in values]))
