"""Voltage sources of a netlist: which are its supply, and which is the signal."""

from __future__ import annotations

import math
import re
from collections.abc import Iterable
from dataclasses import dataclass, field

from lostgain.circuit.flat import FlatCircuit, spice_number
from lostgain.netlists.model import DOUBTFUL, GROUND, LIKELY, SURE, Notes, Piece, wrong
from lostgain.problems import Where
from lostgain.quantities import show
from lostgain.unit.names import is_designator
from lostgain.unit.rails import RESERVED

_WAVE = re.compile(r"\b(sine?|pulse|exp|pwl|sffm|am)\s*\(?([^()]*)\)?", re.IGNORECASE)
_AC = re.compile(r"\bac\s+([-+.\w]+)", re.IGNORECASE)
_SUPPLY_NAME = re.compile(r"(v?(cc|dd|ee|ss|pp|nn|s|b|bat\w*|ht|plus|minus|pos|neg|supply|p|n)\d*|b_?p|[pn]?\d+v\d*|"
                          r"v[pn]?\d+|ht\d*|rail\w*)(_?[pn])?$", re.IGNORECASE)  # fmt: skip
_SLOW = {"pulse", "pwl", "exp"}


@dataclass(frozen=True)
class Source:
    """A voltage source.

    Parameters
    ----------
    piece : Piece
    dc : float
        [V]
    ac : float
        Magnitude for the small signal.
    wave : str
        ``sin``, ``pulse`` … ; empty for none.
    args : tuple of float
        Of the wave.
    """

    piece: Piece
    dc: float
    ac: float
    wave: str
    args: tuple[float, ...]

    @property
    def is_signal(self) -> bool:
        """Whether it could be the generator."""
        if self.wave == "sin":
            return self.peak > 0 or self.ac != 0
        return self.ac != 0 or (bool(self.wave) and not self.is_ramp)

    @property
    def peak(self) -> float:
        """Amplitude of a sine [V]."""
        return abs(self.args[1]) if self.wave == "sin" and len(self.args) > 1 else 0.0

    @property
    def frequency(self) -> float:
        """Frequency of a sine [Hz]; 0 where there is none."""
        return self.args[2] if self.wave == "sin" and len(self.args) > 2 else 0.0

    @property
    def is_ramp(self) -> bool:
        """Whether it looks like a supply that is switched on."""
        ends = [node for node in self.piece.nodes if node != GROUND]
        return self.wave in _SLOW and self.ac == 0 and any(_SUPPLY_NAME.fullmatch(node) for node in ends)

    @property
    def steady(self) -> float:
        """The voltage it ends at [V]."""
        if self.is_ramp and self.args:
            return self.args[1] if self.wave in ("pulse", "exp") and len(self.args) > 1 else self.args[-1]
        return self.dc


@dataclass
class Supply:
    """The supply as found.

    Parameters
    ----------
    rails : dict
        Node to voltage [V], ground not among them.
    sources : list of Source
        What feeds them; their place is taken by the unit file.
    """

    rails: dict[str, float] = field(default_factory=dict)
    sources: list[Source] = field(default_factory=list)


def voltage_sources(pieces: Iterable[Piece], flat: FlatCircuit, letter: str = "v") -> list[Source]:
    """Return the voltage sources, or with `letter` i the current sources, with the values that ngspice evaluated."""
    found = []
    for piece in pieces:
        if piece.letter != letter:
            continue
        rest = flat.elements[piece.name.lower()].rest
        wave = _WAVE.search(rest)
        words = rest.split()
        name = wave[1].lower().replace("sine", "sin") if wave else ""
        args = tuple(_number(word) for word in re.split(r"[\s,]+", wave[2].strip()) if word) if wave else ()
        ac = _AC.search(rest)
        dc = _number(words[0]) if words and re.match(r"[-+.\d]", words[0]) else math.nan
        if math.isnan(dc):
            dc = args[0] if args else 0.0
        magnitude = (
            _number(ac[1]) if ac and re.match(r"[-+.\d]", ac[1]) else (1.0 if re.search(r"\bac\b", rest) else 0.0)
        )
        found.append(Source(piece, dc, magnitude, name, args))
    return found


def _number(text: str) -> float:
    try:
        return spice_number(text)
    except ValueError:
        return 0.0


def find_supply(sources: Iterable[Source], generator: Source | None, notes: Notes) -> Supply:
    """Return the nodes that sources hold at a fixed voltage against ground.

    Parameters
    ----------
    sources : iterable of Source
    generator : Source or None
        The signal's, which is no supply.
    notes : Notes
    """
    supply = Supply()
    fixed = {GROUND: 0.0}
    waiting = [each for each in sources if each is not generator and (not each.is_signal or _is_both(each))]
    going = True
    while going:
        going = False
        for source in list(waiting):
            plus, minus = source.piece.nodes[:2]
            if minus in fixed and plus not in fixed:
                fixed[plus] = fixed[minus] + source.steady
            elif plus in fixed and minus not in fixed:
                fixed[minus] = fixed[plus] - source.steady
            else:
                continue
            waiting.remove(source)
            if GROUND in (plus, minus) and source.steady == 0:
                continue  # a wire to ground that measures a current: it stays in the netlist
            supply.sources.append(source)
            going = True
            if source.is_ramp:
                text = f"{source.piece.name} switches on; {show(source.steady, 'V')} was taken, where it ends."
                notes.say(source.piece.name, text, LIKELY, source.piece.where)
    supply.rails = {node: volts for node, volts in fixed.items() if abs(volts) > 1e-9}
    supply.sources = [each for each in supply.sources if set(each.piece.nodes) & supply.rails.keys()]
    return supply


def _is_both(source: Source) -> bool:
    """Whether a source has a small signal on top of a supply, as for measuring how much of it comes through."""
    return abs(source.dc) >= 3 and not source.wave


def find_generator(sources: list[Source], asked: str, notes: Notes) -> Source | None:
    """Return the signal's source.

    Parameters
    ----------
    sources : list of Source
    asked : str
        The node the user named; empty for none.
    notes : Notes

    Returns
    -------
    Source or None
        None only where the user named a node that no source drives.

    Raises
    ------
    UserError
        Where none or several could be it.
    """
    signals = [each for each in sources if each.is_signal]
    if asked:
        at_node = [each for each in sources if asked in each.piece.nodes and GROUND in each.piece.nodes]
        return next((each for each in at_node if each.is_signal), at_node[0] if at_node else None)
    likely = [each for each in signals if not _is_both(each)] or signals
    if len(likely) == 1:
        notes.say("generator", f"{likely[0].piece.name} is the signal's source: the bench's generator takes its place.",
                  SURE, likely[0].piece.where, "setup generator")  # fmt: skip
        return likely[0]
    named = [each for each in likely if re.fullmatch(r"(in|inp|input|vin|sig\w*|gen\w*|src)\d?", each.piece.nodes[0])]
    if len(named) == 1:
        others = ", ".join(each.piece.name for each in likely if each is not named[0])
        text = f"{named[0].piece.name} was taken as the signal's source, by its node's name; {others} made silent."
        notes.say("generator", text, LIKELY, named[0].piece.where, "setup generator")
        return named[0]
    if not likely:
        where = sources[0].piece.where if sources else Where()
        raise wrong("No voltage source of the netlist has a signal (AC or SIN).", where,
                    "Say which node is the input: --input NODE.")  # fmt: skip
    names = ", ".join(f"{each.piece.name} at {each.piece.nodes[0]}" for each in likely)
    message = f"There are {len(likely)} sources with a signal: {names}."
    raise wrong(message, likely[0].piece.where, f"Say which node is the input: --input {likely[0].piece.nodes[0]}.")


def rail_names(supply: Supply, pieces: list[Piece], notes: Notes) -> dict[str, str]:
    """Return a name for each rail, by node: letters and digits, as ``[rails]`` takes them."""
    names: dict[str, str] = {}
    taken = {node.upper() for piece in pieces for node in piece.nodes}
    for node, volts in supply.rails.items():
        source = next(each for each in supply.sources if node in each.piece.nodes)
        name = node.upper()
        if not is_designator(name) or name in RESERVED or re.fullmatch(r"N?_?\d+", name):
            name = ("VP" if volts > 0 else "VN") if name.isdigit() or name in RESERVED else f"V{name}"[:16]
            number = 2
            start = name
            while name in taken or name in names.values():
                name = f"{start}{number}"
                number += 1
        if name.lower() != node:
            notes.say(name, f"the node {node} is called {name} here.", SURE, source.piece.where, f"rail {name}")
        names[node] = name
    return names


def silence(sources: Iterable[Source], generator: Source | None, supply: Supply, notes: Notes) -> list[Source]:
    """Take the signal off every source that is neither the generator nor a supply, in place, and return those."""
    silent = []
    for source in sources:
        if source is generator or source in supply.sources or not source.is_signal:
            continue
        source.piece.tail = f"{source.dc:.12g}"
        silent.append(source)
        notes.say(source.piece.name, f"{source.piece.name} has a signal too; only its DC was kept.", DOUBTFUL,
                  source.piece.where)  # fmt: skip
    return silent
