"""Numbers of an analysis put into a row."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import Circuit, FlatCircuit
from lostgain.circuit.model import COLD, GENERATOR, SOURCE, balanced
from lostgain.engine import EngineError, Session
from lostgain.signatures.probes import rail_ends
from lostgain.signatures.row import RowResult
from lostgain.signatures.states import Steady

Values = NDArray[np.float64]
Complex = NDArray[np.complex128]


def keep_common(session: Session, circuit: Circuit, result: RowResult, sample: int) -> None:
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
    result.common[sample] = np.minimum(np.abs(found[:, 0]), largest(circuit))


def largest(circuit: Circuit) -> float:
    """Return the level of a sine that fills the rails [V rms]; without rails nothing limits it."""
    if not circuit.unit.rails:
        return float("inf")
    ends = [0.0, *(rail.volts for rail in circuit.unit.rails)]
    return float((max(ends) - min(ends)) / 8**0.5)


def highest(circuit: Circuit) -> float:
    """Return how far the highest rail is from ground [V]; without rails nothing limits a signal."""
    return max((abs(rail.volts) for rail in circuit.unit.rails), default=float("inf"))


def keep_dc(
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


def keep_sines(result: RowResult, small: Complex, circuit: Circuit, at: slice = slice(None)) -> None:
    """Store what small-signal analysis gives at frequencies `at`, no larger than the rails let it be."""
    small = small[:, at]
    size = np.abs(small)
    phasor = small * np.minimum(1.0, largest(circuit) / np.maximum(size, 1e-12))
    level = np.abs(phasor)
    result.level[0][:, at], result.swing[0][:, at], result.phasor[0][:, at] = level, 8**0.5 * level, phasor
    turn = np.exp(2j * np.pi * np.arange(result.wave.shape[2]) / result.wave.shape[2])
    result.wave[:, at] = 2**0.5 * np.imag(phasor[:, :, None] * turn)


def keep(result: RowResult, sample: int, index: int, found: Steady) -> None:
    """Store one sample's levels, swings and phasors at one frequency."""
    result.level[sample, :, index], result.swing[sample, :, index] = found.level, found.swing
    turn = np.exp(-2j * np.pi * np.arange(found.wave.shape[1]) / found.wave.shape[1])
    # A sine that starts at zero is the phasor's real axis.
    result.phasor[sample, :, index] = 1j * np.sqrt(2) * np.mean(found.wave * turn, axis=1)


def raise_if_dead(session: Session, error: EngineError) -> None:
    """Give the row up where ngspice cannot go on: what follows would fail for no fault of the circuit's."""
    if session.dead:
        raise error
