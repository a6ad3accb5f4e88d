"""What a failure looks like: the faulty circuit beside the healthy one, at nominal values."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import Circuit
from lostgain.circuit.model import driven
from lostgain.engine import Outcome, Pool, RunFailed, Session
from lostgain.faults import Fault, put_in
from lostgain.problems import UserError
from lostgain.quantities import show
from lostgain.signatures.draws import deviates, drawn, varied
from lostgain.signatures.follow import WAVE_POINTS
from lostgain.signatures.fuses import fuse_amps, fuses
from lostgain.signatures.ripple import powered
from lostgain.signatures.states import Steady
from lostgain.signatures.steady import steady

Values = NDArray[np.float64]

#: The band of the response at the output [Hz] and its points a decade.
BAND = (10.0, 100e3)
PER_DECADE = 20
#: Units drawn within their tolerances for the range of DC, and their seed.
DC_DRAWS, SEED = 8, 1

#: A circuit, the faults in it, and the frequency of the sine; None for DC and the response.
_Run = tuple[Circuit, tuple[Fault, ...], float | None]


@dataclass(frozen=True)
class State:
    """A circuit's readings at nominal values.

    Parameters
    ----------
    dc : array, (point,) [V]
        With the generator off.
    level : array, (point, frequency) [V rms]
    swing : array, (point, frequency) [V peak to peak]
    wave : array, (point, frequency, phase) [V]
        One cycle without DC, starting where the generator crosses zero upwards.
    settled : array of bool, (frequency,)
    response : array, (frequency of the sweep,)
        Small-signal gain from the generator to the output, as a ratio.
    ripple : array, (point,) [V peak to peak]
        With the mains on and the generator off; without points where the unit's supply is not described.
    fuse_amps : array, (fuse,) [A]
        The current through each of `fuses`, generator off, rms where it is AC; of the channel that is simulated.
    dc_range : array, (2, point) [V]
        Least and most of units with parts drawn within their tolerances; without points where that is not known.
    trouble : tuple of str
        Runs that gave no result, with what ngspice said; their numbers are NaN.
    """

    dc: Values
    level: Values
    swing: Values
    wave: Values
    settled: NDArray[np.bool_]
    response: Values
    trouble: tuple[str, ...] = ()
    ripple: Values = field(default_factory=lambda: np.zeros(0))
    fuse_amps: Values = field(default_factory=lambda: np.zeros(0))
    dc_range: Values = field(default_factory=lambda: np.zeros((2, 0)))


@dataclass(frozen=True)
class Prediction:
    """A failure beside the healthy unit.

    Parameters
    ----------
    circuit : Circuit
    faults : tuple of Fault
    points : tuple of str
        Test points in signal order.
    frequencies : tuple of float
        [Hz]: middle, low, high.
    sweep : array, (frequency of the sweep,) [Hz]
    healthy, faulty : State
    """

    circuit: Circuit
    faults: tuple[Fault, ...]
    points: tuple[str, ...]
    frequencies: tuple[float, ...]
    sweep: Values
    healthy: State
    faulty: State


def predict(circuit: Circuit, faults: tuple[Fault, ...] | list[Fault], pool: Pool | None = None) -> Prediction:
    """Predict what one failure, or several at once, looks like.

    Parameters
    ----------
    circuit : Circuit
    faults : sequence of Fault
    pool : Pool or None
        Workers to use; started if needed.

    Raises
    ------
    UserError
        If the healthy unit itself cannot be simulated.
    """
    if pool is None:
        with Pool(workers=2) as own:
            return predict(circuit, faults, own)
    frequencies = circuit.unit.setup.frequencies
    runs: list[_Run] = [(circuit, which, at) for which in ((), tuple(faults)) for at in (None, *frequencies)]
    outcomes = pool.map(_run, runs)
    half = len(outcomes) // 2
    healthy, faulty = _state(circuit, outcomes[:half]), _state(circuit, outcomes[half:])
    if healthy.trouble:
        raise UserError(f"the healthy unit cannot be simulated: {'; '.join(healthy.trouble)}")
    if not circuit.unit.supplies:  # a described supply takes far longer to find its balance than all else here
        before, after = pool.map(_dc_range, [(circuit, ()), (circuit, tuple(faults))])
        if before.error is None and after.error is None:
            healthy, faulty = replace(healthy, dc_range=before.value), replace(faulty, dc_range=after.value)
    if fuses(circuit):
        before, after = pool.map(fuse_amps, [(circuit, ()), (circuit, tuple(faults))])
        if before.error is None and after.error is None:
            healthy, faulty = replace(healthy, fuse_amps=before.value), replace(faulty, fuse_amps=after.value)
    return Prediction(circuit, tuple(faults), tuple(circuit.points), frequencies, sweep_frequencies(), healthy, faulty)


def sweep_frequencies() -> Values:
    """Return the frequencies of the response [Hz]: array."""
    decades = np.log10(BAND[1] / BAND[0])
    return np.logspace(np.log10(BAND[0]), np.log10(BAND[1]), round(decades * PER_DECADE) + 1)


def _run(session: Session, item: _Run) -> tuple[Values, Values, Values] | Steady:
    """One analysis: DC and response, or the sine at one frequency. Each on its own, so that one lost costs no other."""
    circuit, faults, frequency = item
    flat = circuit.flat
    for fault in faults:
        flat = put_in(flat, fault, circuit)
    setup = circuit.unit.setup
    nodes = list(circuit.points.values())
    ripple = np.zeros(0)
    if circuit.unit.supplies:
        flat, ripple, remark = powered(session, flat, circuit, faults, None, False)
        if remark:
            raise RunFailed(remark, ())
    if frequency is not None:
        return steady(session, flat, setup.generator, frequency, setup.start_dc, nodes)
    session.load(driven(flat, setup.generator, setup.frequencies[0], setup.start_dc).lines())
    dc = session.op(nodes)
    return dc, np.abs(session.sweep(*BAND, PER_DECADE, [circuit.output])[1][0]) / setup.generator, ripple


def _dc_range(session: Session, item: tuple[Circuit, tuple[Fault, ...]]) -> Values:
    """Return the least and the most DC at each point of units drawn within their tolerances: array, (2, point) [V]."""
    circuit, faults = item
    numbers = varied(circuit)
    setup = circuit.unit.setup
    found = []
    for z in deviates(DC_DRAWS, len(numbers), SEED):
        flat = drawn(circuit.flat, numbers, z)
        for fault in faults:
            flat = put_in(flat, fault, circuit)
        session.load(driven(flat, setup.generator, setup.frequencies[0], setup.start_dc).lines())
        try:
            found.append(session.op(list(circuit.points.values())))
        except RunFailed:  # of one unit: the others still say how far they lie apart
            continue
    if not found:
        return np.zeros((2, 0))
    return np.array([np.min(found, axis=0), np.max(found, axis=0)])


def _state(circuit: Circuit, outcomes: Sequence[Outcome]) -> State:
    """Put the analyses of one circuit together; what gave no result is NaN, and its reason is kept."""
    frequencies = circuit.unit.setup.frequencies
    points, count = len(circuit.points), len(frequencies)
    dc, response = np.full(points, np.nan), np.full(len(sweep_frequencies()), np.nan)
    level, swing = np.full((points, count), np.nan), np.full((points, count), np.nan)
    wave, settled = np.full((points, count, WAVE_POINTS), np.nan), np.zeros(count, dtype=bool)
    trouble: list[str] = []
    ripple = np.full(points if circuit.unit.supplies else 0, np.nan)
    small, *in_time = outcomes
    if small.error is None:
        dc, response, ripple = small.value
    else:
        trouble.append(f"no operating point: {small.error}")
    for index, (frequency, outcome) in enumerate(zip(frequencies, in_time, strict=True)):
        if outcome.error is not None:
            trouble.append(f"no transient at {show(frequency, 'Hz')}: {outcome.error}")
            continue
        found: Steady = outcome.value
        level[:, index], swing[:, index], wave[:, index] = found.level, found.swing, found.wave
        settled[index] = found.settled
    return State(dc, level, swing, wave, settled, response, tuple(trouble), ripple)
