"""How far a probe loads what it touches: the source impedance of every test point, and the rails' currents."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lostgain.circuit import Circuit, Element, FlatCircuit
from lostgain.circuit.model import GENERATOR, rail_node
from lostgain.engine import Session
from lostgain.unit.model import Rail

Complex = NDArray[np.complex128]

#: Resistances of probes and meters that DC is known with [ohm].
PROBES = (10e6, 1e6)
#: A probe that isn't there [ohm], and the source impedance from which on a probe is really hung on [ohm].
OPEN = 1e15
FLOATING = 30e3
#: Frequencies source impedances are known at [Hz]; the lowest stands for DC. In between they are interpolated.
IMPEDANCE_AT = tuple(float(10.0**power) for power in range(-3, 6))


def with_probes(flat: FlatCircuit, circuit: Circuit) -> FlatCircuit:
    """Return the circuit with a source of no current and a probe that isn't there at every test point."""
    nodes = list(circuit.points.values())
    sources = [Element(f"iprobe{number}", ("0", node), "0 ac 0") for number, node in enumerate(nodes)]
    probes = [Element(f"rprobe{number}", (node, "0"), f"{OPEN:g}") for number, node in enumerate(nodes)]
    return flat.with_elements(*sources, *probes)


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


def probed_dc(session: Session, node: str, number: int) -> NDArray[np.float64]:
    """Return a test point's DC with a real probe on it, in the circuit that is loaded, which has `with_probes`.

    What a meter shows at a node that floats is no matter of a source impedance: currents of junctions are limited.

    Parameters
    ----------
    session : Session
    node : str
    number : int
        The test point's place in the circuit's.

    Returns
    -------
    array, (probe of `PROBES`,) [V]
    """
    found = []
    try:
        for ohms in PROBES:
            session.change({f"rprobe{number}": ohms}, {})
            found.append(session.op([node])[0])
    finally:
        session.change({f"rprobe{number}": OPEN}, {})
    return np.array(found)


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


def rail_ends(flat: FlatCircuit, rail: Rail) -> tuple[str, ...]:
    """Return the nodes on both sides of a rail's source resistance, whose drop is the rail's current."""
    return flat.elements[f"r_{rail_node(rail.name)}"].nodes
