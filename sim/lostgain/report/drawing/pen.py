"""What a drawing is written with: texts beside symbols, on a grid of a given size."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from typing import Any

from lostgain.report.drawing.glyph import Across, text
from lostgain.report.pictures.style import BLACK, NORMAL
from lostgain.unit.drawing import DrawnPart
from lostgain.unit.symbols import Place, turned

#: From one line of text to the next, and the width of a letter on average [inch].
LINE, LETTER = 0.14, 0.062
#: How far a two-leg symbol reaches to its side, and a contact [squares].
HALF, HALF_CONTACT = 0.3, 0.6
#: From an edge to a text beside it [squares].
GAP = 0.16


@dataclass(frozen=True)
class Box:
    """What a symbol takes up [squares]."""

    left: float
    bottom: float
    right: float
    top: float

    def wider(self, gap: float) -> Box:
        """Return the box with some room around it."""
        return Box(self.left - gap, self.bottom - gap, self.right + gap, self.top + gap)


def around(at: Place, radius: float) -> Box:
    """Return the box around a circle."""
    return Box(at[0] - radius, at[1] - radius, at[0] + radius, at[1] + radius)


def box(part: DrawnPart) -> Box:
    """Return what a part's symbol takes up, its legs included."""
    places = list(part.pins.values())
    if part.symbol.two_leg:
        (x1, y1), (x2, y2) = places
        half = HALF_CONTACT if part.symbol.span else HALF
        wide, high = (half, 0.0) if x1 == x2 else (0.0, half)
        return Box(min(x1, x2) - wide, min(y1, y2) - high, max(x1, x2) + wide, max(y1, y2) + high)
    upside = part.flip and not part.symbol.swap
    for each in part.symbol.lines:
        places += [turned(place, part.at, part.facing, upside) for place in each]
    for at, radius in part.symbol.circles:
        x, y = turned(at, part.at, part.facing, upside)
        places += [(x - radius, y - radius), (x + radius, y + radius)]
    columns, rows = [x for x, _ in places], [y for _, y in places]
    return Box(min(columns), min(rows), max(columns), max(rows))


def body(part: DrawnPart) -> Box:
    """Return what a name has to keep clear of: a symbol without those of its legs that stick out on their own."""
    whole = box(part)
    if part.symbol.two_leg or not part.symbol.circles:
        return whole
    (at, radius), *_ = part.symbol.circles
    x, _ = turned(at, part.at, part.facing, part.flip and not part.symbol.swap)
    return Box(x - radius, whole.bottom, x + radius, whole.top)


@dataclass(frozen=True)
class Pen:
    """Writes texts in squares of a given size.

    Parameters
    ----------
    square : float
        [inch]
    """

    square: float

    def beside(self, said: str, edge: Box, side: str, size: float = NORMAL, colour: str = BLACK) -> Iterator[Any]:
        """Return a text's lines beside a box, or in its middle."""
        lines = said.split("\n")
        step = LINE / self.square
        middle, height = (edge.left + edge.right) / 2, (edge.bottom + edge.top) / 2
        aligned: dict[str, Across] = {"left": "right", "right": "left"}
        across = aligned.get(side, "center")
        x = {"left": edge.left - GAP, "right": edge.right + GAP}.get(side, middle)
        block = step * len(lines)
        top = {"above": edge.top + GAP / 2 + block, "below": edge.bottom - GAP / 2}.get(side, height + block / 2)
        for number, each in enumerate(lines):
            yield text((x, top - (number + 0.5) * step), each, across, size, colour)

    def width(self, said: str) -> float:
        """Return about how wide a text is [squares]."""
        return max(map(len, said.split("\n"))) * LETTER / self.square
