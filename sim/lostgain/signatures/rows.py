"""One row of a signature table: the analyses of one faulty circuit, run in a worker."""

from __future__ import annotations

from dataclasses import replace
from typing import cast

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import Circuit, FlatCircuit
from lostgain.circuit.model import driven
from lostgain.engine import EngineError, Session
from lostgain.signatures.controls import Turn
from lostgain.signatures.cycle import QUIET, decibels
from lostgain.signatures.draws import drawn, opens, with_opens
from lostgain.signatures.follow import AGREE_DB, HEADROOM
from lostgain.signatures.probes import (
    FLOATING,
    PROBES,
    probed_dc,
    source_impedance,
    with_probes,
)
from lostgain.signatures.ripple import held_alike, powered, ripple_draws
from lostgain.signatures.row import RowResult, RowTask, changed, empty
from lostgain.signatures.row_draws import loud_draws, proved, small_draws
from lostgain.signatures.row_keep import highest, keep, keep_common, keep_dc, keep_sines, raise_if_dead
from lostgain.signatures.slow_draws import slow_draws
from lostgain.signatures.states import Linear, Steady, states
from lostgain.signatures.steady import steady
from lostgain.signatures.untroubled import Small, high, untroubled

Values = NDArray[np.float64]
Complex = NDArray[np.complex128]

#: A source impedance above this [ohm] is computed for every fault.
HIGH = 1000.0
#: Cycles that stray paths are followed for.
QUICK = 3
#: Draws of a stray path, for small signals.
STRAY_DRAWS = 4


def run_row(session: Session, task: RowTask) -> RowResult:
    """Run the analyses of one row.

    A run that does not converge is recorded and not filled in, but for this: where there is no transient, and nothing
    clips as far as small-signal analysis knows, its levels stay, at nominal values and as unsettled ones.
    """
    circuit = task.circuit
    setup = circuit.unit.setup
    nominal = _faulty(circuit.flat, task)
    result = empty(circuit, len(task.z) + 1)
    said: list[str] = []
    try:
        if circuit.unit.supplies:
            well = task.healthy.ripple[0] if task.healthy is not None else None
            nominal, result.ripple[0], remark = powered(
                session, nominal, circuit, task.faults, well, task.instead is not None
            )
            said += [remark] if remark else []
        small = _nominal(session, nominal, task, result)
    except EngineError as error:
        raise_if_dead(session, error)
        result.status = f"no operating point: {error.reason}"
        return result
    nodes = list(circuit.points.values())
    ended: dict[int, Steady] = {}
    if isinstance(task.instead, Turn):
        keep_sines(result, small.points, circuit)
        return result
    if task.instead is not None:
        _stray_row(session, nominal, task, result, small)
        return result
    untouched = _untroubled(session, nominal, task, small)
    _keep_as_healthy(result, small, task, untouched)
    for index, frequency in enumerate(setup.frequencies if task.in_time else ()):
        if untouched[index]:
            continue
        start = _linear(circuit, small, index)
        try:
            found = steady(session, nominal, setup.generator, frequency, setup.start_dc, nodes, start)
        except EngineError as error:
            raise_if_dead(session, error)
            said.append(f"no transient at {frequency:g} Hz: {error.reason}")
            if start.state() is not None:
                keep_sines(result, small.points, circuit, slice(index, index + 1))
            continue
        keep(result, 0, index, found)
        result.wave[:, index], result.settled[index] = found.wave, found.settled
        small_level = np.abs(small.points[:, index])
        result.small_signal[index] = bool(np.all(np.abs(decibels(found.level, small_level)) < AGREE_DB))
        # What never settles is followed at nominal values only: there the draws' spread is the healthy unit's.
        if not result.small_signal[index] and found.settled:
            ended[index] = replace(found, state=found.state - small.dc)
    flats = [
        with_opens(_faulty(drawn(circuit.flat, task.numbers, z), task), circuit.flat, decades)
        for z, decades in zip(task.z, opens(len(task.z)), strict=True)
    ]
    if circuit.unit.supplies:
        flats = [held_alike(flat, nominal, circuit) for flat in flats]
        result.ripple[1:] = ripple_draws(session, nominal, flats, circuit, result.ripple[0])
    fine = proved(circuit, result, untouched, task.healthy)
    rest, loud = small_draws(session, flats, circuit, result, small.points, states(nominal) if ended else [], fine)
    lost = sum(each is None for each in rest)
    missed = slow_draws(session, flats[: task.slow_draws], circuit, result, ended, rest)
    if task.in_time:
        followed = [each for each in loud if each.number <= task.slow_draws]
        loud_draws(session, flats, circuit, result, followed, fine)
    if lost:
        said.append(f"{lost} of {len(task.z)} tolerance draws did not converge")
    if missed:
        said.append(f"{missed} transients of tolerance draws did not converge")
    result.status = "; ".join(said) or "ok"
    return result


def _linear(circuit: Circuit, small: Small, index: int) -> Linear:
    """Return what a transient can start from at one of the frequencies."""
    return Linear(small.dc, small.phasor[:, index], HEADROOM * highest(circuit))


def _untroubled(session: Session, nominal: FlatCircuit, task: RowTask, small: Small) -> NDArray[np.bool_]:
    """Tell at which frequencies no transient is needed: array, (frequency,)."""
    well = task.healthy
    if well is None or not task.in_time:
        return np.zeros(small.points.shape[1], dtype=bool)
    fine = well.small_signal & well.settled
    return fine & untroubled(small, _well(session, task), nominal, task.circuit.unit.setup.generator)


def _well(session: Session, task: RowTask) -> Small:
    """Return what small-signal analysis says of the healthy unit: computed once by each worker."""
    circuit, setup = task.circuit, task.circuit.unit.setup
    flat = driven(circuit.flat, setup.generator, setup.frequencies[0], setup.start_dc)
    key = tuple(flat.lines()), setup.frequencies
    if _HEALTHY.get("key") != key:
        session.load(flat.lines())
        every = states(flat)
        dc, phasor = session.op(every), session.ac(setup.frequencies, every)
        points = phasor[[every.index(node) for node in circuit.points.values()]]
        _HEALTHY.update(key=key, small=Small(tuple(every), dc, phasor, points, high(session, every)))
    return cast(Small, _HEALTHY["small"])


_HEALTHY: dict[str, object] = {}


def _keep_as_healthy(result: RowResult, small: Small, task: RowTask, untouched: NDArray[np.bool_]) -> None:
    """Store levels where no transient is needed: small-signal analysis's, as far off as the healthy unit's are."""
    well = task.healthy
    if well is None or not untouched.any():
        return
    of_well = cast(Small, _HEALTHY["small"]).points
    heard = (np.abs(of_well) > QUIET) & (well.level[0] > QUIET)
    one = np.ones(of_well.shape)
    size = np.divide(well.level[0], np.abs(of_well), out=one.copy(), where=heard)
    shape = np.divide(well.swing[0], well.level[0], out=one * (2 * 2**0.5), where=heard)
    turn = np.divide(well.phasor[0], of_well, out=one.astype(complex), where=heard)
    level, phasor = np.abs(small.points) * size, small.points * turn
    phase = np.exp(2j * np.pi * np.arange(result.wave.shape[2]) / result.wave.shape[2])
    wave = 2**0.5 * np.imag(phasor[:, :, None] * phase)
    for kept, found in ((result.level[0], level), (result.swing[0], level * shape), (result.phasor[0], phasor)):
        kept[:, untouched] = found[:, untouched]
    result.wave[:, untouched] = wave[:, untouched]
    result.settled[untouched] = result.small_signal[untouched] = True


def _stray_row(session: Session, flat: FlatCircuit, task: RowTask, result: RowResult, small: Small) -> None:
    """Fill in the levels of a stray path: a few cycles where something may clip, else what small-signal analysis gives.

    Good enough for what stands for faults that are not known well, and cheap: followed until they settle, stray paths
    take longer than the faults of parts.
    """
    setup, well = task.circuit.unit.setup, task.healthy
    nodes = list(task.circuit.points.values())
    keep_sines(result, small.points, task.circuit)
    result.settled[:] = result.small_signal[:] = True
    if well is None or not task.in_time:
        return
    moved = np.abs(result.dc[0] - well.dc[0]).max() > 20e-3
    higher = np.abs(small.points) > 1.02 * np.abs(well.phasor[0]) + QUIET
    for index, frequency in enumerate(setup.frequencies):
        if not (moved or higher[:, index].any()) and well.small_signal[index]:
            continue
        result.small_signal[index] = False
        try:
            start = _linear(task.circuit, small, index)
            found = steady(session, flat, setup.generator, frequency, setup.start_dc, nodes, start, most=QUICK)
        except EngineError as error:
            raise_if_dead(session, error)
            continue
        keep(result, 0, index, found)
        result.wave[:, index] = found.wave
    # An integrator without its feedback goes to one rail or the other, by its offset: a few draws show that.
    flats = [_faulty(drawn(task.circuit.flat, task.numbers, z), task) for z in task.z[:STRAY_DRAWS]]
    small_draws(session, flats, task.circuit, result, small.points, [])


def _faulty(flat: FlatCircuit, task: RowTask) -> FlatCircuit:
    return changed(flat, task.circuit, task.faults, task.instead)


def _nominal(session: Session, nominal: FlatCircuit, task: RowTask, result: RowResult) -> Small:
    """DC, rail currents and source impedances at nominal values; returns what small-signal analysis says."""
    circuit = task.circuit
    setup = circuit.unit.setup
    flat = driven(nominal, setup.generator, setup.frequencies[0], setup.start_dc)
    session.load(with_probes(flat, circuit).lines())
    every = states(flat)
    dc = keep_dc(session, flat, circuit, result, 0, every)
    phasor = session.ac(setup.frequencies, every)
    keep_common(session, circuit, result, 0)
    place = {node: number for number, node in enumerate(every)}
    small = phasor[[place[node] for node in circuit.points.values()]]
    well = task.healthy
    for number, node in enumerate(circuit.points.values()):
        if well is None or _concerned(result, small, well, number):
            result.impedance[number] = source_impedance(session, node, number)
        else:
            result.impedance[number] = well.impedance[number]
        ohms = result.impedance[number, 0].real
        if ohms > FLOATING:
            result.probed[number] = probed_dc(session, node, number)
        else:
            result.probed[number] = result.dc[0, number] / (1 + ohms / np.array(PROBES))
    return Small(tuple(every), dc, phasor, small, high(session, every))


def _concerned(result: RowResult, small: Complex, well: RowResult, point: int) -> bool:
    """Tell whether a fault may have changed a point's source impedance, or it is high enough to matter."""
    if np.abs(well.impedance[point, 0]) > HIGH:
        return True
    moved = abs(result.dc[0, point] - well.dc[0, point]) > 20e-3
    changed = np.abs(decibels(np.abs(small[point]), np.abs(well.phasor[0, point]))) > 0.5
    return bool(moved or changed.any())
