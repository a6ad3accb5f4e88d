"""The plain build: every row and sample by `op`, `ac` and a transient that is followed until it has settled."""

from __future__ import annotations

import time
from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchmarks.speed_ledger import SMALL, TRANSIENT
from lostgain.circuit import FlatCircuit
from lostgain.circuit.model import driven
from lostgain.engine import EngineError, RunFailed, Session
from lostgain.engine.binding import binding

Values = NDArray[np.float64]

#: As tables are built: how ngspice integrates, its longest step as a share of a cycle, the level below which all is
#: alike [V rms]. Stated here anew, so that the build cannot move what it is measured by.
SOLVERS = (
    ".options method=gear abstol=1e-9 vntol=1e-5",
    ".options method=gear reltol=5e-3 abstol=1e-9 vntol=1e-5 chgtol=1e-12",
)
STEPS, QUIET = 64, 0.5e-3
#: Cycles followed, step by step. From one on, all are within the first [dB] of the last: settled, timed up to there.
#: The last and the one at half time agree within the second: the answer that others are compared with. A drift of
#: seconds moves no level between two cycles at 10 kHz, and is no answer; what has not settled by the last one is timed
#: up to there, which is less than it takes.
CYCLES = (3, 9, 27, 81)
AGREE_DB, ANSWER_DB = 0.1, 0.01
#: Steps a cycle at most: a circuit that oscillates by itself never settles, and is left out.
MOST_STEPS = 1024
_GRID = 256


@dataclass
class Plain:
    """What a sample carries.

    Parameters
    ----------
    dc : array, (node,) [V]
    level : array, (node, frequency) [V rms]
    swing : array, (node, frequency) [V peak to peak]
    cycles : array of int, (frequency,)
        Cycles until it had settled; 0 where none ended.
    settled : array of bool, (frequency,)
        Whether the answer is one.
    """

    dc: Values
    level: Values
    swing: Values
    cycles: NDArray[np.int_]
    settled: NDArray[np.bool_]


def followed(session: Session, flat: FlatCircuit, drive: float, dc: float, frequencies: Sequence[float],
             nodes: Sequence[str]) -> Plain:  # fmt: skip
    """Find what a sample carries, with patience and without any short cut."""
    size = len(nodes), len(frequencies)
    found = Plain(np.full(size[0], np.nan), np.full(size, np.nan), np.full(size, np.nan),
                  np.zeros(size[1], dtype=int), np.zeros(size[1], dtype=bool))  # fmt: skip
    try:
        session.load(driven(flat, drive, frequencies[0], dc).lines())
        found.dc = np.asarray(session.op(nodes))
        for index, frequency in enumerate(frequencies):
            _follow(session, driven(flat, drive, frequency, dc).lines(), frequency, nodes, found, index)
    except EngineError:
        if session.dead:
            raise
    return found


def _follow(
    session: Session, lines: list[str], frequency: float, nodes: Sequence[str], found: Plain, index: int
) -> None:
    period = 1 / frequency
    for count in CYCLES:
        time_, values = _tran(session, lines, count * period, period / STEPS, nodes)
        forms = [_cycle(time_, values, number * period, period) for number in range(count)]
        sizes = np.array([(_rms(form), np.ptp(form, axis=1) / 8**0.5) for form in forms])
        away = np.abs(decibels(sizes) - decibels(sizes[-1])).max(axis=(1, 2))
        # Two have to be alike for anybody to see that it has settled.
        found.cycles[index] = min(count, np.flatnonzero(away >= AGREE_DB).max(initial=-1) + 3)
        drift = float(np.abs(decibels(sizes[-1]) - decibels(sizes[count // 2])).max())
        if drift < ANSWER_DB:
            break
    if drift >= ANSWER_DB:
        found.cycles[index] = CYCLES[-1]
    found.settled[index] = drift < ANSWER_DB
    found.level[:, index], found.swing[:, index] = sizes[-1, 0], sizes[-1, 1] * 8**0.5


def _tran(session: Session, lines: list[str], stop: float, step: float, nodes: Sequence[str]) -> tuple[Values, Values]:
    for solver in SOLVERS:
        session.load([*lines[:-1], solver, lines[-1]])
        try:
            return session.tran(stop, step, nodes, most_points=round(MOST_STEPS * stop / (step * STEPS)))
        except RunFailed:
            if session.dead or solver is SOLVERS[-1]:
                raise
    raise AssertionError


def _cycle(time_: Values, values: Values, start: float, period: float) -> Values:
    """One cycle without its mean and without a slow drift across it: array, (node, phase)."""
    grid = start + period * np.arange(_GRID + 1) / _GRID
    even = np.array([np.interp(grid, time_, row) for row in values])
    even = (even - (even[:, -1:] - even[:, :1]) * np.linspace(0, 1, _GRID + 1))[:, :-1]
    return np.asarray(even - even.mean(axis=1, keepdims=True))


def _rms(form: Values) -> Values:
    return np.asarray(np.sqrt(np.mean(form**2, axis=1)))


def decibels(level: Values) -> Values:
    """Return levels as the comparison takes them: all below `QUIET` are alike: array [dB]."""
    return np.asarray(20 * np.log10(np.maximum(level, QUIET)))


def bare(flat: FlatCircuit, drive: float, dc: float, frequencies: Sequence[float], nodes: Sequence[str],
         cycles: NDArray[np.int_]) -> dict[str, float]:  # fmt: skip
    """Return the processor time of nothing but the analyses [s]: the commands, with the wanted nodes kept."""
    spice = binding()
    wanted = f"save {' '.join(nodes)}"

    def run(commands: Sequence[str], solver: tuple[str, ...], frequency: float) -> float:
        *lines, end = driven(flat, drive, frequency, dc).lines()
        if spice.owner is not None:
            spice.command("remcirc")
        spice.owner = run
        begin = time.process_time()
        spice.circuit([*lines, *solver, end, ""])
        spice.command(wanted)
        for command in commands:
            spice.command(command)
        spent = time.process_time() - begin
        if spice.newest() == "const":
            raise RunFailed(f"ngspice gave no result for {commands[-1]}", spice.printed)
        spice.command("delete all")
        spice.command("destroy all")
        return spent

    small = [f"ac lin 1 {frequency!r} {frequency!r}" for frequency in frequencies]
    found = {SMALL: run(["op", *small], (), frequencies[0]), TRANSIENT: 0.0}
    for frequency, count in zip(frequencies, cycles, strict=True):
        step = 1 / frequency / STEPS
        command = f"tran {step!r} {float(count) / frequency!r} 0 {step!r}"
        found[TRANSIENT] += run([command], SOLVERS[:1], frequency)
    return found
