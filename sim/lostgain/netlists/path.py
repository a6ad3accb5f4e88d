"""The signal's way through a circuit as a graph: which nodes carry it, and which of them it must all pass."""

from __future__ import annotations

from collections import deque
from collections.abc import Collection, Mapping
from dataclasses import dataclass, replace

from lostgain.netlists.model import GROUND, Piece

#: A capacitor from here on holds a node still for the signal [F], where the level says so too.
_HOLDS = 90e-9
#: A resistor up to here is a lead of the supply, where the level says so too [ohm]; coils count with their henries.
_LEAD = 15.0
#: A node with less than this share of its neighbours' level carries no signal.
_STILL = 0.01


@dataclass(frozen=True)
class Graph:
    """Which nodes the signal can go between.

    Parameters
    ----------
    still : set of str
        Nodes that carry no signal: ground, rails, and what big capacitors or silent amplifiers hold.
    fixed : frozenset of str
        Those of them that are ground or a rail.
    touching : mapping
        Node that carries signal to the elements at it.
    """

    still: frozenset[str]
    fixed: frozenset[str]
    touching: Mapping[str, list[Piece]]

    def live(self, piece: Piece) -> list[str]:
        """Return the nodes of an element that carry signal."""
        return [node for node in dict.fromkeys(piece.nodes) if node not in self.still]

    def reached(self, start: str, without: Collection[str] = ()) -> dict[str, int]:
        """Return the nodes the signal gets to from one, with how many elements lie between; some may be barred."""
        found = {start: 0}
        waiting = deque([start])
        while waiting:
            node = waiting.popleft()
            for piece in self.touching.get(node, ()):
                for other in self.live(piece):
                    if other not in found and other not in without:
                        found[other] = found[node] + 1
                        waiting.append(other)
        return found

    def passed(self, start: str, end: str) -> list[str]:
        """Return the nodes that every way from start to end goes through, in order, without those two."""
        near = self.reached(start)
        if end not in near:
            return []
        cuts = [node for node in near if node not in (start, end) and end not in self.reached(start, (node,))]
        # Of two such nodes, the earlier one can be reached with the later one barred.
        return sorted(cuts, key=lambda node: sum(other in self.reached(start, (node,)) for other in cuts))


def graph_of(pieces: list[Piece], rails: Collection[str], level: Mapping[str, float]) -> Graph:
    """Return the graph of a circuit.

    Parameters
    ----------
    pieces : list of Piece
    rails : collection of str
        Nodes held by sources.
    level : mapping
        Node to its small-signal level [V].
    """
    pieces = _joined(
        [piece for piece in pieces if piece.letter != "k"], [each for each in pieces if each.letter == "k"]
    )
    still = still_nodes(pieces, rails, level)
    touching: dict[str, list[Piece]] = {}
    for piece in pieces:
        for node in dict.fromkeys(piece.nodes):
            if node not in still:
                touching.setdefault(node, []).append(piece)
    return Graph(frozenset(still), frozenset({GROUND, *rails}), touching)


def _joined(pieces: list[Piece], couplings: list[Piece]) -> list[Piece]:
    """Return the elements and, for coils that are coupled, one more that touches the ends of all of them."""
    nodes = {piece.name: piece.nodes for piece in pieces if piece.letter == "l"}
    for coupling in couplings:
        ends = [node for coil in coupling.tail.split()[:2] for node in nodes.get(coil.upper(), ())]
        pieces.append(replace(coupling, nodes=ends))
    return pieces


def still_nodes(pieces: list[Piece], rails: Collection[str], level: Mapping[str, float]) -> set[str]:
    """Return the nodes that carry no signal."""
    still = {GROUND, *rails}
    going = True
    while going:
        going = False
        for piece in pieces:
            for node in piece.nodes:
                if node not in still and _is_held(node, piece, still) and _quiet(node, pieces, level, still):
                    still.add(node)
                    going = True
    return still


def _is_held(node: str, piece: Piece, still: set[str]) -> bool:
    """Tell whether an element can hold a node still: a capacitor to a still one, an op-amp that follows one."""
    if piece.letter == "c" and (piece.value or 0.0) >= _HOLDS:
        return set(piece.nodes) - {node} <= still
    if piece.letter in "rl" and (piece.value or 0.0) <= _LEAD:
        return set(piece.nodes) - {node} <= still
    return piece.kind == "opamp" and piece.pin("out") == node and piece.pin("inp") in still and piece.pin("inn") == node


def _quiet(node: str, pieces: list[Piece], level: Mapping[str, float], still: set[str]) -> bool:
    around = [
        level.get(other, 0.0) for piece in pieces if node in piece.nodes for other in piece.nodes if other not in still
    ]
    loudest = max((each for each in around), default=0.0)
    return level.get(node, 0.0) <= _STILL * loudest
