"""How far a probe loads what it touches: the source impedance of every test point, and the rails' currents."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import Circuit, Element, FlatCircuit
from lostgain.circuit.compose import rail_node
from lostgain.circuit.model import GENERATOR
from lostgain.engine import Session
from lostgain.unit.model import Rail

Complex = NDArray[np.complex128]

#: Frequencies source impedances are known at [Hz]; the lowest stands for DC. In between they are interpolated.
IMPEDANCE_AT = tuple(float(10.0**power) for power in range(-3, 6))


def with_probes(flat: FlatCircuit, circuit: Circuit) -> FlatCircuit:
    """Return the circuit with a current source of no current at every test point, to measure impedances with."""
    sources = [Element(f"iprobe{number}", ("0", node), "0 ac 0") for number, node in enumerate(circuit.points.values())]
    return flat.with_elements(*sources)


def source_impedance(session: Session, node: str, number: int) -> Complex:
    """Return a test point's source impedance in the circuit that is loaded, which has `with_probes`.

    Parameters
    ----------
    session : Session
    node : str
    number : int
        The test point's place in the circuit's.

    Returns
    -------
    complex array, (frequency of `IMPEDANCE_AT`,) [ohm]
    """
    session.change({f"@{GENERATOR}[acmag]": 0.0, f"@iprobe{number}[acmag]": 1.0}, {})
    try:
        _, found = session.sweep(IMPEDANCE_AT[0], IMPEDANCE_AT[-1], 1, [node])
    finally:
        session.change({f"@iprobe{number}[acmag]": 0.0}, {})
    return np.asarray(found[0])


def loading(impedance: Complex, frequency: float | None, ohms: float, farads: float) -> Complex:
    """Return the share of a voltage that is left when a probe touches it.

    Parameters
    ----------
    impedance : complex array, (..., frequency of `IMPEDANCE_AT`) [ohm]
    frequency : float or None
        [Hz]; None for DC.
    ohms, farads : float
        The probe's resistance and capacitance.

    Returns
    -------
    complex array, (...)
        ``1 / (1 + Z Y)``, Thévenin's theorem, which holds as far as the circuit is linear about its state.
    """
    if frequency is None:
        return np.asarray(1 / (1 + impedance[..., 0].real / ohms), dtype=complex)
    at = np.log10(frequency)
    place = np.clip((at - np.log10(IMPEDANCE_AT[0])), 0, len(IMPEDANCE_AT) - 1.001)
    low, share = int(place), place - int(place)
    # Impedances run straight on logarithmic scales: a capacitance is a line there, not on linear ones.
    ends = np.log(impedance[..., low : low + 2] + 1e-9)
    between = np.exp((1 - share) * ends[..., 0] + share * ends[..., 1])
    return np.asarray(1 / (1 + between * (1 / ohms + 2j * np.pi * frequency * farads)))


def rail_ends(rail: Rail) -> tuple[str, str]:
    """Return the nodes on both sides of a rail's source resistance."""
    node = rail_node(rail.name)
    return f"{node}_emf", f"{node}_fused" if rail.fuse else node
