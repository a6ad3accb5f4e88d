"""What is connected to what on a stage's drawing, and where wires meet."""

from __future__ import annotations

from collections.abc import Iterator
from itertools import pairwise

from lostgain.unit.drawing import Drawing
from lostgain.unit.symbols import Place

#: From this many ends on, a meeting of wires has a dot.
_MEETING = 3


def nets(drawn: Drawing) -> dict[str, frozenset[str]]:
    """Return the ends that each net of a drawing joins.

    Parameters
    ----------
    drawn : Drawing

    Returns
    -------
    dict
        Net to its ends: ``ROLE.PIN``, ``port NAME``, ``rail NAME``, ``node NAME`` and ``ground``. A net is named by
        one of its places. Wires join where one's end or corner lies on the other; where they only cross, they do not.
        All grounds are one net, and so are all marks of one rail or one port.
    """
    above: dict[object, object] = {}

    def root(end: object) -> object:
        above.setdefault(end, end)
        while above[end] != end:
            end = above[end]
        return end

    every = places(drawn)
    for start, end in segments(drawn):
        for place in every:
            if lies_on(place, start, end):
                above[root(place)] = root(start)
    ends = dict(_ends(drawn))
    for name, at in ends.items():
        above[root(name.partition("#")[0])] = root(at)  # one ground or rail may have several marks
    found: dict[str, set[str]] = {}
    for name, at in ends.items():
        found.setdefault(str(root(at)), set()).add(name.partition("#")[0])
    return {net: frozenset(each) for net, each in found.items()}


def dots(drawn: Drawing) -> tuple[Place, ...]:
    """Return the places where three ends or more meet."""
    ends = [place for end, place in _ends(drawn) if not end.startswith(("node ", "port "))]
    arms = dict.fromkeys(places(drawn), 0)
    for place in arms:
        arms[place] = ends.count(place)
        for start, end in segments(drawn):
            if place in (start, end):
                arms[place] += 1
            elif lies_on(place, start, end):
                arms[place] += 2
    return tuple(place for place, count in arms.items() if count >= _MEETING)


def _ends(drawn: Drawing) -> Iterator[tuple[str, Place]]:
    for part in drawn.parts:
        for pin, place in part.pins.items():
            yield f"{part.role}.{pin}", place
    for number, place in enumerate(drawn.grounds):
        yield f"ground#{number}", place
    for sort, rows in (("rail", drawn.rails), ("port", drawn.ports), ("node", drawn.nodes)):
        for number, row in enumerate(rows):
            yield f"{sort} {row.name}#{number}", row.at


def places(drawn: Drawing) -> list[Place]:
    """Return every place where something is, each once."""
    return list(dict.fromkeys([*(place for _, place in _ends(drawn)), *(at for wire in drawn.wires for at in wire)]))


def segments(drawn: Drawing) -> Iterator[tuple[Place, Place]]:
    """Yield the straight stretches of all wires."""
    for wire in drawn.wires:
        yield from pairwise(wire)


def lies_on(place: Place, start: Place, end: Place) -> bool:
    """Tell whether a place lies on a stretch of wire, its ends included."""
    (x, y), (x1, y1), (x2, y2) = place, start, end
    across = (x2 - x1) * (y - y1) - (y2 - y1) * (x - x1)
    inside = min(x1, x2) <= x <= max(x1, x2) and min(y1, y2) <= y <= max(y1, y2)
    return inside and abs(across) < 1e-9
