"""Test points: nodes a probe can find, named by the part and the pin they are at."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from lostgain.netlists.model import GROUND, Segment, Spot
from lostgain.netlists.path import Graph
from lostgain.unit.names import name_fault

#: Node names that editors give where nobody wrote a label.
_UNNAMED = re.compile(
    r"n?_?\d+|(?!tp)[a-z]{1,2}\d+[a-z]?|[a-z]{1,3}\d+[a-z]?_(pad|pin)?_?\w{1,3}|node\w*|\w*_?unconnected\w*|x?\w*_n\d+",
    re.IGNORECASE,
)
_PINS = {
    "out": "output", "inn": "inverting input", "inp": "non-inverting input", "c": "collector", "b": "base",
    "e": "emitter", "d": "drain", "g": "gate", "s": "source", "wiper": "wiper", "top": "hot end",
    "a": "anode", "k": "cathode", "g2": "screen",
}  # fmt: skip
_PROBED = ("opamp", "npn", "pnp", "njf", "pjf", "triode", "pentode", "regulator", "potentiometer")
#: Pins worth a probe, the most telling first.
_WORTH = ("out", "c", "d", "a", "e", "s", "k", "g2", "wiper", "b", "g", "inn", "inp", "top")


def test_points(
    stages: Iterable[Segment], graph: Graph, start: str, end: str, rails: Mapping[str, float], labels: Mapping[str, str]
) -> list[Spot]:
    """Return test points in signal order: both ends, each boundary, and the pins of active parts.

    Parameters
    ----------
    stages : iterable of Segment
    graph : Graph
    start, end : str
        Input and output.
    rails : mapping
        Nodes that need no point of their own.
    labels : mapping
        Node to the name that the schematic gives it; only for those that have one.
    """
    stages = list(stages)
    spots: list[Spot] = []
    done = {GROUND, *rails}
    names: set[str] = set()

    def add(node: str, name: str, stage: str) -> None:
        if node in done or name_fault(name):
            return
        shown, number = name, 2
        while shown.lower() in names:
            shown, number = f"{name} ({number})", number + 1
        done.add(node)
        names.add(shown.lower())
        spots.append(Spot(shown, node, stage))

    add(start, labels.get(start, "Input"), stages[0].name)
    for stage in stages:
        last = [stage.output] if stage.output and stage.output not in done else []
        found = _pins_of(stage, graph)
        for node, name in found:
            if node not in last and node != end:
                add(node, _called(node, name, labels), stage.name)
        for node in last:
            name = next((name for at, name in found if at == node), _by_part(node, stage))
            add(node, labels.get(node, "Output") if node == end else _called(node, name, labels), stage.name)
    return spots


def _called(node: str, name: str, labels: Mapping[str, str]) -> str:
    label = labels.get(node, "")
    return label if re.fullmatch(r"TP\d+\w*|V(CC|DD|PP|NN|EE|SS|P|N|REF)\w*", label) else name


def _pins_of(stage: Segment, graph: Graph) -> list[tuple[str, str]]:
    """Return the nodes of a stage's active parts and controls with their names, each node once."""
    found: dict[str, str] = {}
    for pin in _WORTH:
        for piece in stage.parts:
            if piece.kind not in _PROBED:
                continue
            node = piece.pin(pin)
            if node and not (pin in ("c", "d", "a") and node in graph.still):  # a supply's
                found.setdefault(node, f"{piece.board} {_PINS[pin]}")
    order = {node: number for number, piece in enumerate(stage.parts) for node in piece.nodes}
    return sorted(found.items(), key=lambda each: order.get(each[0], 0))


def _by_part(node: str, stage: Segment) -> str:
    """Return the name of a node between passive parts: ``R5, C2 end``."""
    at_node = [piece.board for piece in stage.parts if node in piece.nodes]
    if len(at_node) >= 2:
        return f"{at_node[0]}, {at_node[1]} end"
    return f"{at_node[0]}, far end" if at_node else node.upper()


def labels_of(nodes: Iterable[str]) -> dict[str, str]:
    """Return what the schematic calls those nodes that have a label of their own."""
    found = {}
    for node in nodes:
        if not _UNNAMED.fullmatch(node) and node != GROUND and not name_fault(node.upper()):
            found[node] = node.upper()
    return found
