"""The symbols of parts on a stage's drawing, read from ``symbols.toml``."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path

from lostgain.unit.kinds import kinds, of_family

#: A place on the grid [squares].
Place = tuple[float, float]
#: Ways a symbol can face: where its own right and its own up go.
FACINGS: Mapping[str, tuple[Place, Place]] = {
    "right": ((1, 0), (0, 1)),
    "left": ((-1, 0), (0, 1)),
    "up": ((0, 1), (-1, 0)),
    "down": ((0, -1), (1, 0)),
}


@dataclass(frozen=True)
class Symbol:
    """How a part is drawn; lengths in squares, around the point it is drawn at.

    Parameters
    ----------
    name : str
    element : str
        For a part with two legs: the element of the schematic library that is drawn from one to the other.
    span : (float, float) or None
        For a part with two legs drawn by `lines`: where these begin and end on its way, on one of two squares.
    pins : mapping
        Pin to its place, for all other parts.
    lines, arrows, circles : tuple
        Lists of points; tail and tip; centre and radius.
    marks : mapping
        Pin to the sign beside it.
    swap : tuple of str
        Two pins that change places when the symbol is flipped.
    label : str
        Side of its name: ``left``, ``right``, ``above``, ``below``, ``centre``.
    """

    name: str
    element: str = ""
    span: tuple[float, float] | None = None
    pins: Mapping[str, Place] = field(default_factory=dict)
    lines: tuple[tuple[Place, ...], ...] = ()
    arrows: tuple[tuple[Place, Place], ...] = ()
    circles: tuple[tuple[Place, float], ...] = ()
    marks: Mapping[str, str] = field(default_factory=dict)
    swap: tuple[str, ...] = ()
    label: str = ""

    @property
    def two_leg(self) -> bool:
        """Whether it is drawn from one leg to the other."""
        return not self.pins


@cache
def symbols() -> dict[str, Symbol]:
    """Return every symbol by name."""
    rows = tomllib.loads(Path(__file__).with_name("symbols.toml").read_text(encoding="utf-8"))
    found = {}
    for name, row in rows.items():
        span = row.get("span")
        found[name] = Symbol(
            name,
            row.get("element", ""),
            (float(span[0]), float(span[1])) if span else None,
            {pin: (float(x), float(y)) for pin, (x, y) in row.get("pins", {}).items()},
            tuple(tuple((float(x), float(y)) for x, y in line) for line in row.get("lines", ())),
            tuple(((float(a), float(b)), (float(c), float(d))) for a, b, c, d in row.get("arrows", ())),
            tuple(((float(x), float(y)), float(radius)) for x, y, radius in row.get("circles", ())),
            row.get("marks", {}),
            tuple(row.get("swap", ())),
            row.get("label", ""),
        )
    return found


def symbol_of(kind: str) -> Symbol | None:
    """Return the symbol of a kind of part or a family; None where there is none."""
    if kind in symbols():
        return symbols()[kind]
    return symbols().get(kinds()[kind].family) if kind in kinds() else None


def pins_of(kind: str) -> tuple[str, ...]:
    """Return the pins of a kind of part or a family, in netlist order."""
    return of_family(kind)[0].pins


def turned(place: Place, at: Place, facing: str = "right", flip: bool = False) -> Place:
    """Return where a place of a symbol is on the grid.

    Parameters
    ----------
    place : (float, float)
        In the symbol.
    at : (float, float)
        Where the symbol is.
    facing : str
        ``right``, ``left`` (its mirror image), ``up`` or ``down`` (turned by a quarter).
    flip : bool
        Upside down, before it is turned.
    """
    x, y = place[0], -place[1] if flip else place[1]
    (right_x, right_y), (up_x, up_y) = FACINGS[facing]
    return at[0] + x * right_x + y * up_x, at[1] + x * right_y + y * up_y
