"""A unit's circuit, and where its parts and test points are in it."""

from __future__ import annotations

from collections.abc import Mapping
from contextlib import suppress
from dataclasses import dataclass, field, replace

from lostgain.circuit.flat import FlatCircuit
from lostgain.unit.model import Part, Unit

#: What the bench adds to a unit: names that no netlist of a unit is likely to have.
GENERATOR = "vbench"
SOURCE = "rbench_source"
LOAD = "rbench_load"
#: The cold leg of a unit with a balanced input; there only.
COLD = "vbench_cold"


@dataclass(frozen=True)
class Pin:
    """Where a pin of a part meets the flat circuit.

    Parameters
    ----------
    element : str
        The element that ends on the board at this pin: the part's own, or the 1 mΩ resistor put in front of the pin
        of a part that is a subcircuit.
    index : int
        Which of that element's nodes is on the board.
    """

    element: str
    index: int


@dataclass(frozen=True)
class PlacedPart:
    """A part and its place in the flat circuit.

    Parameters
    ----------
    part : Part
    element : str
        Name of its element; for a part that is a subcircuit, the path of its inside, ``xpreamplifier.xu``.
    subckt : bool
    pins : mapping
        Pin name to Pin.
    """

    part: Part
    element: str
    subckt: bool
    pins: Mapping[str, Pin]

    def inside(self, name: str, flat: FlatCircuit) -> str:
        """Return the name of an element inside a part that is a subcircuit.

        Raises
        ------
        KeyError
            If its device class has no such element.
        """
        wanted = f"{name[0]}.{self.element}.{name}".lower()
        if wanted not in flat.elements:
            raise KeyError(wanted)
        return wanted

    def track(self, flat: FlatCircuit) -> tuple[str, str] | None:
        """Return the names of a potentiometer's track, above and below its wiper; None for any other part."""
        if self.part.kind == "potentiometer" and self.subckt:
            with suppress(KeyError):  # the unit's own netlist defines a subcircuit of that name
                return self.inside("rtop", flat), self.inside("rbot", flat)
        return None


@dataclass(frozen=True)
class Circuit:
    """A unit's circuit: one channel of it, proved.

    Parameters
    ----------
    unit : Unit
    flat : FlatCircuit
        The healthy circuit at nominal values.
    parts : mapping
        Designator to PlacedPart.
    points : mapping
        Test point name to node.
    output : str
        The node the load hangs on.
    stage_ends : mapping
        Stage name to the node at its output, in signal order.
    version : int
        ngspice's version.
    cold : str
        The node the load's cold end hangs on: ``0``, or the other terminal of a bridged output.
    stage_ports : mapping
        ``STAGE/PORT`` to its node, for the outputs a stage has beside ``out``.
    """

    unit: Unit
    flat: FlatCircuit
    parts: Mapping[str, PlacedPart]
    points: Mapping[str, str]
    output: str
    stage_ends: Mapping[str, str]
    version: int
    cold: str = "0"
    stage_ports: Mapping[str, str] = field(default_factory=dict)

    def node_of(self, designator: str, pin: str, flat: FlatCircuit | None = None) -> str:
        """Return the board node at a pin."""
        place = self.parts[designator].pins[pin]
        return (flat or self.flat).elements[place.element].nodes[place.index]


def driven(flat: FlatCircuit, level: float, frequency: float, dc: float = 0.0) -> FlatCircuit:
    """Return the circuit with its generator set.

    Parameters
    ----------
    flat : FlatCircuit
    level : float
        Open-circuit level [V rms]; small-signal analysis then gives volts rms at the drive asked for.
    frequency : float
        [Hz]
    dc : float
        DC level of the source [V].
    """
    source = flat.elements[GENERATOR]
    sine = f"{dc:.12g} ac {level:.12g} sin({dc:.12g} {level * 2**0.5:.12g} {frequency:.12g})"
    return flat.with_elements(replace(source, rest=sine))


def balanced(flat: FlatCircuit) -> bool:
    """Tell whether a circuit's input has a cold leg, so that both legs can be driven alike."""
    return COLD in flat.elements


def rail_node(name: str) -> str:
    """Return the node of a rail."""
    return name.lower()
