"""Stage boundaries: nodes that the whole signal passes, driven hard from behind, with one way onward."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

from lostgain.netlists.model import LIKELY, SURE, Piece, Segment
from lostgain.netlists.path import Graph
from lostgain.unit.names import name_fault

#: A node with less than this against ground is driven [ohm]: op-amps, followers and loops are well below it, dividers,
#: coupling networks and collectors above.
DRIVEN = 300.0
_ACTIVE = ("opamp", "npn", "pnp", "njf", "pjf", "triode", "pentode")
#: Pins that a stage's signal comes out at without feedback, and those it goes in at without loading what is before.
_OUTPUTS = {"out", "c", "d", "a", "e", "s", "k"}
_LIGHT = {"opamp": "inp", "njf": "g", "triode": "g", "pentode": "g"}


@dataclass(frozen=True)
class Boundary:
    """A node between two stages.

    Parameters
    ----------
    node : str
    sure : str
    why : str
    driven : bool
        Whether it is driven hard from behind.
    taker : str
        The active part that takes it without loading it; empty for none.
    """

    node: str
    sure: str
    why: str
    driven: bool = False
    taker: str = ""


def boundaries(graph: Graph, start: str, end: str, impedance: Mapping[str, float]) -> list[Boundary]:
    """Return the nodes at which the circuit falls into stages, in signal order.

    Parameters
    ----------
    graph : Graph
    start, end : str
        Input and output.
    impedance : mapping
        Node to what it measures against ground [ohm].
    """
    cuts = graph.passed(start, end)
    found: list[Boundary] = []
    for node in cuts:
        back = graph.reached(start, (node,))
        behind = [piece for piece in graph.touching[node] if set(graph.live(piece)) & set(back)]
        onward = [
            piece
            for piece in graph.touching[node]
            if piece not in behind
            and end in graph.reached(node, tuple(back))
            and _leads_on(piece, node, end, graph, back)
        ]
        if boundary := _boundary(node, back, behind, onward, graph, impedance):
            found.append(boundary)
    return _told_apart(found, graph, start, end)


def _leads_on(piece: Piece, node: str, end: str, graph: Graph, back: Mapping[str, int]) -> bool:
    """Tell whether the way through an element leads to the output, rather than into a branch that ends."""
    others = [other for other in graph.live(piece) if other != node]
    return any(end in graph.reached(other, (node, *back)) for other in others)


def _boundary(
    node: str, back: Mapping[str, int], behind: list[Piece], onward: list[Piece], graph: Graph,
    impedance: Mapping[str, float],
) -> Boundary | None:  # fmt: skip
    """Return the boundary that a node is, if it is one."""
    active = any(piece.kind in _ACTIVE for other in back for piece in graph.touching[other])
    single = len(onward) == 1
    way = (
        f"and only {onward[0].board} leads on"
        if single
        else f"and {' and '.join(each.board for each in onward)} lead on"
    )
    taker = onward[0].board if single and _feeds_in(onward[0], node) else ""
    ohms = impedance.get(node, float("inf"))
    if active and ohms <= DRIVEN:
        return Boundary(node, SURE if single else LIKELY, f"driven with {ohms:.2g} ohm, {way}", True, taker)
    outputs = [piece for piece in behind if piece.kind in _ACTIVE and _output_pin(piece, node)]
    if outputs and single and onward[0].letter in "cr":
        pin = {"c": "collector", "d": "drain", "a": "anode"}.get(_output_pin(outputs[0], node), "output")
        return Boundary(node, LIKELY, f"the {pin} of {outputs[0].board}, {way}")
    return _taken(node, taker) if taker else None


def _taken(node: str, taker: str) -> Boundary:
    return Boundary(node, LIKELY, f"{taker} takes it without loading it", False, taker)


def _output_pin(piece: Piece, node: str) -> str:
    return next((pin for pin, at in zip(piece.pins, piece.nodes, strict=False) if at == node and pin in _OUTPUTS), "")


def _feeds_in(piece: Piece, node: str) -> bool:
    pin = _LIGHT.get(piece.kind)
    return bool(pin) and piece.pin(pin or "") == node


def _told_apart(found: list[Boundary], graph: Graph, start: str, end: str) -> list[Boundary]:
    """Leave out boundaries with nothing between them that would be a stage: a resistor behind an output, a wire."""
    kept: list[Boundary] = []
    for boundary in found:
        before = kept[-1].node if kept else start
        inside = between(graph, before, boundary.node, start)
        if not inside:
            continue
        passive = not any(piece.kind in _ACTIVE for piece in inside)
        if not boundary.driven and boundary.taker and not any(_makes_a_stage(piece) for piece in inside):
            continue
        if passive and boundary.driven:
            if all(piece.letter in "rl" for piece in inside):
                # A resistor or coil behind an output belongs to it: the boundary moves on to where it ends.
                if kept and kept[-1].driven:
                    kept[-1] = boundary
                continue
            if not boundary.taker or not any(_makes_a_stage(piece) for piece in inside):
                continue
            boundary = _taken(boundary.node, boundary.taker)
        kept.append(boundary)
    if kept and all(piece.letter in "rl" for piece in between(graph, kept[-1].node, end, start)):
        kept.pop()  # what lies between the last output and the load is the output's
    return kept


def _makes_a_stage(piece: Piece) -> bool:
    """Tell whether a part makes what is around it more than a divider: resistors alone are no stage."""
    return piece.letter == "c" or piece.kind == "potentiometer"


def between(graph: Graph, first: str, last: str, start: str) -> list[Piece]:
    """Return the elements between two nodes that the whole signal passes."""
    back = set(graph.reached(start, (first,))) - {first} if first != start else set()
    ahead = set(graph.reached(first, (last, *back))) - {first}
    inside = {node for node in ahead if last in graph.reached(node, (first,))}  # not what merely hangs on `first`
    return _pieces_at(graph, inside, first, last)


def _pieces_at(graph: Graph, inside: set[str], first: str, last: str) -> list[Piece]:
    found: dict[int, Piece] = {}
    for node in (first, last, *sorted(inside)):
        for piece in graph.touching.get(node, ()):
            live = set(graph.live(piece))
            if live & inside or live == {first, last}:
                found[id(piece)] = piece
    return list(found.values())


def segments(graph: Graph, limits: list[Boundary], start: str, end: str, pieces: list[Piece]) -> list[Segment]:
    """Return the stages with their parts, every part in one.

    Parameters
    ----------
    graph : Graph
    limits : list of Boundary
    start, end : str
    pieces : list of Piece
        Only those that are parts are given to stages.
    """
    nodes = [start, *(each.node for each in limits), end]
    stages = [Segment("", node, sure=limit.sure, why=limit.why) for node, limit in zip(nodes[1:], limits, strict=False)]
    stages.append(Segment("", end, sure=SURE, why="the output"))
    home: dict[int, int] = {}
    for number, (first, last) in enumerate(pairwise(nodes)):
        for piece in between(graph, first, last, start):
            home.setdefault(id(piece), number)
    for piece in pieces:  # what hangs on one boundary only belongs to the stage that drives it
        if id(piece) not in home:
            at = [nodes.index(node) for node in graph.live(piece) if node in nodes]
            if at:
                home[id(piece)] = max(0, min(at) - 1)
    _branches(graph, pieces, home, nodes)
    _helpers(graph, pieces, home)
    rest = Segment("Supply and reference", "", sure=LIKELY, why="no signal passes them")
    for piece in pieces:
        if piece.kind:
            (stages[home[id(piece)]] if id(piece) in home else rest).parts.append(piece)
    stages = _without_empty(stages)
    for stage in stages:
        stage.name = _name(stage)
    return [*_apart(stages), *([rest] if rest.parts else [])]


def _branches(graph: Graph, pieces: list[Piece], home: dict[int, int], nodes: list[str]) -> None:
    """Give branches that lead nowhere to the stage they hang on."""
    going = True
    while going:
        going = False
        for piece in pieces:
            if id(piece) in home:
                continue
            for node in graph.live(piece):
                near = [home[id(other)] for other in graph.touching[node] if id(other) in home]
                if near and node not in nodes:
                    home[id(piece)] = min(near)
                    going = True
                    break
                if node in nodes:
                    home[id(piece)] = max(0, nodes.index(node) - 1)
                    going = True
                    break


def _helpers(graph: Graph, pieces: list[Piece], home: dict[int, int]) -> None:
    """Give a part that no signal passes to the stage that alone uses its node: an emitter's resistor, a bias."""
    going = True
    while going:
        going = False
        for piece in pieces:
            if id(piece) in home:
                continue
            users: set[int] = set()
            for node in piece.nodes:
                at_node = [other for other in pieces if node in other.nodes]
                if node in graph.still and node not in graph.fixed:
                    users |= {home[id(other)] for other in at_node if id(other) in home}
            if len(users) == 1:
                home[id(piece)] = users.pop()
                going = True


def _without_empty(stages: list[Segment]) -> list[Segment]:
    """Leave out stages without parts: what they would have is with their neighbour."""
    kept = [stage for stage in stages if stage.parts]
    if kept and stages:
        kept[-1].output = stages[-1].output
    return kept or stages[-1:]


def _name(stage: Segment) -> str:
    """Return what to call a stage: by its active parts, its control, or its capacitors."""
    actives = [piece.board for piece in stage.parts if piece.kind in _ACTIVE]
    pots = [piece.board for piece in stage.parts if piece.kind == "potentiometer"]
    series = [piece.board for piece in stage.parts if piece.letter == "c"] or [piece.board for piece in stage.parts]
    if actives:
        text = f"Amplifier {actives[0]}" if len(actives) == 1 else f"Amplifier {actives[0]} to {actives[-1]}"
    elif pots:
        text = f"Control {pots[0]}"
    elif any(piece.letter == "c" for piece in stage.parts):
        text = f"Coupling {series[0]}"
    else:
        text = f"Network {series[0]}"
    return text if not name_fault(text) else "Stage"


def _apart(stages: list[Segment]) -> list[Segment]:
    """Give stages of one name a number."""
    seen: dict[str, int] = {}
    for stage in stages:
        seen[stage.name] = seen.get(stage.name, 0) + 1
        if seen[stage.name] > 1:
            stage.name = f"{stage.name} ({seen[stage.name]})"
    return stages
