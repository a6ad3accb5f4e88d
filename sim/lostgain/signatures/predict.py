"""What a failure looks like: the faulty circuit beside the healthy one, at nominal values."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import Circuit, FlatCircuit
from lostgain.circuit.model import driven
from lostgain.engine import Pool, RunFailed, Session
from lostgain.faults import Fault, put_in
from lostgain.problems import UserError
from lostgain.signatures.steady import WAVE_POINTS, steady

Values = NDArray[np.float64]

#: The band of the response at the output [Hz] and its points a decade.
BAND = (10.0, 100e3)
PER_DECADE = 20


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
    healthy, faulty = pool.map(_state, [(circuit, ()), (circuit, tuple(faults))])
    for outcome in (healthy, faulty):
        if outcome.error is not None:
            raise UserError(f"the simulation failed: {outcome.error}")
    frequencies = circuit.unit.setup.frequencies
    return Prediction(
        circuit, tuple(faults), tuple(circuit.points), frequencies, sweep_frequencies(), healthy.value, faulty.value
    )


def sweep_frequencies() -> Values:
    """Return the frequencies of the response [Hz]: array."""
    decades = np.log10(BAND[1] / BAND[0])
    return np.logspace(np.log10(BAND[0]), np.log10(BAND[1]), round(decades * PER_DECADE) + 1)


def _state(session: Session, item: tuple[Circuit, tuple[Fault, ...]]) -> State:
    circuit, faults = item
    flat = circuit.flat
    for fault in faults:
        flat = put_in(flat, fault, circuit)
    setup = circuit.unit.setup
    nodes = list(circuit.points.values())
    points, count = len(nodes), len(setup.frequencies)
    level, swing = np.full((points, count), np.nan), np.full((points, count), np.nan)
    wave, settled = np.full((points, count, WAVE_POINTS), np.nan), np.zeros(count, dtype=bool)
    trouble: list[str] = []
    try:
        dc, response = _small(session, flat, circuit, nodes)
    except RunFailed as error:
        dc, response = np.full(points, np.nan), np.full(len(sweep_frequencies()), np.nan)
        trouble.append(f"no operating point: {error.reason}")
    for index, frequency in enumerate(setup.frequencies):
        try:
            found = steady(session, flat, setup.generator, frequency, setup.start_dc, nodes)
        except RunFailed as error:
            trouble.append(f"no transient at {frequency:g} Hz: {error.reason}")
            continue
        level[:, index], swing[:, index], wave[:, index] = found.level, found.swing, found.wave
        settled[index] = found.settled
    return State(dc, level, swing, wave, settled, response, tuple(trouble))


def _small(session: Session, flat: FlatCircuit, circuit: Circuit, nodes: list[str]) -> tuple[Values, Values]:
    setup = circuit.unit.setup
    session.load(driven(flat, setup.generator, setup.frequencies[0], setup.start_dc).lines())
    dc = session.op(nodes)
    response = np.abs(session.sweep(*BAND, PER_DECADE, [circuit.output])[1][0]) / setup.generator
    return dc, response
