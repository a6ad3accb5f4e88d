"""One row of a signature table: the analyses of one faulty circuit, run in a worker."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import Circuit, FlatCircuit
from lostgain.circuit.model import driven
from lostgain.engine import EngineError, Session
from lostgain.faults import Fault, put_in
from lostgain.signatures.draws import Varied, drawn
from lostgain.signatures.steady import AGREE_DB, QUIET, WAVE_POINTS, decibels, steady

Values = NDArray[np.float64]

#: Draws are followed in time only where nominal values took no more cycles than this to settle.
QUICK = 9


@dataclass(frozen=True)
class RowTask:
    """What a worker needs for one row.

    Parameters
    ----------
    circuit : Circuit
    faults : tuple of Fault
        None for the healthy unit.
    numbers : list of Varied
    z : array, (draw, number)
        Deviates, the same for every row, so that differences between rows are the faults' and not the draws'.
    slow_draws : int
        Draws that are followed in time where small-signal analysis is not confirmed.
    in_time : bool
        False for a circuit whose transient was found never to end.
    """

    circuit: Circuit
    faults: tuple[Fault, ...]
    numbers: list[Varied]
    z: Values
    slow_draws: int
    in_time: bool = True


@dataclass
class RowResult:
    """The numbers of one row; the first sample is at nominal values, the others are draws.

    Parameters
    ----------
    dc : array, (sample, point) [V]
        With the generator off.
    level : array, (sample, point, frequency) [V rms]
    swing : array, (sample, point, frequency) [V peak to peak]
    wave : array, (point, frequency, phase) [V]
        At nominal values.
    small_signal : array of bool, (frequency,)
        Where the transient at nominal values confirmed small-signal analysis, which then serves for the draws.
    settled : array of bool, (frequency,)
    status : str
        ``ok``, or what failed; numbers that were not found are NaN.
    """

    dc: Values
    level: Values
    swing: Values
    wave: Values
    small_signal: NDArray[np.bool_]
    settled: NDArray[np.bool_]
    status: str = "ok"


def run_row(session: Session, task: RowTask) -> RowResult:
    """Run the analyses of one row. A run that does not converge is recorded, never filled in."""
    circuit = task.circuit
    setup = circuit.unit.setup
    nodes = list(circuit.points.values())
    result = empty(len(task.z) + 1, len(nodes), len(setup.frequencies))
    nominal = _faulty(circuit.flat, task)
    said: list[str] = []
    cycles = [0] * len(setup.frequencies)
    try:
        every = nominal.nodes()
        session.load(nominal.lines())
        volts = session.op(every)
        start = dict(zip(every, volts.tolist(), strict=True))
        result.dc[0], small = _small_signal(session, nominal.starting_at(start), circuit, nodes)
    except EngineError as error:
        _raise_if_dead(session, error)
        result.status = f"no operating point: {error.reason}"
        return result
    nominal = nominal.starting_at(start)
    for index, frequency in enumerate(setup.frequencies if task.in_time else ()):
        try:
            found = steady(session, nominal, setup.generator, frequency, setup.start_dc, nodes)
        except EngineError as error:
            _raise_if_dead(session, error)
            said.append(f"no transient at {frequency:g} Hz: {error.reason}")
            continue
        result.level[0, :, index], result.swing[0, :, index] = found.level, found.swing
        result.wave[:, index], result.settled[index], cycles[index] = found.wave, found.settled, found.cycles
        result.small_signal[index] = bool(np.all(np.abs(decibels(found.level, small[:, index])) < AGREE_DB))
    lost, missed = _draws(session, task, result, small, nodes, start, cycles)
    if lost:
        said.append(f"{lost} of {len(task.z)} tolerance draws did not converge")
    if missed:
        said.append(f"{missed} transients of tolerance draws did not converge")
    result.status = "; ".join(said) or "ok"
    return result


def _faulty(flat: FlatCircuit, task: RowTask) -> FlatCircuit:
    for fault in task.faults:
        flat = put_in(flat, fault, task.circuit)
    return flat


def _small_signal(session: Session, flat: FlatCircuit, circuit: Circuit, nodes: list[str]) -> tuple[Values, Values]:
    """DC (point,) [V] and small-signal level (point, frequency) [V rms] at the set-up's drive."""
    setup = circuit.unit.setup
    session.load(driven(flat, setup.generator, setup.frequencies[0], setup.start_dc).lines())
    return session.op(nodes), np.abs(session.ac(setup.frequencies, nodes))


def _draws(
    session: Session,
    task: RowTask,
    result: RowResult,
    small: Values,
    nodes: list[str],
    start: dict[str, float],
    cycles: list[int],
) -> tuple[int, int]:
    """Fill in the draws; return how many did not converge, and how many transients of draws did not."""
    setup = task.circuit.unit.setup
    lost = missed = 0
    confirmed = result.small_signal
    # Shape and the last tenth of a decibel are the transient's; they change little from draw to draw.
    heard = (small > QUIET) & (result.level[0] > QUIET)
    correction = np.divide(result.level[0], small, out=np.ones_like(small), where=heard)
    shape = np.divide(result.swing[0], result.level[0], out=np.full_like(small, 2 * 2**0.5), where=heard)
    for number, z in enumerate(task.z, 1):
        flat = _faulty(drawn(task.circuit.flat, task.numbers, z), task).starting_at(start)
        try:
            result.dc[number], level = _small_signal(session, flat, task.circuit, nodes)
        except EngineError as error:
            _raise_if_dead(session, error)
            lost += 1
            continue
        result.level[number][:, confirmed] = (level * correction)[:, confirmed]
        result.swing[number][:, confirmed] = (level * correction * shape)[:, confirmed]
        if number > task.slow_draws:
            continue
        # What settles late or never is followed at nominal values only: there the draws' spread is the healthy unit's.
        for index in np.flatnonzero(~confirmed & result.settled & (np.array(cycles) <= QUICK)):
            try:
                frequency = setup.frequencies[index]
                found = steady(session, flat, setup.generator, frequency, setup.start_dc, nodes, cycles[index])
            except EngineError as error:
                _raise_if_dead(session, error)
                missed += 1
                continue
            result.level[number, :, index], result.swing[number, :, index] = found.level, found.swing
    return lost, missed


def _raise_if_dead(session: Session, error: EngineError) -> None:
    """Give the row up where ngspice cannot go on: what follows would fail for no fault of the circuit's."""
    if session.dead:
        raise error


def empty(samples: int, points: int, frequencies: int) -> RowResult:
    """Return a row without numbers."""

    def nothing(*shape: int) -> Values:
        return np.full(shape, np.nan)

    return RowResult(
        nothing(samples, points),
        nothing(samples, points, frequencies),
        nothing(samples, points, frequencies),
        nothing(points, frequencies, WAVE_POINTS),
        np.zeros(frequencies, dtype=bool),
        np.zeros(frequencies, dtype=bool),
    )
