"""Levels at drive: a transient, started close to the steady state and followed until successive cycles agree."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import FlatCircuit
from lostgain.circuit.model import driven
from lostgain.engine import RunFailed, Session
from lostgain.signatures.drift import DRIFT_DB, Drift, drift
from lostgain.signatures.follow import AGREE_DB, FAR, KICK, LAST_TIMES, SETTLED_DB, TIMES, Follow
from lostgain.signatures.states import Linear, Slopes, Steady

Values = NDArray[np.float64]


def steady(
    session: Session,
    flat: FlatCircuit,
    drive: float,
    frequency: float,
    dc: float,
    nodes: Sequence[str],
    start: Linear | Values | None = None,
    most: int = 0,
    slopes: Slopes | None = None,
) -> Steady:
    """Follow a circuit with the generator on until it has settled.

    Parameters
    ----------
    session : Session
    flat : FlatCircuit
    drive : float
        [V rms]
    frequency : float
        [Hz]
    dc : float
        DC level of the source [V].
    nodes : sequence of str
    start : Linear, array or None
        What small-signal analysis says, or a `Steady.state`, to start close to the steady state; None for the operating
        point.
    most : int
        Cycles after which it is enough, settled or not; 0 for as many as it takes.
    slopes : Slopes or None
        `Steady.slopes` of a circuit much like this one.

    Raises
    ------
    RunFailed
        If ngspice gives up on the transient.

    Notes
    -----
    A linear circuit that starts from its phasors is settled from the first cycle on. Others approach the steady state
    by a factor a cycle, the time constant of a slow capacitor. Where the slow capacitors' voltages at the cycles' ends
    lead to is extrapolated [1]_, from the last few of them by least squares [2]_, and the transient starts there anew.
    Half a second is thousands of cycles at 10 kHz, and what a cycle changes is then lost in ngspice's own error: where
    a drift of that sort leads to is found before (`drift`).

    References
    ----------
    .. [1] Skelboe, "Computation of the periodic steady-state response of nonlinear networks by extrapolation methods",
       IEEE Trans. Circuits and Systems CAS-27 (1980) 161-175.
    .. [2] Anderson, "Iterative procedures for nonlinear integral equations", J. ACM 12 (1965) 547-560.
    """
    follow = Follow(session, driven(flat, drive, frequency, dc), 1 / frequency, nodes)
    state = start.state() if isinstance(start, Linear) else start
    if state is not None and follow.can_start:
        try:
            follow.near(state, KICK if isinstance(start, Linear) else 0.0)
            if isinstance(start, Linear) and follow.like(start):
                return follow.found(True)
        except RunFailed:
            if session.dead:
                raise
            follow.run(FAR)
    else:
        follow.run(FAR)
    drifted = Drift(0.0) if most else drift(follow, slopes)
    for _ in range(TIMES):
        if follow.settled() or follow.restless or not follow.can_start or 0 < most <= follow.cycles:
            break
        follow.on(FAR)
    for _ in range(LAST_TIMES):
        if follow.change() >= SETTLED_DB and not (follow.restless or most):
            follow.to_the_end()
    settled = follow.change() < AGREE_DB and drifted.over
    return follow.found(settled, drifted.moved > DRIFT_DB, drifted.slopes)


def nearby(
    session: Session,
    flat: FlatCircuit,
    drive: float,
    frequency: float,
    dc: float,
    nodes: Sequence[str],
    state: Values,
    cycles: int = 1,
) -> Steady:
    """Follow a circuit for a cycle or a few from a state so close to the steady one that no more is needed.

    Parameters
    ----------
    session, flat, drive, frequency, dc, nodes
        See `steady`.
    state : array, (number of `states`,) [V, A]
        `Steady.state` of a circuit much like this one, about this one's operating point.
    cycles : int
        How many; where more than one, it is settled if the last two agree.

    Raises
    ------
    RunFailed
        If ngspice gives up on the transient.
    """
    follow = Follow(session, driven(flat, drive, frequency, dc), 1 / frequency, nodes)
    if follow.can_start:
        return follow.last_of(cycles, state)
    follow.run(FAR)
    return follow.found(follow.change() < AGREE_DB)
