"""Potentiometers that a netlist draws as two resistors, or as a resistor with three nodes."""

from __future__ import annotations

import re

from lostgain.netlists.model import LIKELY, Notes, Piece
from lostgain.quantities import show

_HALF = re.compile(r"R?_?((?:RV|VR|POT|PR|P|VOL|TRIM)\d*)_?(A|B|1|2|T|U|L|TOP|BOT|BOTTOM|HI|LO|UP|DOWN)")
_UPPER = {"A", "1", "T", "U", "TOP", "HI", "UP"}
_VALUE = re.compile(r"\d[\w.]*")


def three_nodes(text: str) -> str | None:
    """Return a resistor with three nodes as a potentiometer, which is what it stands for; None for any other line."""
    words = text.split()
    if len(words) not in (5, 6) or not re.match(r"R?_?(RV|VR|POT|P)\d", words[0], re.IGNORECASE):
        return None
    if _VALUE.fullmatch(words[3]) and not words[3].isdigit():
        return None
    if not _VALUE.fullmatch(words[4]):
        return None
    share = words[5] if len(words) == 6 and re.fullmatch(r"0?\.\d+|[01]", words[5]) else "0.5"
    return f"X{words[0]} {words[1]} {words[2]} {words[3]} potentiometer params: R={words[4]} K={share}"


def join_halves(pieces: list[Piece], notes: Notes) -> list[Piece]:
    """Return the elements with pairs of resistors that are the two halves of one track as one potentiometer.

    Only names tell: ``RV1A`` and ``RV1B``, say, with one node in common. Two resistors that merely follow each other
    are a divider.
    """
    halves: dict[str, list[tuple[str, Piece]]] = {}
    for piece in pieces:
        if piece.letter == "r" and piece.value and (found := _HALF.fullmatch(piece.name)):
            halves.setdefault(found[1], []).append((found[2], piece))
    gone: list[Piece] = []
    new: dict[int, Piece] = {}
    for stem, pair in halves.items():
        if len(pair) != 2 or not any(letter.isdigit() for letter in stem):
            continue
        (one, upper), (_, lower) = sorted(pair, key=lambda each: each[0] not in _UPPER)
        common = set(upper.nodes) & set(lower.nodes)
        if len(common) != 1 or one not in _UPPER or not upper.value or not lower.value:
            continue
        wiper = common.pop()
        top, bottom = (next(node for node in half.nodes if node != wiper) for half in (upper, lower))
        whole = upper.value + lower.value
        tail = f"potentiometer R={whole:.9g} K={lower.value / whole:.9g}"
        pot = Piece(f"X{stem}", [top, wiper, bottom], tail, upper.where, stem, "potentiometer",
                    ("top", "wiper", "bottom"), whole)  # fmt: skip
        text = (
            f"{upper.name} and {lower.name} were taken as the two halves of one potentiometer of {show(whole, 'ohm')}."
        )
        notes.say(stem, text, LIKELY, upper.where, f"part {stem}")
        gone += [upper, lower]
        new[id(upper)] = pot
    return [new.get(id(piece), piece) for piece in pieces if id(piece) in new or piece not in gone]
