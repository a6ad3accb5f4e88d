"""Rows that need no transient: nothing in the circuit is driven harder than in the healthy unit, which is linear."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import combinations
from typing import Any

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import FlatCircuit
from lostgain.circuit.flat import WITH_MODEL
from lostgain.engine import Session
from lostgain.signatures.cycle import QUIET

Values = NDArray[np.float64]
Complex = NDArray[np.complex128]

#: Bias may move by this [V], across a junction by this, and a signal be larger by this factor and this much [V rms].
MOVED, MOVED_ACROSS, LARGER, MORE = 0.1, 2e-3, 1.05, 0.1e-3
#: Where a circuit that oscillates by itself shows a resonance: from, to [Hz], points a decade; and how much larger a
#: response may be than the healthy one's, relative to what the generator drives it with.
HIGH_FROM, HIGH_TO, HIGH_PER_DECADE, PEAK, FAINT = 20e3, 20e6, 3, 1.12, 1e-4


@dataclass(frozen=True)
class Small:
    """What `op` and `ac` say of a circuit.

    Parameters
    ----------
    names : tuple of str
        Its states, see `steady.states`.
    dc : array, (state,) [V, A]
    phasor : complex array, (state, frequency) [V rms, A rms]
    points : complex array, (point, frequency) [V rms]
        The test points among them.
    high : array, (state, frequency) [V rms, A rms]
        Size of the response above the audio band.
    """

    names: tuple[str, ...]
    dc: Values
    phasor: Complex
    points: Complex
    high: Values


def high(session: Session, names: list[str]) -> Values:
    """Return the size of the response above the audio band, in the circuit that is loaded."""
    return np.abs(session.sweep(HIGH_FROM, HIGH_TO, HIGH_PER_DECADE, names)[1])


def untroubled(small: Small, well: Small, flat: FlatCircuit, drive: float) -> NDArray[np.bool_]:
    """Tell at which frequencies a fault leaves all devices as linear as they are in the healthy unit.

    Parameters
    ----------
    small, well : Small
        Of the faulty circuit and of the healthy one.
    flat : FlatCircuit
        The faulty circuit.
    drive : float
        Level of the generator [V rms].

    Returns
    -------
    array of bool, (frequency,)
        True where the bias of every node and junction is the healthy one, no signal is larger, and no response above
        the audio band has a peak that the healthy one has not: a circuit that oscillates by itself has one.
    """
    place = {name: number for number, name in enumerate(well.names)}
    common = [(number, place[name]) for number, name in enumerate(small.names) if name in place]
    here, there = (np.array(each) for each in zip(*common, strict=True))
    none = np.zeros(small.phasor.shape[1], dtype=bool)
    if np.abs(small.dc[here] - well.dc[there]).max() > MOVED:
        return none
    if np.any(small.high[here] > PEAK * well.high[there] + FAINT * drive):
        return none
    fine = np.all(np.abs(small.phasor[here]) <= LARGER * np.abs(well.phasor[there]) + QUIET, axis=0)
    at = {name: number for number, name in enumerate(small.names)}
    for one, other in _junctions(flat, at, place):
        bias = _across(small.dc, at, one, other) - _across(well.dc, place, one, other)
        if abs(bias) > MOVED_ACROSS:
            return none
        size = np.abs(_across(small.phasor, at, one, other))
        fine &= size <= LARGER * np.abs(_across(well.phasor, place, one, other)) + MORE
    return np.asarray(fine)


def _junctions(flat: FlatCircuit, at: Mapping[str, int], place: Mapping[str, int]) -> set[tuple[str, str]]:
    """Return the pairs of nodes that a device of the circuit lies across."""
    found: set[tuple[str, str]] = set()
    for element in flat.elements.values():
        if element.name[0] in WITH_MODEL:
            known = [node for node in element.nodes if node == "0" or (node in at and node in place)]
            found.update((one, other) for one, other in combinations(sorted(set(known)), 2))
    return found


def _across(values: NDArray[Any], place: Mapping[str, int], one: str, other: str) -> NDArray[Any]:
    """Return the voltage between two nodes, of which one may be ground."""
    here, there = (values[place[node]] if node != "0" else 0 * values[0] for node in (one, other))
    return np.asarray(here - there)
