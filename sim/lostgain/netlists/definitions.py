"""What a cleaned netlist defines: the models, subcircuits and settings that its elements need, and no others."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from functools import partial

from lostgain.netlists.deck import Deck, used
from lostgain.netlists.dialect import INNER, plain_element, plain_setting
from lostgain.netlists.expressions import FUNCTIONS, functions_of
from lostgain.netlists.model import Card, Notes, Piece
from lostgain.netlists.modelcards import plain_model
from lostgain.netlists.sheets import checked
from lostgain.problems import Problem, UserError, nearest
from lostgain.unit.library import device, device_names


def definitions(deck: Deck, pieces: Iterable[Piece], notes: Notes) -> list[str]:
    """Return the lines that define what the elements use, in ngspice's words.

    Raises
    ------
    UserError
        For a model that is missing, and for everything in those definitions that may not be run.
    """
    pieces = list(pieces)
    subckts, models = used(deck, [Card(piece.line, piece.where) for piece in pieces])
    lines: list[str] = []
    problems: list[Problem] = []

    def setting(card: Card) -> None:
        add(card, plain_setting(card, notes))

    def model(card: Card) -> None:
        add(card, [plain_model(card, deck.models, notes)])

    def add(card: Card, plain: Iterable[str]) -> None:
        for line in plain:
            checked(line, card.where)
            lines.append(line)

    for card in deck.settings:
        _try(problems, partial(setting, card))
    for name in sorted(models):
        _try(problems, partial(model, deck.models[name]))
    for name in sorted(subckts):
        _try(problems, partial(_subckt, name, deck, notes, lines))
    problems += _missing(deck, pieces, models)
    if problems:
        raise UserError(problems)
    for name, text in INNER.items():
        if any(piece.letter == "x" and piece.tail.split()[0] == name for piece in pieces):
            lines += text
    known = {card.text.split()[1].partition("(")[0].lower() for card in deck.settings if card.word == ".func"}
    called = functions_of("\n".join([*lines, *(piece.tail for piece in pieces)])) - known
    return [FUNCTIONS[name] for name in sorted(called)] + lines


def _try(problems: list[Problem], do: Callable[[], None]) -> None:
    try:
        do()
    except UserError as error:
        problems += error.problems


def _subckt(name: str, deck: Deck, notes: Notes, lines: list[str]) -> None:
    """Add one subcircuit, with what is defined inside it."""
    subckt = deck.subckts[name]
    params = " ".join(f"{key}={value}" for key, value in subckt.params.items())
    lines.append(f".subckt {name} {' '.join(subckt.ports)}" + (f" params: {params}" if params else ""))
    models = deck.models | {card.text.split()[1].lower(): card for card in subckt.cards if card.word == ".model"}
    problems: list[Problem] = []
    for card in subckt.cards:
        try:
            for line in _inside(card, models, notes):
                checked(line, card.where)
                lines.append(line)
        except UserError as error:
            problems += error.problems
    if problems:
        raise UserError(problems)
    lines.append(".ends")


def _inside(card: Card, models: dict[str, Card], notes: Notes) -> list[str]:
    if card.word == ".model":
        return [plain_model(card, models, notes)]
    if card.word in (".subckt", ".ends"):
        return [card.text]
    if card.word.startswith("."):
        return plain_setting(card, notes)
    return plain_element(card, Notes())


def _missing(deck: Deck, pieces: list[Piece], models: set[str]) -> list[Problem]:
    """Return a mistake for every device whose model is nowhere."""
    found = []
    for piece in pieces:
        if piece.letter not in "dqjmzsw":
            continue
        words = piece.tail.lower().split()
        if not any(word in models or word in device_names() for word in words[:3]):
            word = next((each for each in words if each.isascii() and not each[0].isdigit()), "")
            message = f"{piece.name} uses the model “{word}”, which is missing."
            if not words or (piece.letter == "j" and word.startswith("conn")):
                message = (
                    f"{piece.name} has no model; a line that starts with {piece.name[0]} stands for a semiconductor."
                )
            near = nearest(word, deck.models)
            meant = (
                near if near.startswith("Did") else "Put the file that defines it beside the netlist, and .include it."
            )
            found.append(Problem(message, piece.where, meant))
    return found


def library_lines(pieces: Iterable[Piece], deck: Deck) -> list[str]:
    """Return the texts of lostgain's own device classes that elements use and the netlist does not define."""
    words = {word for piece in pieces for word in piece.tail.lower().split()[:3]}
    names = sorted((words & set(device_names())) - deck.models.keys() - deck.subckts.keys())
    return [line for name in names for line in device(name).netlist.splitlines() if not line.startswith("*")]
