"""Levels at drive: a transient, followed until successive cycles agree."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import FlatCircuit
from lostgain.circuit.model import driven
from lostgain.engine import RunFailed, Session

#: Successive cycles must agree within this [dB] …
AGREE_DB = 0.1
#: … wherever there is at least this much signal [V rms].
QUIET = 0.5e-3
#: Cycles followed before giving up, step by step: most circuits have settled after the first few.
CYCLES = (3, 9, 27, 81)
#: Points of one stored cycle, and the longest time step as a share of a cycle.
WAVE_POINTS = 64
STEPS_A_CYCLE = 64
_FINE = 256
#: How ngspice integrates: Gear's method and a ten-thousandth of a signal, since trapezoidal steps shrink without end on
#: a saturated amplifier. The second is for what the first gives up on.
SOLVER = ".options method=gear abstol=1e-9 vntol=1e-5"
PATIENT = ".options method=gear reltol=5e-3 abstol=1e-9 vntol=1e-5 chgtol=1e-12"


@dataclass(frozen=True)
class Steady:
    """What the generator's sine looks like once it has settled.

    Parameters
    ----------
    level : array, (node,) [V rms]
        Without DC.
    swing : array, (node,) [V peak to peak]
    wave : array, (node, phase) [V]
        One cycle, without DC, starting where the generator crosses zero upwards.
    settled : bool
    cycles : int
        How many it took.
    """

    level: NDArray[np.float64]
    swing: NDArray[np.float64]
    wave: NDArray[np.float64]
    settled: bool
    cycles: int


def steady(
    session: Session,
    flat: FlatCircuit,
    drive: float,
    frequency: float,
    dc: float,
    nodes: Sequence[str],
    least: int = 0,
    most: int = CYCLES[-1],
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
    least : int
        Cycles to follow at least: what a circuit much like this one took.
    most : int
        … and at most, settled or not.

    Raises
    ------
    RunFailed
        If ngspice gives up on the transient.
    """
    period = 1 / frequency
    lines = driven(flat, drive, frequency, dc).lines()
    for cycles in [count for count in CYCLES if least <= count <= most] or CYCLES[-1:]:
        begin = max(0.0, (cycles - 2.05) * period)
        time, values = _followed(session, lines, cycles * period, period / STEPS_A_CYCLE, nodes, begin)
        last = _cycle(time, values, (cycles - 1) * period, period)
        before = _cycle(time, values, (cycles - 2) * period, period)
        settled = _agree(_rms(last), _rms(before)) and _agree(_swing(last) / 2.83, _swing(before) / 2.83)
        if settled:
            break
    thinned = last[:, :: _FINE // WAVE_POINTS]
    return Steady(_rms(last), _swing(last), thinned, settled, cycles)


def _followed(
    session: Session, lines: list[str], stop: float, step: float, nodes: Sequence[str], begin: float
) -> tuple[NDArray[np.float64], NDArray[np.float64]]:
    """Run the transient; where ngspice's steps shrink to nothing, try its more patient integration once."""
    session.load([*lines[:-1], SOLVER, lines[-1]])
    try:
        return session.tran(stop, step, nodes, begin)
    except RunFailed:
        if session.dead:
            raise
        session.load([*lines[:-1], PATIENT, lines[-1]])
        return session.tran(stop, step, nodes, begin)


def _cycle(time: NDArray[np.float64], values: NDArray[np.float64], start: float, period: float) -> NDArray[np.float64]:
    """One cycle on an even grid, without its mean and without a slow drift across it: array, (node, phase)."""
    grid = start + period * np.arange(_FINE + 1) / _FINE
    even = np.array([np.interp(grid, time, row) for row in values]).reshape(len(values), -1)
    drift = (even[:, -1:] - even[:, :1]) * np.linspace(0, 1, _FINE + 1)
    even = (even - drift)[:, :-1]
    return np.asarray(even - even.mean(axis=1, keepdims=True))


def _rms(cycle: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(np.sqrt(np.mean(cycle**2, axis=1)))


def _swing(cycle: NDArray[np.float64]) -> NDArray[np.float64]:
    return np.asarray(np.ptp(cycle, axis=1))


def _agree(one: NDArray[np.float64], other: NDArray[np.float64]) -> bool:
    return bool(np.all(np.abs(decibels(one, other)) < AGREE_DB))


def decibels(one: NDArray[np.float64], other: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return how far two levels are apart, counting all below `QUIET` as alike: array [dB]."""
    return np.asarray(20 * np.log10(np.maximum(one, QUIET) / np.maximum(other, QUIET)))
