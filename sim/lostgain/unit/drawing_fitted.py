"""A stage's drawing with only the parts that a unit has: what is not fitted is a wire, or gone with what led to it."""

from __future__ import annotations

from collections import Counter
from collections.abc import Collection, Iterator, Mapping
from dataclasses import replace
from itertools import pairwise

from lostgain.unit.drawing import Drawing, Named
from lostgain.unit.drawing_nets import lies_on, places, segments
from lostgain.unit.symbols import Place

Segment = tuple[Place, Place]
Kept = tuple[list[Segment], tuple[Place, ...], tuple[Named, ...]]


def as_fitted(drawn: Drawing, roles: Collection[str], absent: Mapping[str, str]) -> Drawing:
    """Return a drawing without the parts that are not fitted.

    Parameters
    ----------
    drawn : Drawing
    roles : collection of str
        Those that are filled.
    absent : mapping
        Role to what stands in for it: ``short`` or ``open``.

    Returns
    -------
    Drawing
        Wires, grounds, rails and test points that then lead nowhere are gone as well.
    """
    parts = tuple(part for part in drawn.parts if part.role in roles)
    if len(parts) == len(drawn.parts):
        return drawn
    shorted = [part for part in drawn.parts if part.role not in roles and absent.get(part.role) == "short"]
    wires = [*_pieces(drawn), *((one, other) for one, other, *_ in (part.pins.values() for part in shorted))]
    ends = {place for part in parts for place in part.pins.values()} | {port.at for port in drawn.ports}
    kept, grounds, rails = _led_somewhere(wires, ends, drawn)
    on_wire = {place for wire in kept for place in wire} | ends
    nodes = tuple(node for node in drawn.nodes if node.at in on_wire)
    return replace(drawn, parts=parts, wires=tuple(kept), grounds=grounds, rails=rails, nodes=nodes)


def _pieces(drawn: Drawing) -> Iterator[Segment]:
    """Yield the wires, cut at every place where something may join them."""
    known = places(drawn)
    for start, end in segments(drawn):
        on_it = sorted({place for place in known if lies_on(place, start, end)})
        yield from pairwise(on_it)


def _led_somewhere(wires: list[Segment], ends: set[Place], drawn: Drawing) -> Kept:
    """Return the wires that do not end in the air, and the grounds and rails that something leads to."""
    grounds, rails = drawn.grounds, drawn.rails
    while True:
        touched = Counter(place for wire in wires for place in wire)
        grounds = tuple(at for at in grounds if touched[at] or at in ends)
        rails = tuple(rail for rail in rails if touched[rail.at] or rail.at in ends)
        held = ends | set(grounds) | {rail.at for rail in rails}
        kept = [wire for wire in wires if all(touched[place] > 1 or place in held for place in wire)]
        if len(kept) == len(wires):
            return kept, grounds, rails
        wires = kept
