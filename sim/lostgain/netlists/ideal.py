"""Op-amps that a netlist draws as a voltage source of high gain."""

from __future__ import annotations

import re

from lostgain.circuit.flat import spice_number
from lostgain.netlists.model import GROUND, LIKELY, Notes, Piece

#: A gain that only an op-amp has.
_OPEN_LOOP = 1e3


def ideal_opamps(pieces: list[Piece], notes: Notes) -> list[Piece]:
    """Return the elements with sources of high gain as op-amps without supply pins, which are parts and can fail."""
    found = []
    for piece in pieces:
        gain = _gain(piece)
        if abs(gain) < _OPEN_LOOP or GROUND not in piece.nodes[:2] or piece.nodes[0] == piece.nodes[1]:
            found.append(piece)
            continue
        out, other, inp, inn = piece.nodes
        if (gain < 0) != (out == GROUND):
            inp, inn = inn, inp
        node = other if out == GROUND else out
        name = f"X{piece.name}"[:16]
        notes.say(piece.board, f"a source with a gain of {abs(gain):.3g} was taken as an op-amp without supply pins.",
                  LIKELY, piece.where, f"part {piece.board}")  # fmt: skip
        found.append(Piece(name, [inp, inn, node], f"ideal_opamp params: a={abs(gain):.12g}", piece.where, piece.board,
                           "opamp", ("inp", "inn", "out")))  # fmt: skip
    return found


def _gain(piece: Piece) -> float:
    if piece.letter != "e" or len(piece.nodes) != 4 or not re.fullmatch(r"[-+.\w]+", piece.tail):
        return 0.0
    try:
        return spice_number(piece.tail)
    except ValueError:
        return 0.0
