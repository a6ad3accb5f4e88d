"""Where an ohmmeter or an ESR meter is put with the power off: across parts, across junctions, and between points."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from lostgain.circuit import Circuit
from lostgain.circuit.model import rail_node
from lostgain.readings.model import Reading
from lostgain.unit.kinds import kinds
from lostgain.unit.model import Part

#: Kinds whose ESR is read.
ESR_KINDS = ("electrolytic", "tantalum")
#: Kinds whose junctions the diode test is for.
JUNCTIONS = ("diode", "npn", "pnp", "njf")


@cache
def pairs() -> dict[str, tuple[tuple[str, str], ...]]:
    """Return the pairs of pins that are read, by kind or family of kinds: ``[pairs]`` of ``poweroff.toml``."""
    text = files("lostgain.signatures").joinpath("poweroff.toml").read_text(encoding="utf-8")
    return {name: tuple((one, other) for one, other in rows) for name, rows in tomllib.loads(text)["pairs"].items()}


@dataclass(frozen=True)
class Place:
    """Two places that the leads are put on; the first has the lead with the meter's plus.

    Parameters
    ----------
    point, against : str
        As a reading names them: ``R14`` and empty for across a part, ``Q3 b`` and ``Q3 e`` for two of its pins, a test
        point and another, or empty for ground.
    nodes : (str, str)
        In the circuit, of the healthy board.
    part : str
        Designator of the part it is across; empty for test points.
    pins : (str, str)
        Of that part.
    lifted : bool
        True for the part alone, out of circuit.
    """

    point: str
    against: str
    nodes: tuple[str, str]
    part: str = ""
    pins: tuple[str, str] = ("", "")
    lifted: bool = False


def across(circuit: Circuit, designator: str) -> list[Place]:
    """Return the places across a part; none for one that has a single pin or all of them on one node."""
    place = circuit.parts[designator]
    kind = place.part.kind
    by_kind = pairs().get(kind) or pairs().get(kinds()[kind].family)
    pins = tuple(place.pins)
    read = by_kind or (((pins[0], pins[1]),) if len(pins) == 2 else ())
    found = []
    for one, other in read:
        if not {one, other} <= set(pins):
            continue
        nodes = (circuit.node_of(designator, one), circuit.node_of(designator, other))
        if nodes[0] != nodes[1]:
            single = len(read) == 1
            names = (designator, "") if single else (f"{designator} {one}", f"{designator} {other}")
            found.append(Place(*names, nodes, designator, (one, other)))
    return found


def alone(circuit: Circuit, designator: str) -> list[Place]:
    """Return the places across a part out of circuit."""
    return [Place(each.point, each.against, each.nodes, each.part, each.pins, True)
            for each in across(circuit, designator)]  # fmt: skip


def usual(circuit: Circuit, quantity: str) -> list[Place]:
    """Return where a quantity is usually read with the power off, in circuit and then out of it.

    Parameters
    ----------
    circuit : Circuit
    quantity : str
        ``resistance``: across every part and from every test point to ground; ``diode test``: across junctions;
        ``esr``: across electrolytics and tantalums.
    """
    parts = [name for name, place in circuit.parts.items() if _concerns(place.part, quantity)]
    found = [each for name in parts for each in across(circuit, name)]
    if quantity == "resistance":
        found += [Place(name, "", (node, "0")) for name, node in circuit.points.items() if node != "0"]
    return found + [each for name in parts for each in alone(circuit, name)]


def named(circuit: Circuit, reading: Reading) -> Place | None:
    """Return the place of a reading between two names; None where a name is no place of the circuit.

    Parameters
    ----------
    circuit : Circuit
    reading : Reading
        Its `point` and `against`: a test point, a part and a pin of it, a rail, or ``ground`` (or empty).
    """
    nodes = (node_of(circuit, reading.point), node_of(circuit, reading.against))
    if "" in nodes or reading.lifted or nodes[0] == nodes[1]:
        return None
    return Place(reading.point, reading.against, nodes)


def node_of(circuit: Circuit, name: str) -> str:
    """Return the node of a test point, of a part's pin (``Q3 b``), of a rail or of ground; empty if there is none."""
    if name in ("", "ground"):
        return "0"
    if name in circuit.points:
        return circuit.points[name]
    part, _, pin = name.partition(" ")
    if part in circuit.parts and pin in circuit.parts[part].pins:
        return circuit.node_of(part, pin)
    return rail_node(name) if any(rail.name == name for rail in circuit.unit.rails) else ""


def _concerns(part: Part, quantity: str) -> bool:
    if quantity == "esr":
        return part.kind in ESR_KINDS
    if quantity == "diode test":
        return part.kind in JUNCTIONS
    return part.kind not in ("rail", "opamp")
