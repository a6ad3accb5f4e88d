"""A second-order low-pass as a netlist unit, against scipy.signal.

R. P. Sallen and E. L. Key, IRE Trans. Circuit Theory CT-2 (1955): with a gain of one,
H(s) = 1 / (R1 R2 C1 C2 s^2 + (R1 + R2) C2 s + 1). Formula from memory, to be verified.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest
from scipy import signal

from lostgain import circuit
from lostgain.engine import Pool, Session
from lostgain.unit import open_unit

UNIT = Path(__file__).parents[1] / "units" / "sallen-key"
R1 = R2 = 11.3e3
C1, C2 = 20e-9, 10e-9


def response(session: Session, item: tuple[circuit.Circuit, list[float]]) -> np.ndarray:
    """Small-signal output for 1 V; runs in a worker."""
    built, frequencies = item
    session.load(built.flat.lines())
    return session.ac(frequencies, [built.output])[0]


def test_response_against_scipy(pool: Pool) -> None:
    built = circuit.build(open_unit(UNIT), pool)
    frequencies = list(np.geomspace(10, 10e3, 25))
    outcome = pool.map(response, [(built, frequencies)])[0]
    assert outcome.error is None
    denominator = [R1 * R2 * C1 * C2, (R1 + R2) * C2, 1]
    _, ideal = signal.freqs([1], denominator, 2 * np.pi * np.array(frequencies))
    # the op-amp of 3.5 MHz and 100 ohm is in neither formula: its phase shows first
    assert np.abs(outcome.value - ideal).max() < 4e-3


def test_corner_is_butterworth(pool: Pool) -> None:
    """Q = sqrt(C1/C2)/2 = 0.7071 for equal resistors: 3.01 dB down at 1/(2 pi R sqrt(C1 C2)), 996 Hz."""
    built = circuit.build(open_unit(UNIT), pool)
    corner = 1 / (2 * np.pi * np.sqrt(R1 * R2 * C1 * C2))
    outcome = pool.map(response, [(built, [corner])])[0]
    assert corner == pytest.approx(995.9, rel=1e-3)
    assert 20 * np.log10(abs(outcome.value[0])) == pytest.approx(-3.01, abs=0.03)
