"""A netlist sorted: its elements, its subcircuits, models and parameters, and what it asks of another program."""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass, field
from pathlib import Path

from lostgain.engine.directives import LEFT_OUT
from lostgain.netlists.habits import section_note
from lostgain.netlists.model import Card, Notes, wrong
from lostgain.problems import Problem, UserError, Where

#: Lines of other programs that ask for analyses, displays or files, besides those that ngspice has too.
_OTHERS = {
    ".step", ".wave", ".net", ".watch", ".mc", ".wcase", ".savebias", ".loadbias", ".stimulus", ".distribution",
    ".text", ".vector", ".probe64", ".autoconverge", ".backanno", ".simulator", ".external", ".plotwinsize", ".graph",
    ".view", ".lin", ".hb", ".alter", ".data", ".enddata",
}  # fmt: skip
#: Blocks that list names for another program's display.
_BLOCKS = {".alias": ".endalias", ".aliases": ".endaliases"}
_ANALYSES = {".op", ".ac", ".dc", ".tran", ".noise", ".disto", ".tf", ".sens", ".pz", ".four", ".fourier", ".step"}
_SHOWN = {".save", ".probe", ".plot", ".print", ".meas", ".measure", ".watch", ".view"}
_ASSIGNED = re.compile(r"([A-Za-z_]\w*)\s*=\s*(\{[^{}]*\}|'[^']*'|\"[^\"]*\"|[^\s,{}'\"]+)")
_VOLTAGE = re.compile(r"\bv(?:db|m|p|r|i)?\(\s*([^\s(),]+)", re.IGNORECASE)


@dataclass
class Subckt:
    """A subcircuit as defined.

    Parameters
    ----------
    name : str
        Lower case.
    ports : tuple of str
        Lower case.
    params : dict
        Parameter, lower case, to its default.
    cards : list of Card
        What stands between its first and its last line, definitions inside it included.
    where : Where
    included : bool
        Whether it comes from a file that was included: a model, then, and no sheet of the schematic.
    """

    name: str
    ports: tuple[str, ...]
    params: dict[str, str]
    cards: list[Card]
    where: Where
    included: bool = False


@dataclass
class Deck:
    """A netlist sorted.

    Parameters
    ----------
    title : str
    elements : list of Card
    subckts : dict
        Name, lower case, to Subckt.
    models : dict
        Name, lower case, to its card.
    settings : list of Card
        Parameters, functions, options, initial conditions.
    shown : list of str
        Nodes that the netlist's author wanted to see, lower case.
    globals : set of str
        Nodes that subcircuits share by name.
    """

    title: str = ""
    elements: list[Card] = field(default_factory=list)
    subckts: dict[str, Subckt] = field(default_factory=dict)
    models: dict[str, Card] = field(default_factory=dict)
    settings: list[Card] = field(default_factory=list)
    shown: list[str] = field(default_factory=list)
    globals: set[str] = field(default_factory=set)


def sort_cards(cards: list[Card], title: str, main: Path, notes: Notes) -> Deck:
    """Sort a netlist's lines.

    Parameters
    ----------
    cards : list of Card
    title : str
    main : Path
        The netlist itself; other files are included ones.
    notes : Notes
        What was left out is said there.

    Raises
    ------
    UserError
        For a control block, and for a subcircuit without beginning or end.
    """
    deck = Deck(title)
    left: dict[str, list[Where]] = {}
    block = ""
    position = 0
    while position < len(cards):
        card = cards[position]
        position += 1
        if block:
            block = "" if card.word == block else block
        elif card.word in _BLOCKS:
            block = _BLOCKS[card.word]
            left.setdefault(card.word, []).append(card.where)
        elif card.word in (".if", ".elseif", ".else", ".endif"):
            message = f"Lines under a condition ({card.word}) are not read."
            raise wrong(message, card.where, "Keep those that apply, and delete .if, .else and .endif.")
        elif card.word == ".control":
            message = "A control block holds commands, which a unit may not run. Delete it from .control to .endc."
            raise UserError(Problem(message, card.where))
        elif card.word == ".subckt":
            position = _subckt(cards, position - 1, main, deck)
        elif (word := card.word.partition("/")[0]) in LEFT_OUT | _OTHERS:
            left.setdefault(word, []).append(card.where)
            if word in _SHOWN:
                deck.shown += [node.lower() for node in _VOLTAGE.findall(card.text)]
        else:
            _sorted(card, deck)
    for word, places in left.items():
        section_note(notes, word, places, _why(word))
    _once(deck)
    return deck


def _once(deck: Deck) -> None:
    """Refuse two elements of one name, of which ngspice says no more than that it does not take them."""
    twice = []
    for cards in (deck.elements, *(subckt.cards for subckt in deck.subckts.values())):
        seen: dict[str, Where] = {}
        depth = 0
        for card in cards:
            depth += (card.word == ".subckt") - (card.word == ".ends")
            if depth or not card.word[0].isalpha():
                continue
            if card.word in seen:
                text = f"{card.word.upper()} is there twice; the first is in line {seen[card.word].line}."
                twice.append(Problem(text, card.where))
            seen.setdefault(card.word, card.where)
    if twice:
        raise UserError(twice)


def _sorted(card: Card, deck: Deck) -> None:
    if card.word == ".model":
        deck.models.setdefault(model_name(card), card)
    elif card.word == ".global":
        deck.globals.update(card.text.lower().split()[1:])
    elif card.word.startswith("."):
        deck.settings.append(card)
    else:
        deck.elements.append(card)


def _why(word: str) -> str:
    if word == ".step":
        return "a stepped parameter keeps the value that .param gives it"
    if word in _ANALYSES:
        return "lostgain runs analyses of its own"
    return "what another program shows or writes has no use here"


def model_name(card: Card) -> str:
    """Return the name that a ``.model`` line defines, lower case."""
    words = card.text.split()
    if len(words) < 3:
        raise wrong("A .model line needs a name and a type.", card.where)
    return words[1].lower()


def _subckt(cards: list[Card], start: int, main: Path, deck: Deck) -> int:
    """Add the subcircuit that begins at a line, and return where the line behind its end is."""
    card = cards[start]
    depth = 0
    for position in range(start, len(cards)):
        depth += cards[position].word == ".subckt"
        depth -= cards[position].word == ".ends"
        if depth == 0:
            break
    else:
        raise wrong("This .subckt has no .ends.", card.where)
    ports, params = ports_and_params(card)
    if not ports:
        raise wrong("A .subckt line needs a name and nodes.", card.where)
    body = cards[start + 1 : position]
    included = card.where.file != main
    name = ports[0]
    deck.subckts.setdefault(name, Subckt(name, tuple(ports[1:]), params, body, card.where, included))
    return position + 1


def ports_and_params(card: Card) -> tuple[list[str], dict[str, str]]:
    """Return the words of a ``.subckt`` or an X line behind its first one, lower case, and its parameters."""
    text = card.text.partition(" ")[2]
    text = re.split(r"\btext\s*:", text, flags=re.IGNORECASE)[0]
    head, mark, tail = _parted(text)
    params = {name.lower(): value for name, value in _ASSIGNED.findall(tail if mark else text)}
    plain = head if mark else _ASSIGNED.sub(" ", text)
    words, _, optional = re.sub(r"[(),]", " ", plain.lower()).partition("optional:")
    params |= dict(_ASSIGNED.findall(optional))
    return _ASSIGNED.sub(" ", words).split(), params


def _parted(text: str) -> tuple[str, bool, str]:
    found = re.search(r"\bparams\s*:", text, re.IGNORECASE)
    return (text[: found.start()], True, text[found.end() :]) if found else (text, False, "")


def declare_params(deck: Deck) -> None:
    """Add to each subcircuit the parameters that its users give and it does not declare, which ngspice insists on."""
    bodies = [deck.elements, *(subckt.cards for subckt in deck.subckts.values())]
    for card in (card for body in bodies for card in body if card.word[0] == "x"):
        words, params = ports_and_params(card)
        subckt = deck.subckts.get(words[-1]) if words else None
        if subckt is not None:
            for name, value in params.items():
                plain = re.sub(r"[{}']", "", value)
                subckt.params.setdefault(
                    name, value if re.fullmatch(r"[-+.\w]+", plain) and plain[0].isdigit() else "1"
                )


def used(deck: Deck, cards: Iterable[Card]) -> tuple[set[str], set[str]]:
    """Return the names of the subcircuits and of the models that lines need, directly or by others of their kind."""
    subckts: set[str] = set()
    models: set[str] = set()
    waiting = list(cards)
    while waiting:
        card = waiting.pop()
        if card.word.startswith(".") and card.word != ".model":
            continue
        for word in re.split(r"[\s(),=]+|ako:", card.text.lower())[1:]:
            if card.word[0] == "x" and word in deck.subckts and word not in subckts:
                subckts.add(word)
                waiting += deck.subckts[word].cards
            elif word in deck.models and word not in models and card.word[0] != "x":
                models.add(word)
                waiting.append(deck.models[word])
    return subckts, models
