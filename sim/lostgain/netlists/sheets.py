"""Sheets of a schematic, which editors write as subcircuits, taken apart: their parts are parts of the board."""

from __future__ import annotations

import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field

from lostgain.engine.guard import refuse
from lostgain.netlists.deck import Deck, Subckt, ports_and_params
from lostgain.netlists.dialect import no_part, plain_element
from lostgain.netlists.model import GROUND, SURE, Card, Notes, Piece, wrong
from lostgain.problems import Problem, UserError, Where, nearest
from lostgain.unit.library import device_names

#: Nodes of an element by its letter; E and G have two more where nothing but a gain follows.
_NODES = {"r": 2, "c": 2, "l": 2, "v": 2, "i": 2, "d": 2, "b": 2, "f": 2, "h": 2, "e": 2, "g": 2, "q": 3, "j": 3,
          "z": 3, "m": 4, "s": 4, "t": 4, "o": 4, "w": 2, "k": 0}  # fmt: skip
_DEEPEST = 8
_WORD = re.compile(r"(?<![\w.])[A-Za-z_]\w*")
_BRACES = re.compile(r"\{[^{}]*\}|'[^']*'")
_OPAMP_NAME = re.compile(r"op_?-?amp|amp$|^(tl|ne|lm|lf|op|opa|mc|ad|lt|njm|rc|ua|ca|max|lme|tlc|ts)\d", re.IGNORECASE)
_BY_FORMULA = re.compile(r"\S+[\s(]+\S+\s+\S+?[\s)]+\s*(value|vol|cur|poly|table)\b", re.IGNORECASE)
_DEVICE_LETTERS = set("efghbias")


@dataclass
class Scope:
    """Where in the hierarchy a line stands.

    Parameters
    ----------
    path : tuple of str
        Names of the sheets around it, as the netlist calls them.
    nodes : mapping
        Ports of the sheet to the nodes outside.
    params : mapping
        Parameters of the sheet to text.
    """

    path: tuple[str, ...] = ()
    nodes: Mapping[str, str] = field(default_factory=dict)
    params: Mapping[str, str] = field(default_factory=dict)


@dataclass
class Flat:
    """The elements of all sheets together.

    Parameters
    ----------
    pieces : list of (tuple of str, Piece)
        With the sheets each is on.
    """

    pieces: list[tuple[tuple[str, ...], Piece]] = field(default_factory=list)


def is_sheet(subckt: Subckt, deck: Deck) -> bool:
    """Tell a sheet of the schematic from the model of a device.

    A model of a device lies in a file of its own, or has sources inside, or is one semiconductor with its leads; a
    package with several devices inside, and nothing else, is taken apart as a sheet is.
    """
    words = [card.word for card in subckt.cards if not card.word.startswith((".", "+"))]
    if words and all(word[0] == "x" for word in words) and len(words) > 1:
        return True
    letters = {word[0] for word in words}
    if subckt.included or letters & _DEVICE_LETTERS or not words or _OPAMP_NAME.search(subckt.name):
        return False
    actives = sum(word[0] in "qjmdx" for word in words)
    if actives == 1 and letters & set("qjm") and len(subckt.ports) <= 4 and "c" not in letters:
        return False
    return not (len(words) <= 3 and letters == {"r"} and len(subckt.ports) == 3)  # a potentiometer


def flatten(deck: Deck, notes: Notes) -> Flat:
    """Return the elements of a netlist, its sheets taken apart.

    Raises
    ------
    UserError
        For lines that may not be run, that ngspice does not take, and subcircuits that are nowhere.
    """
    flat = Flat()
    problems: list[Problem] = []
    _expand(deck.elements, Scope(), deck, notes, flat, problems)
    if problems:
        raise UserError(problems)
    return flat


def _expand(cards: list[Card], scope: Scope, deck: Deck, notes: Notes, flat: Flat, problems: list[Problem]) -> None:
    if len(scope.path) > _DEEPEST:
        raise wrong("Subcircuits lie in each other too deep; does one call itself?", cards[0].where)
    params = dict(scope.params)
    for card in cards:
        if card.word == ".param":
            _, own = ports_and_params(Card(f"x {card.text.partition(' ')[2]}", card.where))
            params |= {name: _filled(value, params) for name, value in own.items()}
    scope = Scope(scope.path, scope.nodes, params)
    for card in cards:
        if card.word == ".model":
            deck.models.setdefault(card.text.split()[1].lower(), card)
        elif not card.word.startswith("."):
            try:
                _element(card, scope, deck, notes, flat, problems)
            except UserError as error:
                problems += error.problems


def _element(card: Card, scope: Scope, deck: Deck, notes: Notes, flat: Flat, problems: list[Problem]) -> None:
    if what := no_part(card):
        notes.say(
            card.word.upper(), f"“{what}” is nothing that could be simulated; the line was left out.", SURE, card.where
        )
        return
    for text in plain_element(card, notes):
        checked(text, card.where)
        piece = _piece(text, card.where, deck)
        if piece.letter != "x":
            flat.pieces.append((scope.path, _placed(piece, scope, deck)))
            continue
        name, params = piece.tail.split()[0], ports_and_params(Card(f"x {piece.tail.partition(' ')[2]}", card.where))[1]
        subckt = deck.subckts.get(name)
        if subckt is None or not is_sheet(subckt, deck):
            flat.pieces.append((scope.path, _placed(piece, scope, deck)))
            continue
        if len(subckt.ports) != len(piece.nodes):
            message = f"{piece.name} has {len(piece.nodes)} nodes, and .subckt {name} has {len(subckt.ports)}."
            raise wrong(message, card.where, f"They are {' '.join(subckt.ports)}.")
        outside = [_node(node, scope, deck) for node in piece.nodes]
        given = {key: _filled(value, scope.params) for key, value in params.items()}
        inner = Scope(
            (*scope.path, piece.name), dict(zip(subckt.ports, outside, strict=True)), {**subckt.params, **given}
        )
        _expand(_with_losses(subckt), inner, deck, notes, flat, problems)


def _with_losses(subckt: Subckt) -> list[Card]:
    """Return the lines of a sheet; of a capacitor or coil with its losses, those as what the part has inside."""
    cards = [card for card in subckt.cards if not card.word.startswith(".")]
    main = [card for card in cards if card.word[0] == "c"] or [card for card in cards if card.word[0] == "l"]
    words = " ".join(card.text for card in cards).lower().split()
    if len(subckt.ports) != 2 or len(main) != 1 or len(cards) < 2 or "0" in words or "gnd" in words:
        return subckt.cards
    if any(card.word[0] not in "rlc" for card in cards):
        return subckt.cards
    found = []
    for card in subckt.cards:
        if card in main or card.word.startswith("."):
            found.append(card)
        else:
            name, plus, minus, *rest = card.text.split()
            value = rest[0] if rest else "1"
            text = f"X{name} {plus} {minus} inner_{name[0].lower()} params: q={value}"
            found.append(Card(text, card.where))
    return found


def checked(text: str, where: Where) -> None:
    """Refuse a line that may not be run, or that ngspice would misread.

    Raises
    ------
    UserError
        About the line of the user's own file.
    """
    try:
        refuse([text])
    except UserError as error:
        raise UserError([Problem(each.message, where, each.meant) for each in error.problems]) from None


def _piece(text: str, where: Where, deck: Deck) -> Piece:
    """Return an element from its line."""
    name, *words = re.split(r"[\s,()]+", text.strip())
    letter = name[0].lower()
    if letter == "x":
        plain, params = ports_and_params(Card(text, where))
        if len(plain) < 2:
            raise wrong(f"{name.upper()} needs its nodes and the name of a subcircuit.", where)
        if plain[-1] not in deck.subckts and plain[-1] not in device_names() and not plain[-1].startswith("inner_"):
            message = f"{name.upper()} uses the subcircuit “{plain[-1]}”, which is missing."
            raise wrong(message, where, _where_from(plain[-1], deck))
        given = " ".join(f"{key}={value}" for key, value in params.items())
        tail = f"{plain[-1]} params: {given}" if given else plain[-1]
        return Piece(name.upper(), plain[:-1], tail, where)
    count = _NODES.get(letter, 2)
    if letter == "m" and len(words) > 3 and words[3].lower() in deck.models:
        count = 3
    elif letter == "q" and len(words) > 4 and words[3].lower() not in deck.models and words[4].lower() in deck.models:
        count = 4  # with its substrate
    if letter in "eg" and not _BY_FORMULA.match(text):
        count = 4  # with the nodes that control it
    found = re.match(r"\s*(\S+)" + r"[\s,()]+([^\s,()]+)" * count + r"\)?(.*)$", text)
    if found is None:
        raise wrong(f"{name.upper()} needs {count} nodes.", where)
    groups = found.groups()
    return Piece(name.upper(), [node.lower() for node in groups[1:-1]], groups[-1].strip(), where)


def _where_from(name: str, deck: Deck) -> str:
    near = nearest(name, deck.subckts)
    return near if near.startswith("Did") else "Put the file that defines it beside the netlist, and .include it."


def _node(node: str, scope: Scope, deck: Deck) -> str:
    """Return what a node inside a sheet is called on the whole board."""
    node = node.lower()
    if node in (GROUND, "gnd"):
        return GROUND
    if not scope.path or node in deck.globals:
        return node
    if node in scope.nodes:
        return scope.nodes[node]
    return f"{'_'.join(sheet[1:].strip('_').lower() for sheet in scope.path)}_{node}"


def _placed(piece: Piece, scope: Scope, deck: Deck) -> Piece:
    """Put the board's nodes and the sheet's parameters into an element."""
    piece.nodes = [_node(node, scope, deck) for node in piece.nodes]
    tail = piece.tail
    if scope.path:
        words = tail.split()
        if words and words[0].lower() in scope.params:
            tail = " ".join([f"{{{words[0]}}}", *words[1:]])
        if piece.letter == "x":
            tail = re.sub(r"=([A-Za-z_]\w*)(?=\s|$)", r"={\1}", tail)
        tail = _BRACES.sub(lambda found: _filled(found[0], scope.params), tail)
    piece.tail = on_board(tail, lambda node: _node(node, scope, deck))
    return piece


def on_board(tail: str, node_of: Callable[[str], str]) -> str:
    """Return an expression with the nodes in its ``v(…)`` renamed."""

    def inner(found: re.Match[str]) -> str:
        return "v(" + ",".join(node_of(node.strip()) for node in found[1].split(",")) + ")"

    return re.sub(r"\bv\(([^()]*)\)", inner, tail, flags=re.IGNORECASE)


def _filled(text: str, params: Mapping[str, str]) -> str:
    """Return an expression with the parameters of a sheet put in, each in brackets."""
    return _WORD.sub(
        lambda found: _bracketed(params[found[0].lower()]) if found[0].lower() in params else found[0], text
    )


def _bracketed(text: str) -> str:
    inner = text.strip("{}'")
    return inner if re.fullmatch(r"[\w.]+", inner) else f"({inner})"
