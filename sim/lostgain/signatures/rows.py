"""One row of a signature table: the analyses of one faulty circuit, run in a worker."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import cast

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import Circuit, FlatCircuit
from lostgain.circuit.model import COLD, GENERATOR, SOURCE, balanced, driven
from lostgain.engine import EngineError, Session
from lostgain.faults import Fault, Stray, put_in, put_stray
from lostgain.signatures.draws import Varied, drawn
from lostgain.signatures.probes import (
    FLOATING,
    IMPEDANCE_AT,
    PROBES,
    probed_dc,
    rail_ends,
    source_impedance,
    with_probes,
)
from lostgain.signatures.ripple import held_alike, powered, ripple_draws
from lostgain.signatures.steady import AGREE_DB, QUIET, WAVE_POINTS, Linear, Steady, decibels, nearby, states, steady
from lostgain.signatures.untroubled import Small, high, untroubled

Values = NDArray[np.float64]
Complex = NDArray[np.complex128]

#: A source impedance above this [ohm] is computed for every fault.
HIGH = 1000.0
#: Cycles that stray paths are followed for.
QUICK = 3
#: A node carries no more than the largest rail, by this factor: where a phasor is larger, it clips.
HEADROOM = 1.1

#: Draws of a stray path, for small signals.
STRAY_DRAWS = 4


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
    healthy : RowResult or None
        The healthy unit's row, once it is known: what a fault leaves alone need not be computed again.
    stray : Stray or None
        A stray path instead of a fault: at nominal values and a few draws, see `_stray_row`.
    """

    circuit: Circuit
    faults: tuple[Fault, ...]
    numbers: list[Varied]
    z: Values
    slow_draws: int
    in_time: bool = True
    healthy: RowResult | None = None
    stray: Stray | None = None


@dataclass
class RowResult:
    """The numbers of one row; the first sample is at nominal values, the others are draws.

    Parameters
    ----------
    dc : array, (sample, point) [V]
        With the generator off.
    level : array, (sample, point, frequency) [V rms]
    swing : array, (sample, point, frequency) [V peak to peak]
    phasor : complex array, (sample, point, frequency) [V rms]
        Of the fundamental; its angle is against the generator's sine.
    current : array, (sample, rail) [A]
        What each rail delivers into the channel.
    impedance : complex array, (point, frequency of `IMPEDANCE_AT`) [ohm]
        Source impedance at nominal values: how far a probe loads the point.
    probed : array, (point, probe of `PROBES`) [V]
        DC with that probe on the point, at nominal values.
    wave : array, (point, frequency, phase) [V]
        At nominal values.
    small_signal : array of bool, (frequency,)
        Where the transient at nominal values confirmed small-signal analysis, which then serves for the draws.
    settled : array of bool, (frequency,)
    ripple : array, (sample, point) [V peak to peak]
        With the mains on and the generator off; without points where the unit's supply is not described.
    common : array, (sample, point) [V rms]
        With both legs of a balanced input driven alike, at the set-up's first frequency, by small-signal analysis;
        empty where the input has one leg.
    status : str
        ``ok``, or what failed; numbers that were not found are NaN.
    """

    dc: Values
    level: Values
    swing: Values
    phasor: Complex
    current: Values
    impedance: Complex
    probed: Values
    wave: Values
    small_signal: NDArray[np.bool_]
    settled: NDArray[np.bool_]
    ripple: Values
    common: Values = field(default_factory=lambda: np.zeros((0, 0)))
    status: str = "ok"


def run_row(session: Session, task: RowTask) -> RowResult:
    """Run the analyses of one row. A run that does not converge is recorded, never filled in."""
    circuit = task.circuit
    setup = circuit.unit.setup
    nominal = _faulty(circuit.flat, task)
    result = empty(circuit, len(task.z) + 1)
    said: list[str] = []
    try:
        if circuit.unit.supplies:
            well = task.healthy.ripple[0] if task.healthy is not None else None
            nominal, result.ripple[0], remark = powered(
                session, nominal, circuit, task.faults, well, task.stray is not None
            )
            said += [remark] if remark else []
        small = _nominal(session, nominal, task, result)
    except EngineError as error:
        _raise_if_dead(session, error)
        result.status = f"no operating point: {error.reason}"
        return result
    nodes = list(circuit.points.values())
    ended: dict[int, Values] = {}
    if task.stray is not None:
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
            _raise_if_dead(session, error)
            said.append(f"no transient at {frequency:g} Hz: {error.reason}")
            continue
        _keep(result, 0, index, found)
        result.wave[:, index], result.settled[index] = found.wave, found.settled
        small_level = np.abs(small.points[:, index])
        result.small_signal[index] = bool(np.all(np.abs(decibels(found.level, small_level)) < AGREE_DB))
        # What never settles is followed at nominal values only: there the draws' spread is the healthy unit's.
        if not result.small_signal[index] and found.settled:
            ended[index] = found.state - small.dc
    flats = [_faulty(drawn(circuit.flat, task.numbers, z), task) for z in task.z]
    if circuit.unit.supplies:
        flats = [held_alike(flat, nominal, circuit) for flat in flats]
        result.ripple[1:] = ripple_draws(session, nominal, flats, circuit, result.ripple[0])
    rest = _small_draws(session, flats, circuit, result, small.points, states(nominal) if ended else [])
    lost = sum(each is None for each in rest)
    missed = _slow_draws(session, flats[: task.slow_draws], circuit, result, ended, rest)
    if lost:
        said.append(f"{lost} of {len(task.z)} tolerance draws did not converge")
    if missed:
        said.append(f"{missed} transients of tolerance draws did not converge")
    result.status = "; ".join(said) or "ok"
    return result


def _linear(circuit: Circuit, small: Small, index: int) -> Linear:
    """Return what a transient can start from at one of the frequencies."""
    limit = HEADROOM * max((abs(rail.volts) for rail in circuit.unit.rails), default=np.inf)
    return Linear(small.dc, small.phasor[:, index], limit)


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
    _keep_sines(result, small.points, task.circuit)
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
            _raise_if_dead(session, error)
            continue
        _keep(result, 0, index, found)
        result.wave[:, index] = found.wave
    # An integrator without its feedback goes to one rail or the other, by its offset: a few draws show that.
    flats = [_faulty(drawn(task.circuit.flat, task.numbers, z), task) for z in task.z[:STRAY_DRAWS]]
    _small_draws(session, flats, task.circuit, result, small.points, [])


def _keep_sines(result: RowResult, small: Complex, circuit: Circuit) -> None:
    """Store what small-signal analysis gives, no larger than the rails let it be."""
    size = np.abs(small)
    phasor = small * np.minimum(1.0, _largest(circuit) / np.maximum(size, 1e-12))
    level = np.abs(phasor)
    result.level[0], result.swing[0], result.phasor[0] = level, 8**0.5 * level, phasor
    turn = np.exp(2j * np.pi * np.arange(result.wave.shape[2]) / result.wave.shape[2])
    result.wave[:] = 2**0.5 * np.imag(phasor[:, :, None] * turn)
    result.settled[:] = result.small_signal[:] = True


def _faulty(flat: FlatCircuit, task: RowTask) -> FlatCircuit:
    for fault in task.faults:
        flat = put_in(flat, fault, task.circuit)
    return put_stray(flat, task.stray) if task.stray is not None else flat


def _nominal(session: Session, nominal: FlatCircuit, task: RowTask, result: RowResult) -> Small:
    """DC, rail currents and source impedances at nominal values; returns what small-signal analysis says."""
    circuit = task.circuit
    setup = circuit.unit.setup
    flat = driven(nominal, setup.generator, setup.frequencies[0], setup.start_dc)
    session.load(with_probes(flat, circuit).lines())
    every = states(flat)
    dc = _keep_dc(session, flat, circuit, result, 0, every)
    phasor = session.ac(setup.frequencies, every)
    _keep_common(session, circuit, result, 0)
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


def _keep_common(session: Session, circuit: Circuit, result: RowResult, sample: int) -> None:
    """Store what is left of a signal on both legs of a balanced input; they are tied, so no source is between them."""
    if not balanced(circuit.flat):
        return
    setup = circuit.unit.setup
    legs = (f"@{GENERATOR}[acmag]", f"@{COLD}[acmag]")
    drive = setup.common or setup.generator
    session.change({legs[0]: drive, legs[1]: drive, SOURCE: 1e-3}, {})
    try:
        found = session.ac(setup.frequencies[:1], list(circuit.points.values()))
    finally:
        session.change({legs[0]: setup.generator, legs[1]: 0.0, SOURCE: max(setup.source, 1e-3)}, {})
    result.common[sample] = np.minimum(np.abs(found[:, 0]), _largest(circuit))


def _largest(circuit: Circuit) -> float:
    """Return the level of a sine that fills the rails [V rms]."""
    ends = [0.0, *(rail.volts for rail in circuit.unit.rails)]
    return float((max(ends) - min(ends)) / 8**0.5)


def _concerned(result: RowResult, small: Complex, well: RowResult, point: int) -> bool:
    """Tell whether a fault may have changed a point's source impedance, or it is high enough to matter."""
    if np.abs(well.impedance[point, 0]) > HIGH:
        return True
    moved = abs(result.dc[0, point] - well.dc[0, point]) > 20e-3
    changed = np.abs(decibels(np.abs(small[point]), np.abs(well.phasor[0, point]))) > 0.5
    return bool(moved or changed.any())


def _keep_dc(
    session: Session, flat: FlatCircuit, circuit: Circuit, result: RowResult, sample: int, others: Sequence[str] = ()
) -> Values:
    """Store DC at the points and the currents the rails deliver; return DC at other nodes."""
    nodes = list(circuit.points.values())
    ends = [node for rail in circuit.unit.rails for node in rail_ends(flat, rail)]
    found = session.op([*nodes, *ends, *others])
    result.dc[sample] = found[: len(nodes)]
    drops = found[len(nodes) : len(nodes) + len(ends)].reshape(-1, 2)
    for number, rail in enumerate(circuit.unit.rails):
        result.current[sample, number] = (drops[number, 0] - drops[number, 1]) / max(rail.resistance, 1e-3)
    return found[len(nodes) + len(ends) :]


def _keep(result: RowResult, sample: int, index: int, found: Steady) -> None:
    result.level[sample, :, index], result.swing[sample, :, index] = found.level, found.swing
    turn = np.exp(-2j * np.pi * np.arange(found.wave.shape[1]) / found.wave.shape[1])
    # A sine that starts at zero is the phasor's real axis.
    result.phasor[sample, :, index] = 1j * np.sqrt(2) * np.mean(found.wave * turn, axis=1)


def _small_draws(
    session: Session,
    flats: list[FlatCircuit],
    circuit: Circuit,
    result: RowResult,
    small: Complex,
    every: Sequence[str],
) -> list[Values | None]:
    """Fill in the draws where small-signal analysis is confirmed; return each one's DC at `every`, None for none."""
    setup = circuit.unit.setup
    nodes = list(circuit.points.values())
    confirmed = result.small_signal
    # Shape and the last tenth of a decibel are the transient's; they change little from draw to draw.
    heard = (np.abs(small) > QUIET) & (result.level[0] > QUIET)
    one = np.ones(small.shape)
    size = np.divide(result.level[0], np.abs(small), out=one.copy(), where=heard)
    shape = np.divide(result.swing[0], result.level[0], out=one * (2 * 2**0.5), where=heard)
    turn = np.divide(result.phasor[0], small, out=one.astype(complex), where=heard)
    rest: list[Values | None] = []
    before: FlatCircuit | None = None
    for number, flat in enumerate(flats, 1):
        flat = driven(flat, setup.generator, setup.frequencies[0], setup.start_dc)
        try:
            _load(session, flat, before)
            before = flat
            rest.append(_keep_dc(session, flat, circuit, result, number, every))
            phasor = session.ac(setup.frequencies, nodes)
            _keep_common(session, circuit, result, number)
        except EngineError as error:
            _raise_if_dead(session, error)
            before = None
            rest[number - 1 :] = [None]
            continue
        level = np.abs(phasor) * size
        result.level[number][:, confirmed] = level[:, confirmed]
        result.swing[number][:, confirmed] = (level * shape)[:, confirmed]
        result.phasor[number][:, confirmed] = (phasor * turn)[:, confirmed]
    return rest


def _load(session: Session, flat: FlatCircuit, before: FlatCircuit | None) -> None:
    """Put a circuit into ngspice: by changing numbers of the one before, where that is all that differs."""
    changes = flat.changes_from(before) if before is not None else None
    if changes is not None:
        try:
            session.change(*changes)
            return
        except ValueError:
            pass
    session.load(flat.lines())


def _slow_draws(
    session: Session,
    flats: list[FlatCircuit],
    circuit: Circuit,
    result: RowResult,
    ended: Mapping[int, Values],
    rest: Sequence[Values | None],
) -> int:
    """Follow draws in time where small-signal analysis is not confirmed; return how many transients gave no result.

    A draw starts where nominal values ended (`ended`, by frequency, less their DC), about its own operating point
    (`rest`): so it is settled at once, or nearly.
    """
    setup = circuit.unit.setup
    nodes = list(circuit.points.values())
    missed = 0
    for number, (flat, dc) in enumerate(zip(flats, rest, strict=False), 1):
        if dc is None:
            continue
        for index, swung in ended.items():
            frequency = setup.frequencies[index]
            try:
                found = nearby(session, flat, setup.generator, frequency, setup.start_dc, nodes, dc + swung)
            except EngineError as error:
                _raise_if_dead(session, error)
                missed += 1
                continue
            _keep(result, number, index, found)
    return missed


def _raise_if_dead(session: Session, error: EngineError) -> None:
    """Give the row up where ngspice cannot go on: what follows would fail for no fault of the circuit's."""
    if session.dead:
        raise error


def empty(circuit: Circuit, samples: int) -> RowResult:
    """Return a row without numbers."""
    points, frequencies = len(circuit.points), len(circuit.unit.setup.frequencies)

    def nothing(*shape: int) -> Values:
        return np.full(shape, np.nan)

    def nothing_complex(*shape: int) -> Complex:
        return np.full(shape, np.nan + 0j, dtype=np.complex128)

    return RowResult(
        dc=nothing(samples, points),
        level=nothing(samples, points, frequencies),
        swing=nothing(samples, points, frequencies),
        phasor=nothing_complex(samples, points, frequencies),
        current=nothing(samples, len(circuit.unit.rails)),
        impedance=nothing_complex(points, len(IMPEDANCE_AT)),
        probed=nothing(points, len(PROBES)),
        wave=nothing(points, frequencies, WAVE_POINTS),
        small_signal=np.zeros(frequencies, dtype=bool),
        settled=np.zeros(frequencies, dtype=bool),
        ripple=nothing(samples, points if circuit.unit.supplies else 0),
        common=nothing(samples, points) if balanced(circuit.flat) else np.zeros((0, 0)),
    )
