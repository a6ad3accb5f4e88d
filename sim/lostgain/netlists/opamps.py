"""Op-amps among the subcircuits: which ones are, and which pin is which."""

from __future__ import annotations

import re
from collections.abc import Iterable, Mapping

from lostgain.netlists.deck import Subckt
from lostgain.netlists.model import DOUBTFUL, GROUND, LIKELY, SURE, Piece

#: What makers call the nodes of an op-amp's model.
_NAMES = {
    "inp": re.compile(r"in\+|\+in|inp|in_?p(os)?|vin\+|vinp|ip|non_?inv\w*|in_?plus|inplus|pos_?in|plus|\+|inhi"),
    "inn": re.compile(r"in-|-in|inn|in_?[nm]|in_?neg|vin-|vin[nm]|i[nm]|inv\w*|in_?minus|neg_?in|minus|-|inlo"),
    "vp": re.compile(r"v\+|\+v|vcc\+?|vdd\+?|vp|v_?pos|vs\+|vsp|vps|v_?plus|vpp|vccp|vc|pwr\+?|v_?hi|p\+"),
    "vn": re.compile(r"v-|-v|vee|vss|vn|v_?neg|vs-|vsn|vns|v_?minus|vnn|gnd|vcc-|vccn|ve|agnd|vm|p-"),
    "out": re.compile(r"out\w*|v_?out|vo|o|output"),
}
#: The order in which most makers write their models: non-inverting, inverting, supplies, output.
USUAL = ("inp", "inn", "vp", "vn", "out")
#: Pins of one op-amp in an eight-pin package: offset, inputs, negative supply, offset, output, positive supply, none.
_PACKAGE = ("offset1", "inn", "inp", "vn", "offset2", "out", "vp", "nc")
_LIKE_ONE = re.compile(r"op_?-?amp|^(tl|ne|lm|lf|op|opa|mc|ad|lt|njm|rc|ua|ca|max|lme|tlc|ts)\d", re.IGNORECASE)
_SOURCES = set("efghb")


def looks_like_one(subckt: Subckt) -> bool:
    """Tell whether a subcircuit may be an op-amp: by its name, or by its nodes and the sources in it."""
    letters = {card.word[0] for card in subckt.cards}
    named = sum(any(sort.fullmatch(port) for sort in _NAMES.values()) for port in subckt.ports)
    if len(subckt.ports) < 3:
        return False
    return bool(_LIKE_ONE.search(subckt.name)) or (bool(letters & _SOURCES) and (named >= 3 or len(subckt.ports) == 5))


def pins_of(
    piece: Piece, subckt: Subckt, rails: Mapping[str, float], pieces: Iterable[Piece]
) -> tuple[tuple[str, ...], str, str] | None:
    """Return the pins of an op-amp in the order of its nodes, how sure, and by what; None where they can't be told.

    Parameters
    ----------
    piece : Piece
    subckt : Subckt
    rails : mapping
        Node to voltage [V].
    pieces : iterable of Piece
        The whole netlist, to see what its output feeds back to.
    """
    by_name = _by_names(subckt.ports)
    if by_name:
        return by_name, SURE, f"by the names of the nodes of .subckt {subckt.name}"
    volts = {**rails, GROUND: 0.0}
    held = [volts.get(node) for node in piece.nodes]
    count = len(piece.nodes)
    if count == 8 and _supplied(held, 6, 3):
        return _PACKAGE, LIKELY, "by its eight nodes, numbered as on the package"
    if count >= 5 and _supplied(held, 2, 3):
        pins = (*USUAL, *(f"extra{number}" for number in range(1, count - 4)))
        if _fed_back(piece, pins, pieces):
            return pins, LIKELY, "by its supply pins and what its output feeds back to"
        return pins, DOUBTFUL, "by the usual order; nothing leads from its output straight back to its inverting input"
    if count == 3 and not any(held[:2]):
        pins = ("inp", "inn", "out")
        sure = LIKELY if _fed_back(piece, pins, pieces) else DOUBTFUL
        return pins, sure, "by the usual order; the model has no supply pins"
    return _by_supply(piece, held, pieces) if count == 5 else None


def _by_names(ports: tuple[str, ...]) -> tuple[str, ...] | None:
    """Return the pins where the names of the nodes tell them all, each once."""
    pins = []
    for number, port in enumerate(ports, 1):
        fitting = [pin for pin, pattern in _NAMES.items() if pattern.fullmatch(port)]
        pins.append(fitting[0] if len(fitting) == 1 else f"extra{number}")
    needed = {"inp", "inn", "out"}
    enough = needed <= set(pins) and len(set(pins)) == len(pins)
    return tuple(pins) if enough and ("vp" in pins) == ("vn" in pins) else None


def _supplied(held: list[float | None], high: int, low: int) -> bool:
    above, below = held[high], held[low]
    return above is not None and below is not None and above > below


def _by_supply(
    piece: Piece, held: list[float | None], pieces: Iterable[Piece]
) -> tuple[tuple[str, ...], str, str] | None:
    """Return the pins of a model in another order: supplies where its rails are, the rest by what feeds back."""
    rails = [(volts, place) for place, volts in enumerate(held) if volts is not None]
    if len(rails) < 2 or max(rails)[0] <= min(rails)[0]:
        return None
    high, low = max(rails)[1], min(rails)[1]
    rest = [place for place in range(len(held)) if place not in (high, low)]
    if len(rest) != 3:
        return None
    pieces = list(pieces)
    for order in ((0, 1, 2), (2, 1, 0), (1, 0, 2), (2, 0, 1)):
        pins = [""] * len(held)
        pins[high], pins[low] = "vp", "vn"
        for name, which in zip(("inp", "inn", "out"), order, strict=True):
            pins[rest[which]] = name
        if _fed_back(piece, tuple(pins), pieces):
            return tuple(pins), DOUBTFUL, "by where its supply pins go and what feeds back to its inputs"
    return None


def _fed_back(piece: Piece, pins: tuple[str, ...], pieces: Iterable[Piece]) -> bool:
    """Tell whether a part, or a wire, leads from the output to the inverting input and none to the other."""
    nodes = dict(zip(pins, piece.nodes, strict=True))
    out, inn, inp = nodes["out"], nodes["inn"], nodes["inp"]
    if out == inn:
        return inp != out
    links = [set(each.nodes) for each in pieces if each is not piece and each.letter in "rcd" and len(each.nodes) == 2]
    return {out, inn} in links and (inp == GROUND or {out, inp} not in links)
