"""What a row of a signature table is made of, and what is in it."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import Circuit, FlatCircuit
from lostgain.circuit.model import balanced
from lostgain.faults import Fault, Stray, put_in, put_stray
from lostgain.signatures.controls import Turn, put_turn
from lostgain.signatures.draws import Varied
from lostgain.signatures.follow import WAVE_POINTS
from lostgain.signatures.probes import IMPEDANCE_AT, PROBES

Values = NDArray[np.float64]
Complex = NDArray[np.complex128]


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
    instead : Stray, Turn or None
        A stray path instead of a fault: at nominal values and a few draws, see `_stray_row`. Or a control turned, for
        which small-signal analysis at nominal values is enough.
    """

    circuit: Circuit
    faults: tuple[Fault, ...]
    numbers: list[Varied]
    z: Values
    slow_draws: int
    in_time: bool = True
    healthy: RowResult | None = None
    instead: Stray | Turn | None = None


def changed(
    flat: FlatCircuit, circuit: Circuit, faults: tuple[Fault, ...], instead: Stray | Turn | None
) -> FlatCircuit:
    """Return a circuit with the faults of a row in it, or with what it has instead."""
    for fault in faults:
        flat = put_in(flat, fault, circuit)
    if isinstance(instead, Turn):
        return put_turn(flat, instead)
    return put_stray(flat, instead) if instead is not None else flat


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
