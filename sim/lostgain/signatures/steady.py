"""Levels at drive: a transient, started close to the steady state and followed until successive cycles agree."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import FlatCircuit
from lostgain.circuit.model import driven
from lostgain.engine import RunFailed, Session
from lostgain.signatures.cycle import decibels
from lostgain.signatures.follow import (
    AGREE_DB,
    DRIFT_DB,
    FAR,
    KICK,
    LAST_TIMES,
    ROUNDS,
    SAME_DB,
    SETTLED_DB,
    SHARES,
    TIMES,
    Follow,
    Linear,
    Steady,
)

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

    Raises
    ------
    RunFailed
        If ngspice gives up on the transient.

    Notes
    -----
    A linear circuit that starts from its phasors is settled from the first cycle on. Others approach the steady state
    by a factor a cycle, the time constant of a slow capacitor. Where the slow capacitors' voltages at the cycles' ends
    lead to is extrapolated [1]_, from the last few of them by least squares [2]_, and the transient starts there anew.
    Half a second is thousands of cycles at 10 kHz, and what a cycle changes is then lost in ngspice's own error: so the
    drift happens in a circuit with smaller slow capacitors, small enough to drift in a few cycles and large enough to
    pass the signal as before (`drift`), and the circuit itself starts where that one ended.

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
    drifted = not most and drift(follow) > DRIFT_DB
    for _ in range(TIMES):
        if follow.settled() or follow.restless or not follow.can_start or 0 < most <= follow.cycles:
            break
        follow.on(FAR)
    for _ in range(LAST_TIMES):
        if follow.change() >= SETTLED_DB and not (follow.restless or most):
            follow.to_the_end()
    return follow.found(follow.change() < AGREE_DB, drifted)


def drift(follow: Follow) -> float:
    """Let slow capacitors charge to where they stay, in circuits in which they are smaller; return what that changed.

    Parameters
    ----------
    follow : Follow
        A circuit that was followed for some cycles; it is left where the drift led to.

    Returns
    -------
    float
        The most that a level changed [dB].
    """
    if not follow.can_start or follow.restless:
        return 0.0
    before, light = follow.level(), follow
    for share in SHARES:
        lighter = light.lighter(share)
        if lighter is None:
            continue
        try:
            lighter.again(*light.ended())
            first = lighter.level()
            _drift_over(lighter)
        except RunFailed:
            if follow.session.dead:
                raise
            break
        if light is follow and _apart(lighter.level(), first) < SAME_DB:
            return 0.0
        light = lighter
    if light is not follow:
        follow.again(*light.ended())
    return _apart(follow.level(), before)


def _drift_over(lighter: Follow) -> None:
    """Follow a circuit until a drift is over: two rounds end at the same levels, though one led on to the next.

    What a cycle changes by itself is no sign: where a drift is slow it is small from the start.
    """
    before = lighter.level()
    for _ in range(ROUNDS):
        lighter.on(FAR)
        now = lighter.level()
        if lighter.change() < SETTLED_DB and _apart(now, before) < SETTLED_DB:
            break
        before = now


def _apart(one: Values, other: Values) -> float:
    return float(np.abs(decibels(one, other)).max(initial=0.0))


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
