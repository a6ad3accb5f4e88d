"""Stray paths: current flowing where no part lies, through a solder bridge, dirt or leaked electrolyte.

They are no failures of parts, so the catalogue does not hold them. They stand in for what it does not know: a fault of
another kind at the same place shows much the same, and the place is what a technician looks for.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import combinations

from lostgain.circuit import Circuit, Element, FlatCircuit

#: A bridge of solder, and how much a dirty or wet board conducts [ohm]; between the two, dirt is interpolated. Common
#: practice, no source.
BRIDGE = 1.0
DIRT = (300.0, 15e3)
_GROUND = "0"


@dataclass(frozen=True)
class Stray:
    """A resistance between two nodes that no part lies across.

    Parameters
    ----------
    nodes : (str, str)
        The second is ground or a rail for dirt.
    ohms : float
    stages : tuple of str
        Those that have parts at the nodes; of a bridge, at both.
    pins : tuple of str
        A pin of a part at each node that is no rail: ``R12 pin 2``, with the designators of the first channel.
    end : str
        The rail, or ``ground``, that dirt leads to; empty for a bridge.
    """

    nodes: tuple[str, str]
    ohms: float
    stages: tuple[str, ...]
    pins: tuple[tuple[str, str], ...]
    end: str = ""

    @property
    def label(self) -> str:
        """Short name: ``stray in to out 300``."""
        return f"stray {self.nodes[0]} to {self.nodes[1]} {self.ohms:.3g}"


def strays(circuit: Circuit) -> list[Stray]:
    """Return the stray paths of a circuit: between nodes of one stage, and from a node to ground and to its rails.

    Parameters
    ----------
    circuit : Circuit
    """
    ends = {_GROUND: "ground"} | {rail.name.lower(): rail.name for rail in circuit.unit.rails}
    pins: dict[str, list[tuple[str, str]]] = {}
    at: dict[str, set[str]] = {}
    across: list[set[str]] = []
    supplied: dict[str, set[str]] = {}
    for name, place in circuit.parts.items():
        nodes = {circuit.node_of(name, pin) for pin in place.pins}
        across.append(nodes)
        supplied.setdefault(place.part.stage, set()).update(nodes & ends.keys())
        for pin in place.pins:
            pins.setdefault(circuit.node_of(name, pin), []).append((name, pin))
            at.setdefault(circuit.node_of(name, pin), set()).add(place.part.stage)
    inner = [node for node in at if node not in ends]
    order = [stage.name for stage in circuit.unit.stages]

    def free(one: str, other: str) -> bool:
        return not any({one, other} <= nodes for nodes in across)

    def named(stages: set[str]) -> tuple[str, ...]:
        return tuple(name for name in order if name in stages)

    found = [
        Stray((one, other), BRIDGE, named(at[one] & at[other]), (pins[one][0], pins[other][0]))
        for one, other in combinations(inner, 2)
        if named(at[one] & at[other]) and free(one, other)
    ]
    for node in inner:
        reached = {_GROUND}.union(*(supplied[stage] for stage in at[node]))
        for end in sorted(reached):
            if free(node, end) and named(at[node]):
                found += [Stray((node, end), ohms, named(at[node]), (pins[node][0],), ends[end]) for ohms in DIRT]
    return found


def put_stray(flat: FlatCircuit, stray: Stray) -> FlatCircuit:
    """Return the circuit with a stray path in it.

    Parameters
    ----------
    flat : FlatCircuit
    stray : Stray
    """
    return flat.with_elements(Element("rstray", stray.nodes, f"{stray.ohms:g}"))
