"""What a worker does for the tests of supplies."""

from __future__ import annotations

import numpy as np

from lostgain.circuit import Circuit
from lostgain.engine import Session
from lostgain.faults import parse, put_in
from lostgain.signatures.ripple import powered


def look(session: Session, item: tuple[Circuit, str]) -> list[tuple[float, float]]:
    """Return DC [V] and ripple [V peak to peak] of every test point, with a fault in the unit or none."""
    circuit, text = item
    faults = [parse(text, circuit)] if text else []
    flat = circuit.flat
    for fault in faults:
        flat = put_in(flat, fault, circuit)
    well = np.zeros(len(circuit.points)) if faults else None
    flat, ripple, _ = powered(session, flat, circuit, faults, well, False)
    session.load(flat.lines())
    dc = session.op(list(circuit.points.values()))
    return [(float(volts), float(swing)) for volts, swing in zip(dc, ripple, strict=True)]
