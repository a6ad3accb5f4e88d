"""What is known of a netlist while it becomes a unit: its lines, its parts, and what was guessed of them."""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path

from lostgain.problems import Problem, UserError, Where

#: How sure a guess is.
SURE, LIKELY, DOUBTFUL = "sure", "likely", "doubtful"

GROUND = "0"

#: What the cleaned netlist is called.
NETLIST = "circuit.cir"


@dataclass(frozen=True)
class Card:
    """One line of a netlist, its comments gone and its continuations joined.

    Parameters
    ----------
    text : str
    where : Where
        File and line it stands in.
    """

    text: str
    where: Where

    @property
    def word(self) -> str:
        """The first word, in lower case."""
        return self.text.split(maxsplit=1)[0].lower()


@dataclass(frozen=True)
class Guess:
    """Something that the netlist does not say, or that was changed in it.

    Parameters
    ----------
    about : str
        A part, a node, or a key of the unit file: ``C3``, ``output``.
    text : str
        What was taken, and why: a sentence.
    sure : str
        ``sure``, ``likely`` or ``doubtful``.
    where : Where
        The line of the netlist; no line where none tells.
    key : str
        Where it stands in the unit file: ``part C3``, ``rail VCC``, ``unit output``; empty for its head.
    group : str
        What it is one of many of, so that they can be told in one line: ``film, by value``.
    """

    about: str
    text: str
    sure: str
    where: Where = Where()
    key: str = ""
    group: str = ""


@dataclass
class Notes:
    """Guesses so far.

    Parameters
    ----------
    guesses : list of Guess
    ratings : dict
        Element, upper case, to the rating its line gives: ``50V``.
    """

    guesses: list[Guess] = field(default_factory=list)
    ratings: dict[str, str] = field(default_factory=dict)

    def say(self, about: str, text: str, sure: str, where: Where = Where(), key: str = "", group: str = "") -> None:
        """Note a guess, once."""
        guess = Guess(about, text, sure, where, key, group)
        if guess not in self.guesses:
            self.guesses.append(guess)


@dataclass
class Piece:
    """One element of the flattened netlist.

    Parameters
    ----------
    name : str
        Upper case, the letter of its sort first.
    nodes : list of str
        Lower case; ground is ``0``. Of a linear E or G the controlling nodes too.
    tail : str
        What follows the nodes: value, model, expression.
    where : Where
    board : str
        Designator on the board.
    kind : str
        Kind of part (`unit/kinds.toml`); empty where it is none.
    pins : tuple of str
        Names of its pins, where the kind's own do not do.
    value : float or None
        [ohm, F, H, V], as ngspice evaluates it.
    text : str
        What else the unit file says of the part: rating, taper.
    """

    name: str
    nodes: list[str]
    tail: str
    where: Where
    board: str = ""
    kind: str = ""
    pins: tuple[str, ...] = ()
    value: float | None = None
    text: str = ""

    @property
    def letter(self) -> str:
        """Which sort of element it is, lower case."""
        return self.name[0].lower()

    @property
    def line(self) -> str:
        """The element as a netlist line."""
        return " ".join([self.name, *self.nodes, self.tail]).strip()

    def pin(self, name: str) -> str:
        """Return the node at a pin; empty where it has no pin of that name."""
        return self.nodes[self.pins.index(name)] if name in self.pins else ""


@dataclass
class Segment:
    """A stage as proposed.

    Parameters
    ----------
    name : str
    output : str
        Node.
    parts : list of Piece
        In the order of the netlist.
    sure : str
    why : str
        What the boundary at its output was found by.
    """

    name: str
    output: str
    parts: list[Piece] = field(default_factory=list)
    sure: str = LIKELY
    why: str = ""


@dataclass(frozen=True)
class Spot:
    """A test point as proposed: its name on the board, the node, and the stage it lies in."""

    name: str
    node: str
    stage: str


@dataclass(frozen=True)
class Imported:
    """A netlist as a first unit.

    Parameters
    ----------
    title : str
    source : Path
        The netlist it was made from.
    unit_toml, netlist : str
        The text of the two files.
    netlist_name : str
        What the second is called.
    parts : tuple of Piece
    stages : tuple of Segment
    points : tuple of Spot
    rails : dict
        Name to voltage [V].
    setup : dict
        Keys of ``[setup]`` as written.
    input, output : str
        Nodes.
    guesses : tuple of Guess
    left_out : tuple of str
        Elements that are simulated and never suspected.
    nodes : int
        How many nodes were compared with the netlist as it came.
    worst : float
        Largest difference there, as a fraction.
    """

    title: str
    source: Path
    unit_toml: str
    netlist: str
    netlist_name: str
    parts: tuple[Piece, ...]
    stages: tuple[Segment, ...]
    points: tuple[Spot, ...]
    rails: dict[str, float]
    setup: dict[str, str]
    input: str
    output: str
    guesses: tuple[Guess, ...]
    left_out: tuple[str, ...]
    nodes: int = 0
    worst: float = 0.0


def wrong(message: str, where: Where, meant: str = "") -> UserError:
    """Return the mistake to raise for something that cannot be taken."""
    return UserError(Problem(message, where, meant))
