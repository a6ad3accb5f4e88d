"""Names: designators as they are on the board, nodes as a unit file and ngspice can both spell them."""

from __future__ import annotations

import re
from collections import Counter
from collections.abc import Iterable

from lostgain.netlists.model import GROUND, LIKELY, SURE, Notes, Piece, wrong
from lostgain.netlists.sheets import Flat, on_board
from lostgain.unit.names import is_designator

_BOARD = re.compile(r"[A-Z]{1,3}\d+[A-Z]?(?:_\w+)?")
#: Words that ngspice or lostgain take for something else.
_TAKEN = {"all", "allv", "alli", "ally", "gnd", "bench_emf"}
_LIKE_A_VALUE = re.compile(r"\d+(\.\d*)?(e[+-]?\d+|meg|[tgkmunpf])\w*|\d*\.\d+\w*", re.IGNORECASE | re.ASCII)
_GROUNDS = ("gnd", "agnd", "gnda", "sgnd", "dgnd", "gnd1", "com", "common", "earth", "ground", "0v", "vss_gnd", "masse")
_REFERS = {"f": 1, "h": 1, "w": 1, "k": 2}


def name_all(flat: Flat, notes: Notes) -> list[Piece]:
    """Give every element its name and its designator, and every node a name that can be written anywhere.

    Returns
    -------
    list of Piece
        The elements of all sheets.
    """
    bases = [_base(path, piece, flat) for path, piece in flat.pieces]
    counts = Counter(bases)
    new_names: dict[tuple[tuple[str, ...], str], str] = {}
    taken: set[str] = set()
    for (path, piece), base in zip(flat.pieces, bases, strict=True):
        name = base if counts[base] == 1 else f"{base}_{'_'.join(sheet[1:].strip('_') for sheet in path)}".strip("_")
        name = _free(re.sub(r"\W", "_", name, flags=re.ASCII).upper(), taken)
        taken.add(name)
        new_names[path, piece.name] = name
    for path, piece in flat.pieces:
        old, piece.name = piece.name, new_names[path, piece.name]
        piece.board = board(piece.name)
        if old in notes.ratings:
            piece.text = notes.ratings[old]
        _refer(path, piece, new_names)
    pieces = [piece for _, piece in flat.pieces]
    boards = Counter(piece.board for piece in pieces) + Counter({piece.name: 1 for piece in pieces})
    for piece in pieces:
        if piece.board != piece.name and boards[piece.board] > 1:
            piece.board = piece.name
    _grounded(pieces, notes)
    _rename_nodes(pieces)
    return pieces


def _base(path: tuple[str, ...], piece: Piece, flat: Flat) -> str:
    """Return an element's name without what its netlist put in front of the designator: ``R_R1`` is R1."""
    name = piece.name
    if found := re.fullmatch(r"([A-Z])_+([A-Z]+\d\w*)", name):
        name = found[2] if found[2][0] == found[1] and found[1] != "X" else found[1] + found[2]
    siblings = [other for where, other in flat.pieces if where == path]
    own = [other for other in siblings if not other.tail.startswith("inner_")]
    if path and len(own) == 1 < len(siblings) and own[0] is piece:  # a part with its losses
        called = path[-1][1:].strip("_")
        return called if called.startswith(piece.name[0]) else piece.name[0] + called
    if path and len(siblings) > 1 and all(other.letter == "x" for other in siblings):
        return re.sub(r"^X_(?=[A-Z]+\d)", "X", path[-1]) + name[1:].strip("_")  # the devices of a package: U1A, U1B
    return name


def board(name: str) -> str:
    """Return the designator of an element: of ``XU1A`` that is U1A, of ``RRV1`` RV1."""
    inner = name[1:].lstrip("_")
    if name[0] == "X" and inner and is_designator(inner):
        return inner
    other = {"R": r"RV|VR|POT|LS", "C": r"EC", "L": r"LS|TR", "Q": r"T|TR", "D": r"LED|ZD|Z"}.get(name[0])
    return inner if other and re.fullmatch(rf"({other})\d+\w*", inner) else name


def _free(name: str, taken: set[str]) -> str:
    name = name[:16]
    number = 2
    while name in taken:
        tail = f"_{number}"
        name = name[: 16 - len(tail)] + tail
        number += 1
    return name


def _refer(path: tuple[str, ...], piece: Piece, names: dict[tuple[tuple[str, ...], str], str]) -> None:
    """Put the new names where an element names others: a current's source, the coils of a coupling."""
    words = piece.tail.split()
    for place in range(min(_REFERS.get(piece.letter, 0), len(words))):
        words[place] = names.get((path, words[place].upper()), words[place])
    if piece.letter in _REFERS:
        piece.tail = " ".join(words)
    elif piece.letter in "begrc":
        piece.tail = re.sub(
            r"\bi\(\s*(\S+?)\s*\)", lambda found: f"i({names.get((path, found[1].upper()), found[1])})", piece.tail,
            flags=re.IGNORECASE,
        )  # fmt: skip


def _grounded(pieces: Iterable[Piece], notes: Notes) -> None:
    """Call ground 0. A netlist without a node 0 has its ground under another name."""
    pieces = list(pieces)
    known = {node for piece in pieces for node in piece.nodes}
    names = {"gnd", "/gnd"} & known
    if GROUND not in known and not names:
        stems = {node.strip("/").rpartition("/")[2]: node for node in sorted(known)}
        found = next((stems[name] for name in _GROUNDS if name in stems), None)
        if found is None:
            message = "The netlist has no ground: no node is called 0 or GND."
            raise wrong(message, pieces[0].where, "Rename the one that is ground to 0.")
        notes.say(found, f"the node {found} was taken as ground: the netlist has no node 0.", LIKELY)
        names = {found}
    rename_nodes(pieces, dict.fromkeys(names, GROUND))


def _rename_nodes(pieces: list[Piece]) -> None:
    """Give every node a name of letters, digits and underscores that is no value and nobody else's."""
    known = list(dict.fromkeys(node for piece in pieces for node in piece.nodes))
    fine = {node for node in known if plain_node(node) == node}
    new: dict[str, str] = {}
    taken = set(fine)
    for node in known:
        if node in fine:
            continue
        name = start = plain_node(node)
        number = 2
        while name in taken:
            name = f"{start}_{number}"
            number += 1
        taken.add(name)
        new[node] = name
    rename_nodes(pieces, new)


def plain_node(node: str) -> str:
    """Return a node's name in lower-case letters, digits and underscores: ``/pre/out`` is pre_out, ``+15v`` p15v."""
    if node == GROUND:
        return node
    name = node.strip("/").replace("~", "n")
    name = re.sub(r"(^|/)\+(?=\d)", r"\1p", name)
    name = re.sub(r"(^|/)-(?=\d)", r"\1n", name)
    name = re.sub(r"\+$", "p", re.sub(r"-$", "n", name)) if len(name) > 1 else name.replace("+", "p").replace("-", "n")
    name = re.sub(r"(^|_)net[-_]+", r"\1", name)
    name = re.sub(r"[^a-z0-9_]+", "_", name).strip("_") or "node"
    if name in _TAKEN or _LIKE_A_VALUE.fullmatch(name):
        name = f"n_{name}"
    return name


def rename_nodes(pieces: Iterable[Piece], new: dict[str, str]) -> None:
    """Give nodes other names, in place, in expressions too."""
    if not new:
        return
    for piece in pieces:
        piece.nodes = [new.get(node, node) for node in piece.nodes]
        piece.tail = on_board(piece.tail, lambda node: new.get(node.lower(), node))


def renamed(name: str, pieces: Iterable[Piece]) -> str:
    """Return what a node the user named is called now; empty if there is none of that name."""
    known = {node for piece in pieces for node in piece.nodes}
    low = name.strip().lower()
    for candidate in (low, plain_node(low), low.strip("/").rpartition("/")[2]):
        if candidate in known:
            return candidate
    return ""


def sheet_note(flat: Flat, notes: Notes) -> None:
    """Say which sheets were taken apart."""
    sheets = dict.fromkeys(path[-1] for path, _ in flat.pieces if path)
    if sheets:
        text = f"taken apart into its parts, whose nodes now begin with its name: {', '.join(sheets)}."
        notes.say("sheets", text, SURE)
