"""Draws a stage, and saves the picture."""

from __future__ import annotations

from collections.abc import Collection, Iterator, Mapping
from dataclasses import dataclass
from pathlib import Path
from typing import Any

import schemdraw

from lostgain.problems import Problem, UserError
from lostgain.report.drawing.glyph import THICK, THIN, Glyph, circle, line, part_elements
from lostgain.report.drawing.pen import LETTER, Box, Pen, around, body, box
from lostgain.report.drawing.texts import Texts, library_texts, unit_texts
from lostgain.report.pictures.style import (
    BLACK,
    GREY,
    NORMAL,
    PAPER,
    SMALL,
    VERMILLION,
    fitted,
    head,
    kind_of,
    save,
    sheet,
)
from lostgain.report.pictures.style import drawing as pictures_look
from lostgain.unit.drawing import Drawing, DrawnPart, Named, drawing
from lostgain.unit.drawing_fitted import as_fitted
from lostgain.unit.drawing_nets import dots
from lostgain.unit.library import stage as stage_facts
from lostgain.unit.placed_stage import PlacedStage
from lostgain.unit.symbols import Place

#: Size of a square, at most, and width of a picture, at least and at most [inch].
SQUARE, LEAST_WIDTH, MOST_WIDTH = 0.42, 5.0, 11.2
#: Room around the drawing: at either side besides what ports say [inch]; below and above [squares].
SIDES, BELOW, ABOVE = 0.45, 1.6, 1.6
#: Around a part that is marked [squares].
RING = 0.12
#: Radius of a place a probe can be held to, and of a dot [squares].
PROBE, DOT = 0.13, 0.09


@dataclass(frozen=True)
class _Picture:
    """What one picture is drawn from."""

    drawn: Drawing
    texts: Texts
    marked: frozenset[str]
    signs: Mapping[str, str]
    pen: Pen


def draw_stage(
    name: str,
    path: Path | str,
    placed: PlacedStage | None = None,
    marked: Collection[str] = (),
    said: str = "",
) -> Path:
    """Draw a library stage, or a unit's stage with its designators, values and test points.

    Parameters
    ----------
    name : str
        The library stage.
    path : path
        Its suffix decides the format: ``.png``, ``.svg`` or ``.pdf``.
    placed : PlacedStage or None
        The unit's stage that uses it, for its designators, values and test points.
    marked : collection of str
        Roles that are drawn in colour, thick and with a dashed ring.
    said : str
        A line under the title.

    Returns
    -------
    Path

    Raises
    ------
    UserError
        If the stage has no drawing, the suffix is no kind of picture, or the file cannot be written.
    """
    kind_of(Path(path))
    drawn = drawing(name)
    if drawn is None:
        raise UserError(Problem(f"the stage “{name}” has no drawing."))
    texts = library_texts(name) if placed is None else unit_texts(placed)
    with pictures_look():
        return save(_figure(drawn, texts, frozenset(marked), said), path)


def _figure(drawn: Drawing, texts: Texts, marked: frozenset[str], said: str) -> Any:
    places = [*(at for wire in drawn.wires for at in wire), *(at for part in drawn.parts for at in part.pins.values())]
    columns, rows = [x for x, _ in places], [y for _, y in places]
    sides = [SIDES + LETTER * max(map(len, texts.ports[port].split("\n"))) for port in ("in", "out")]
    across, upright = max(columns) - min(columns), max(rows) - min(rows) + BELOW + ABOVE
    square = min(SQUARE, (MOST_WIDTH - sum(sides)) / across)
    width = max(LEAST_WIDTH, across * square + sum(sides))
    spare = (width - across * square - sum(sides)) / 2
    lines = fitted([*texts.below, *([said] if said else [])], width)
    height = upright * square + head(lines)
    figure = sheet(width, height, texts.title, lines)
    axes = figure.add_axes((0, 0, 1, upright * square / height))
    axes.set_axis_off()
    facts = stage_facts(drawn.name)
    drawn = as_fitted(drawn, texts.roles, {role.name: role.absent for role in facts.roles.values()})
    picture = schemdraw.Drawing(canvas=axes, show=False)
    picture.config(lw=THIN, color=BLACK, fontsize=NORMAL)
    for element in _elements(_Picture(drawn, texts, marked, facts.rails, Pen(square))):
        picture.add(element)
    picture.draw(show=False, canvas=axes)
    left = min(columns) - (sides[0] + spare) / square
    axes.set(xlim=(left, left + width / square), ylim=(min(rows) - BELOW, max(rows) + ABOVE), aspect="auto")
    return figure


def _elements(picture: _Picture) -> Iterator[Any]:
    drawn = picture.drawn
    yield Glyph([line(wire) for wire in drawn.wires])
    for part in drawn.parts:
        yield from _part(part, picture)
    yield Glyph([circle(at, DOT, fill=BLACK) for at in dots(drawn)])
    yield Glyph([each for at in drawn.grounds for each in _ground(at)])
    yield Glyph([each for rail in drawn.rails for each in _rail(rail, picture)])
    yield Glyph([each for port in drawn.ports for each in _port(port, picture)])
    yield Glyph([each for node in drawn.nodes if node.name in picture.texts.nodes for each in _node(node, picture)])


def _part(part: DrawnPart, picture: _Picture) -> Iterator[Any]:
    """Draw a part with its name."""
    lines = picture.texts.roles[part.role]
    marked = part.role in picture.marked
    colour, width = (VERMILLION, THICK) if marked else (BLACK, THIN)
    yield from part_elements(part, colour, width)
    edge = body(part)
    if marked:
        edge = box(part).wider(RING)
        yield Glyph([_ring(edge)])
    yield Glyph(picture.pen.beside("\n".join(lines), edge, part.label or _usual_side(part), NORMAL, colour))


def _usual_side(part: DrawnPart) -> str:
    """Return on which side of a part its name stands."""
    if part.symbol.two_leg:
        return "right" if len({x for x, _ in part.pins.values()}) == 1 else "above"
    mirrored = {"left": "right", "right": "left"} if part.facing == "left" else {}
    return mirrored.get(part.symbol.label, part.symbol.label)


def _ring(edge: Box) -> Any:
    """Return the dashed ring around a part that is marked."""
    corners = [(edge.left, edge.bottom), (edge.right, edge.bottom), (edge.right, edge.top), (edge.left, edge.top)]
    return line([*corners, corners[0]], color=VERMILLION, ls="--", lw=1.2)


def _ground(at: Place) -> Iterator[Any]:
    x, y = at
    yield line([at, (x, y - 0.3)])
    for number, half in enumerate((0.4, 0.25, 0.1)):
        yield line([(x - half, y - 0.3 - 0.14 * number), (x + half, y - 0.3 - 0.14 * number)])


def _rail(rail: Named, picture: _Picture) -> Iterator[Any]:
    (x, y), up = rail.at, picture.signs[rail.name] == "positive"
    end = y + (0.35 if up else -0.35)
    yield line([rail.at, (x, end)])
    yield line([(x - 0.4, end), (x + 0.4, end)], lw=2 * THIN)
    side = rail.label or ("above" if up else "below")
    yield from picture.pen.beside(picture.texts.rails[rail.name], Box(x - 0.4, end, x + 0.4, end), side, SMALL)


def _port(port: Named, picture: _Picture) -> Iterator[Any]:
    yield circle(port.at, PROBE, PAPER, zorder=4)
    side = port.label or ("left" if port.name == "in" else "right")
    yield from picture.pen.beside(picture.texts.ports[port.name], around(port.at, PROBE), side)


def _node(node: Named, picture: _Picture) -> Iterator[Any]:
    yield circle(node.at, PROBE, PAPER, zorder=4)
    said = picture.texts.nodes[node.name]
    yield from picture.pen.beside(said, around(node.at, PROBE), node.label or "left", SMALL, GREY)
