"""Text for a terminal or a pipe: paragraphs and tables that are never wider than a line."""

from __future__ import annotations

import re
import unicodedata
from collections.abc import Iterable, Sequence

from rich.cells import cell_len, chop_cells

#: Cells of a line.
WIDTH = 80
#: Between two columns of a table.
GAP = 2


def clean(text: str) -> str:
    """Return the text without anything a terminal could take for a command: a unit's title is anybody's text."""
    return "".join(" " if unicodedata.category(sign) in ("Cc", "Cf", "Zl", "Zp") else sign for sign in text)


def wrapped(text: str, indent: str = "", first: str | None = None, width: int = WIDTH) -> list[str]:
    """Return a paragraph as lines.

    Parameters
    ----------
    text : str
    indent : str
        What each line starts with.
    first : str or None
        What the first line starts with instead.
    width : int
        Cells of a line, indent included; a word longer than that is broken.
    """
    lines, line = [], indent if first is None else first
    fresh = True
    for word in clean(text).split(" "):
        if not word:
            continue
        if not fresh and cell_len(line) + 1 + cell_len(word) > width:
            lines.append(line)
            line, fresh = indent, True
        room = max(1, width - cell_len(line))
        if fresh and cell_len(word) > room:
            *whole, word = chop_cells(word, room)
            for piece in whole:
                lines.append(line + piece)
                line = indent
        line += word if fresh else f" {word}"
        fresh = False
    return [*lines, line.rstrip()]


def table(
    rows: Sequence[Sequence[str]], align: str = "", head: Sequence[str] = (), indent: str = "  ", width: int = WIDTH
) -> list[str]:
    """Return a table as lines; where it is too wide, its widest columns of words are folded.

    Parameters
    ----------
    rows : sequence of sequence of str
    align : str
        One letter a column, ``<`` or ``>``; columns aligned to the right are never folded.
    head : sequence of str
        Headings.
    indent : str
    width : int
    """
    everything = [[clean(cell) for cell in row] for row in ([head] if head else []) + list(rows)]
    if not everything:
        return []
    count = len(everything[0])
    align = align.ljust(count, "<")
    sizes = [max(cell_len(row[column]) for row in everything) for column in range(count)]
    _fold(sizes, align, width - len(indent) - GAP * (count - 1))
    lines = []
    for row in everything:
        cells = [wrapped(cell, width=size) if size else [""] for cell, size in zip(row, sizes, strict=True)]
        for number in range(max(len(cell) for cell in cells)):
            pieces = [cell[number] if number < len(cell) else "" for cell in cells]
            padded = [_padded(*each) for each in zip(pieces, sizes, align, strict=True)]
            lines.append((indent + (" " * GAP).join(padded)).rstrip())
    return lines


def _fold(sizes: list[int], align: str, room: int) -> None:
    """Make the widest columns of words narrower until the table fits, in place."""
    while sum(sizes) > room:
        words = [number for number, side in enumerate(align) if side == "<"] or list(range(len(sizes)))
        widest = max(words, key=lambda number: sizes[number])
        if sizes[widest] <= 4:
            widest = max(range(len(sizes)), key=lambda number: sizes[number])
            if sizes[widest] <= 4:
                return
        sizes[widest] -= 1


def _padded(text: str, size: int, side: str) -> str:
    spaces = " " * max(0, size - cell_len(text))
    return spaces + text if side == ">" else text + spaces


def counted(name: str) -> list[str | int]:
    """Return the key that sorts designators as people count: R2 before R10."""
    return [int(piece) if place % 2 else piece for place, piece in enumerate(re.split(r"(\d+)", name))]


def joined(blocks: Iterable[Sequence[str]]) -> str:
    """Return blocks of lines as one text, an empty line between two; empty blocks are left out."""
    return "\n\n".join("\n".join(block) for block in blocks if block)


def section(title: str) -> list[str]:
    """Return a heading as lines: underlined, as on the bench sheet."""
    lines = wrapped(title)
    return [*lines, "-" * max(cell_len(line) for line in lines)]
