"""The drawing of a library stage: what is where on its grid, read from ``circuits/stages/NAME.draw.toml``."""

from __future__ import annotations

from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from lostgain import shipped
from lostgain.problems import nearest
from lostgain.unit.facts import StageFacts
from lostgain.unit.library import stage
from lostgain.unit.source import Source, Table
from lostgain.unit.symbols import FACINGS, Place, Symbol, pins_of, symbol_of, symbols, turned

SIDES = ("left", "right", "above", "below", "centre")


@dataclass(frozen=True)
class DrawnPart:
    """A role on the drawing.

    Parameters
    ----------
    role : str
    symbol : Symbol
    pins : mapping
        Pin to its place; for two legs in the order in which they are drawn.
    at : (float, float)
        The symbol's own point; for two legs the middle between them.
    facing : str
    flip : bool
    label : str
        Side of its name; empty for the usual one.
    """

    role: str
    symbol: Symbol
    pins: Mapping[str, Place]
    at: Place
    facing: str = "right"
    flip: bool = False
    label: str = ""


@dataclass(frozen=True)
class Named:
    """A place with a name: a port, a rail, a node worth probing.

    Parameters
    ----------
    name : str
    at : (float, float)
    label : str
        Side of its name; empty for the usual one.
    """

    name: str
    at: Place
    label: str = ""


@dataclass(frozen=True)
class Drawing:
    """The drawing of a stage; places in squares, x to the right, y up.

    Parameters
    ----------
    name : str
        The stage's.
    parts : tuple of DrawnPart
    wires : tuple of tuple of (float, float)
    grounds : tuple of (float, float)
    rails, ports, nodes : tuple of Named
    """

    name: str
    parts: tuple[DrawnPart, ...]
    wires: tuple[tuple[Place, ...], ...]
    grounds: tuple[Place, ...]
    rails: tuple[Named, ...]
    ports: tuple[Named, ...]
    nodes: tuple[Named, ...]


def drawing(name: str) -> Drawing | None:
    """Return the drawing of a library stage; None where nobody has drawn it yet.

    Raises
    ------
    UserError
        If there is no such stage, or the drawing's file is at fault.
    """
    facts = stage(name)
    file = shipped.folder() / "stages" / f"{name}.draw.toml"
    return read_drawing(file, facts.name) if file.is_file() else None


@cache
def read_drawing(file: Path, name: str) -> Drawing:
    """Read a drawing of the library stage of that name.

    Raises
    ------
    UserError
        With every mistake in it.
    """
    facts = stage(name)
    source = Source(file)
    top = Table(source, (), "the drawing", source.data)
    found = Drawing(
        name,
        tuple(_parts(top, facts)),
        tuple(_wires(top)),
        tuple(_places(top, "grounds")),
        tuple(_named(top, "rails", "rail", facts.rails)),
        tuple(_named(top, "ports", "port", [port for port in facts.ports if port not in facts.rails])),
        tuple(_named(top, "nodes", "node", facts.nodes)),
    )
    drawn = [part.role for part in found.parts]
    for role in facts.roles:
        if drawn.count(role) != 1:
            top.wrong("parts", f"role {role} is drawn {drawn.count(role)} times; it should be once.")
    top.finish()
    source.settle()
    return found


def _parts(top: Table, facts: StageFacts) -> Iterator[DrawnPart]:
    for row in top.tables("parts", "part"):
        role = row.text("role", required='"RF"')
        if role not in facts.roles:
            row.wrong("role", f"{facts.name} has no role “{role}”.", nearest(role, facts.roles))
            row.taken.update(row.data)
            continue
        kind = facts.roles[role].kind
        wanted = row.text("symbol", kind)
        symbol = symbol_of(wanted)
        if symbol is None:
            row.wrong(None, f"there is no symbol for {wanted}; add one to symbols.toml.", nearest(wanted, symbols()))
            row.taken.update(row.data)
            continue
        part = _two_leg(row, role, symbol, kind) if symbol.two_leg else _placed(row, role, symbol, kind)
        row.finish()
        if part is not None:
            yield part


def _two_leg(row: Table, role: str, symbol: Symbol, kind: str) -> DrawnPart | None:
    start, end = _place(row, "from"), _place(row, "to")
    label = _side(row)
    if start is None or end is None:
        return None
    if (start[0] == end[0]) == (start[1] == end[1]):
        row.wrong("to", f"{role} should lie straight: from and to differ in either x or y.")
    middle = ((start[0] + end[0]) / 2, (start[1] + end[1]) / 2)
    return DrawnPart(role, symbol, dict(zip(pins_of(kind), (start, end), strict=True)), middle, label=label)


def _placed(row: Table, role: str, symbol: Symbol, kind: str) -> DrawnPart | None:
    at = _place(row, "at")
    facing, flip, label = row.text("facing", "right"), row.flag("flip"), _side(row)
    if facing not in FACINGS:
        row.wrong("facing", f"facing = “{facing}” should be one of {', '.join(FACINGS)}.", nearest(facing, FACINGS))
        return None
    if set(symbol.pins) != set(pins_of(kind)):
        row.wrong("role", f"the symbol {symbol.name} has other pins than a {kind}: {', '.join(symbol.pins)}.")
        return None
    if at is None:
        return None
    pins = dict(symbol.pins)
    if flip and symbol.swap:
        one, other = symbol.swap
        pins[one], pins[other] = pins[other], pins[one]
    upside = flip and not symbol.swap
    places = {pin: turned(place, at, facing, upside) for pin, place in pins.items()}
    return DrawnPart(role, symbol, places, at, facing, flip, label)


def _side(row: Table) -> str:
    side = row.text("label")
    if side and side not in SIDES:
        row.wrong("label", f"label = “{side}” should be one of {', '.join(SIDES)}.", nearest(side, SIDES))
    return side


def _place(row: Table, key: str) -> Place | None:
    """Return a place; None, and a note, where it is missing or none."""
    place = _as_place(row.get(key, list, "a place: [4, 2]"))
    if place is None:
        row.wrong(key if key in row.data else None, f"{row.called} needs {key}, a place of two numbers: [4, 2].")
    return place


def _as_place(value: Any) -> Place | None:
    if not isinstance(value, list) or len(value) != 2:
        return None
    if any(isinstance(each, bool) or not isinstance(each, (int, float)) for each in value):
        return None
    return float(value[0]), float(value[1])


def _places(top: Table, key: str) -> Iterator[Place]:
    for value in top.get(key, list, "a list of places: [[4, 2], [8, 0]]", []):
        place = _as_place(value)
        if place is None:
            top.wrong(key, f"{key} should be a list of places, each of two numbers: [[4, 2], [8, 0]].")
        else:
            yield place


def _wires(top: Table) -> Iterator[tuple[Place, ...]]:
    for wire in top.get("wires", list, "a list of wires, each a list of places", []):
        places = [_as_place(each) for each in wire] if isinstance(wire, list) else []
        good = tuple(each for each in places if each is not None)
        if len(good) < 2 or len(good) < len(places):
            top.wrong("wires", "a wire is a list of two places or more: [[4, 2], [8, 2]].")
        else:
            yield good


def _named(top: Table, key: str, called: str, known: Any) -> Iterator[Named]:
    for row in top.tables(key, called):
        name = row.text("name", required='"out"')
        at, label = _place(row, "at"), _side(row)
        if name not in known:
            row.wrong("name", f"the stage has no {called} “{name}”.", nearest(name, known))
        row.finish()
        if at is not None:
            yield Named(name, at, label)
