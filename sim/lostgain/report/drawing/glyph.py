"""Symbols as elements of the schematic library."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from typing import Any, Literal

from schemdraw import elements
from schemdraw.segments import Segment, SegmentCircle, SegmentText

from lostgain.report.pictures.style import BLACK, PAPER
from lostgain.unit.drawing import DrawnPart
from lostgain.unit.symbols import Place, turned

#: Which part of a text is at its place.
Across = Literal["left", "right", "center"]
#: Width of a line [point], and of one of the part that is meant.
THIN, THICK = 0.9, 2.0
#: How far a sign stands from its pin [squares].
_MARK = 0.85
#: Length of an arrow's tip [squares].
_TIP = 0.28


class Glyph(elements.Element):  # type: ignore[no-untyped-call]
    """A few lines, circles and texts, all at their places on the grid.

    Parameters
    ----------
    segments : iterable of schemdraw segments
    """

    def __init__(self, segments: Iterable[Any]) -> None:
        super().__init__()
        self.segments += list(segments)
        self.at((0, 0)).theta(0)


def line(places: Sequence[Place], **look: Any) -> Segment:
    """Return a line through some places."""
    return Segment(list(places), **{"lw": THIN, "color": BLACK, **look})


def circle(at: Place, radius: float, fill: str | bool | None = None, **look: Any) -> SegmentCircle:
    """Return a circle, or a disc where it has a fill."""
    return SegmentCircle(at, radius, fill=fill, **{"lw": THIN, "color": BLACK, **look})


def text(at: Place, said: str, across: Across, size: float, colour: str = BLACK) -> SegmentText:
    """Return a line of text at a place, half its height above and half below."""
    return SegmentText(at, said, align=(across, "center"), fontsize=size, color=colour, rotation=0)


def part_elements(part: DrawnPart, colour: str, width: float) -> list[Any]:
    """Return the elements that draw a part."""
    look = {"color": colour, "lw": width}
    if part.symbol.two_leg:
        start, end = part.pins.values()
        if part.symbol.element:
            drawn = getattr(elements, part.symbol.element)().at(start).to(end).color(colour).linewidth(width)
            return [drawn]
        return [Glyph(_spanned(part, start, end, look))]
    upside = part.flip and not part.symbol.swap
    return [Glyph([*_shape(part, upside, look), *_marks(part, colour)])]


def _spanned(part: DrawnPart, start: Place, end: Place, look: dict[str, Any]) -> list[Any]:
    """Return a two-leg symbol drawn by lines, in the middle of its way, and the leads to it."""
    length = abs(end[0] - start[0]) + abs(end[1] - start[1])
    facing = {(1, 0): "right", (-1, 0): "left", (0, 1): "up", (0, -1): "down"}
    step = ((end[0] - start[0]) / length, (end[1] - start[1]) / length)
    facing_of = facing[(round(step[0]), round(step[1]))]
    first = (start[0] + step[0] * (length - 2) / 2, start[1] + step[1] * (length - 2) / 2)
    assert part.symbol.span is not None
    least, most = part.symbol.span
    near, far = turned((least, 0), first, facing_of), turned((most, 0), first, facing_of)
    shape = [line([turned(place, first, facing_of) for place in each], **look) for each in part.symbol.lines]
    rings = [circle(turned(at, first, facing_of), radius, PAPER, zorder=4, **look)
             for at, radius in part.symbol.circles]  # fmt: skip
    return [line([start, near], **look), line([far, end], **look), *shape, *rings]


def _shape(part: DrawnPart, upside: bool, look: dict[str, Any]) -> list[Any]:
    def there(place: Place) -> Place:
        return turned(place, part.at, part.facing, upside)

    lines = [line([there(place) for place in each], **look) for each in part.symbol.lines]
    arrows = [line([there(tail), there(tip)], arrow="->", arrowwidth=0.22, arrowlength=_TIP, **look)
              for tail, tip in part.symbol.arrows]  # fmt: skip
    rings = [circle(there(at), radius, **look) for at, radius in part.symbol.circles]
    return [*lines, *arrows, *rings]


def _marks(part: DrawnPart, colour: str) -> list[Any]:
    """Return the signs beside pins, on the symbol's inside."""
    inwards = {"right": (1, 0), "left": (-1, 0), "up": (0, 1), "down": (0, -1)}[part.facing]
    return [
        text((x + _MARK * inwards[0], y + _MARK * inwards[1]), sign, "center", 9, colour)
        for pin, sign in part.symbol.marks.items()
        for x, y in [part.pins[pin]]
    ]
