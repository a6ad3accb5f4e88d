"""Where the signal goes in and comes out: generator with its resistance, load, input and output node."""

from __future__ import annotations

import re
from collections.abc import Collection
from dataclasses import dataclass, field

from lostgain.circuit.flat import spice_number
from lostgain.netlists.model import DOUBTFUL, GROUND, LIKELY, SURE, Notes, Piece, wrong
from lostgain.netlists.sources import Source
from lostgain.problems import Where
from lostgain.quantities import show

_SERIES = re.compile(r"R_?(S|SRC|SOURCE|GEN|SIG|INT)\d?")
_LOAD = re.compile(r"R_?(L|LOAD|LAST|DUMMY|SPK|SPEAKER)\d?|(LS|SPK)\d?")
_OUT = re.compile(r"(v?out(put)?|lout|spk\w*|speaker|line_?out|main_?out)(_?[pl1])?")
_LINE_LEVEL = 0.1


@dataclass
class Ends:
    """The ends of the signal path.

    Parameters
    ----------
    input, output : str
        Nodes.
    setup : dict
        Keys of ``[setup]`` to what is written there.
    gone : list of Piece
        Elements whose place the bench takes.
    level : float
        Of the generator [V rms].
    frequency : float
        The middle one [Hz].
    ohms : float
        Of the generator.
    load : float or None
        [ohm]
    dc : float
        At the generator [V].
    """

    input: str = ""
    output: str = ""
    setup: dict[str, str] = field(default_factory=dict)
    gone: list[Piece] = field(default_factory=list)
    level: float = _LINE_LEVEL
    frequency: float = 1000.0
    ohms: float = 1e-3
    load: float | None = None
    dc: float = 0.0


def find_input(source: Source | None, node: str, pieces: list[Piece], rails: dict[str, float], notes: Notes) -> Ends:
    """Return the ends with all that the generator's side says.

    Parameters
    ----------
    source : Source or None
        The signal's source.
    node : str
        The input, where the user named it; else empty.
    pieces : list of Piece
    rails : dict
        Node to voltage [V].
    notes : Notes
    """
    ends = Ends()
    if source is None:
        ends.input = node
        notes.say("generator", f"its level is not in the netlist; {show(ends.level, 'V')} rms was taken.", DOUBTFUL,
                  key="setup generator")  # fmt: skip
        _settle(ends)
        return ends
    plus, minus = source.piece.nodes[:2]
    ends.gone.append(source.piece)
    ends.dc = source.dc
    if minus == GROUND:
        ends.input = plus
    elif plus == GROUND:
        ends.input, ends.dc = minus, -source.dc
        notes.say("generator", f"{source.piece.name} drives {minus} with its minus end: the phase is turned over here.",
                  LIKELY, source.piece.where, "setup generator")  # fmt: skip
    elif minus in rails:
        ends.input, ends.dc = plus, source.dc + rails[minus]
    else:
        message = f"{source.piece.name} drives {plus} against {minus}, and neither is ground."
        raise wrong(message, source.piece.where, "The bench's generator has one end at ground; draw it that way.")
    _level(ends, source, notes)
    _series(ends, pieces, notes)
    _settle(ends)
    return ends


def _level(ends: Ends, source: Source, notes: Notes) -> None:
    where, name = source.piece.where, source.piece.name
    if source.peak > 0:
        ends.level = source.peak / 2**0.5
        notes.say("generator", f"{name} has a sine of {show(source.peak, 'V')} peak.", SURE, where, "setup generator")
        if 20 <= source.frequency <= 20e3:
            ends.frequency = source.frequency
    elif 0 < source.ac < 0.999:
        ends.level = source.ac
        notes.say("generator", f"{name} has AC {source.ac:g}, taken as volts rms.", LIKELY, where, "setup generator")
    else:
        usual = f" (AC {source.ac:g} is usual for a response)" if source.ac else ""
        text = f"{name} does not say its level{usual}; 100 mV rms was taken."
        notes.say("generator", text, DOUBTFUL, where, "setup generator")


def _series(ends: Ends, pieces: list[Piece], notes: Notes) -> None:
    """Take a resistor in front of the input for the generator's own, where name and place say so."""
    there = [piece for piece in pieces if ends.input in piece.nodes and piece not in ends.gone]
    if len(there) != 1:
        return
    only = there[0]
    others = [node for node in only.nodes if node != ends.input]
    if only.letter == "x" and only.tail.startswith("inner_r") and len(others) == 1:
        found = re.search(r"q=(\S+)", only.tail)
        value = _plain_number(found[1]) if found else None
        text = f"{show(value or 0.0, 'ohm')}, as the source's own line says."
        sure = SURE
    elif only.letter == "r" and _SERIES.fullmatch(only.name) and only.value and only.value <= 10e3:
        value, sure = only.value, LIKELY
        text = f"{only.name} was taken as the generator's own resistance, by its name; it is no part here."
    else:
        return
    if value and others and others[0] != GROUND:
        ends.input, ends.ohms = others[0], value
        ends.gone.append(only)
        notes.say("source", text, sure, only.where, "setup source")


def _plain_number(text: str) -> float | None:
    try:
        return spice_number(text.strip("{}"))
    except ValueError:
        return None


def _settle(ends: Ends) -> None:
    ends.setup["generator"] = f"{show(ends.level, 'V', 6)} rms"
    ends.setup["source"] = show(ends.ohms, "ohm", 6)
    if ends.dc:
        ends.setup["start_dc"] = f"{ends.dc:.6g} V"


def find_output(
    ends: Ends,
    asked: str,
    shown: list[str],
    reached: dict[str, int],
    labels: Collection[str],
    driven: list[str],
    pieces: list[Piece],
    notes: Notes,
) -> None:
    """Find the node the load hangs on, and the load, in place.

    Parameters
    ----------
    ends : Ends
    asked : str
        The node the user named; empty for none.
    shown : list of str
        Nodes that the netlist's author wanted to see.
    reached : dict
        Node to how many parts lie between the input and it; only nodes that the signal reaches.
    labels : collection of str
        Nodes that the schematic gives a name.
    driven : list of str
        Nodes at the outputs of active parts that drive no other active part.
    pieces : list of Piece
    notes : Notes

    Raises
    ------
    UserError
        Where none can be told.
    """
    loads = [piece for piece in pieces if piece.letter == "r" and _LOAD.fullmatch(piece.name) and GROUND in piece.nodes]
    by_load = [node for piece in loads for node in piece.nodes if node in reached]
    named = sorted((node for node in reached if _OUT.fullmatch(node.rpartition("_")[2]) and node != ends.input),
                   key=lambda node: -reached[node])  # fmt: skip
    exact = [node for node in named if node in ("out", "output", "vout", "lout", "spk")]
    seen = [node for node in dict.fromkeys(shown) if node in reached and node != ends.input]
    if asked:
        ends.output = asked
        notes.say("output", "as asked for.", SURE, key="unit output")
    elif len(set(by_load)) == 1:
        _taken(ends, by_load[0], f"{loads[0].name} is a load by its name.", SURE, loads[0].where, notes)
    elif len(exact) == 1:
        _taken(ends, exact[0], "by the node's name.", SURE, Where(), notes)
    elif len(seen) == 1:
        _taken(ends, seen[0], "the netlist asks to see this node.", LIKELY, Where(), notes)
    elif len(named) == 1:
        _taken(ends, named[0], "by the node's name.", LIKELY, Where(), notes)
    elif len(driven) == 1:
        _taken(
            ends,
            driven[0],
            "the only node that an active part drives and that drives no other.",
            DOUBTFUL,
            Where(),
            notes,
        )
    else:
        by_distance = sorted((node for node in reached if node != ends.input), key=lambda node: -reached[node])
        known = named or seen or driven or [node for node in by_distance if node in labels] or by_distance
        list_of = ", ".join(known[:8])
        raise wrong(f"Which node is the output? It could be {list_of}." if known else "No node could be the output.",
                    pieces[0].where, f"Say --output {known[0]}." if known else "Say --output NODE.")  # fmt: skip
    load = [piece for piece in loads if ends.output in piece.nodes]
    if len(load) == 1 and load[0].value:
        ends.load = load[0].value
        ends.gone.append(load[0])
        ends.setup["load"] = show(ends.load, "ohm", 6)
        text = f"{load[0].name} was taken as the load, by its name; it is no part here."
        notes.say("load", text, LIKELY, load[0].where, "setup load")


def _taken(ends: Ends, node: str, why: str, sure: str, where: Where, notes: Notes) -> None:
    ends.output = node
    notes.say("output", f"the node {node}: {why}", sure, where, "unit output")
