"""What the tests have workers do with a circuit."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from lostgain.circuit import FlatCircuit
from lostgain.engine import Session


def voltages(session: Session, item: tuple[FlatCircuit, Sequence[str]]) -> np.ndarray:
    """DC of nodes: array, (node,) [V]."""
    flat, nodes = item
    session.load(flat.lines())
    return session.op(nodes)


def levels(session: Session, item: tuple[FlatCircuit, Sequence[str], Sequence[float]]) -> np.ndarray:
    """Small-signal levels at the drive of the set-up: array, (node, frequency) [V rms]."""
    flat, nodes, frequencies = item
    session.load(flat.lines())
    return np.abs(session.ac(frequencies, nodes))
