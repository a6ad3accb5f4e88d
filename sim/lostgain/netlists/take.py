"""From a netlist to a first unit."""

from __future__ import annotations

import tempfile
from dataclasses import replace
from pathlib import Path

from lostgain.circuit.build import build
from lostgain.engine import Pool
from lostgain.netlists.cards import Reader
from lostgain.netlists.deck import Deck, declare_params, sort_cards
from lostgain.netlists.definitions import definitions, library_lines
from lostgain.netlists.ends import Ends, find_input, find_output
from lostgain.netlists.ideal import ideal_opamps
from lostgain.netlists.kinds import check_supply, name_kinds, plus_first
from lostgain.netlists.mains import FromMains, rectified
from lostgain.netlists.measure import Run, Seen, evaluated, measured, values_of
from lostgain.netlists.model import (
    DOUBTFUL,
    GROUND,
    LIKELY,
    NETLIST,
    SURE,
    Guess,
    Imported,
    Notes,
    Piece,
    Segment,
    wrong,
)
from lostgain.netlists.names import name_all, rename_nodes, renamed, sheet_note
from lostgain.netlists.path import Graph, graph_of, still_nodes
from lostgain.netlists.points import labels_of, test_points
from lostgain.netlists.sheets import flatten
from lostgain.netlists.sources import Source, Supply, find_generator, find_supply, rail_names, silence, voltage_sources
from lostgain.netlists.stages import boundaries, segments
from lostgain.netlists.tracks import join_halves
from lostgain.netlists.unitfile import netlist_text, order_of, text_of
from lostgain.netlists.write import write_unit
from lostgain.problems import Problem, UserError, Where, nearest
from lostgain.quantities import show
from lostgain.unit import open_unit

#: Mistakes told at once: where there are more, the same is wrong everywhere.
MOST_SHOWN = 10
#: An output that feeds less than this is a loudspeaker's or a headphone's [ohm].
_LOUDSPEAKER = 40.0
_LOW, _HIGH = 40.0, 10e3
#: A difference from the netlist as it came that is told [fraction], and the voltage below which none matters [V].
_AGREES, _NOTHING = 0.01, 10e-3
#: Levels are compared as if none were below this share of the loudest one.
_QUIET = 0.01


def import_netlist(path: Path, input_node: str = "", output_node: str = "", pool: Pool | None = None) -> Imported:
    """Make a first unit of a SPICE netlist, in memory; `write.write_unit` writes it.

    Parameters
    ----------
    path : Path
        The netlist. What it includes is looked for in its folder only.
    input_node, output_node : str
        Where the generator and the load go; found where empty.
    pool : Pool or None
        Workers to use; one is started if there is none.

    Returns
    -------
    Imported

    Raises
    ------
    UserError
        With file and line, for all that cannot be taken.
    """
    if pool is None:
        with Pool(workers=1) as one:
            return import_netlist(path, input_node, output_node, one)
    try:
        return _imported(path, input_node, output_node, pool)
    except UserError as error:
        if len(error.problems) <= MOST_SHOWN:
            raise
        rest = Problem(f"and {len(error.problems) - MOST_SHOWN} more mistakes.", Where(path))
        raise UserError([*error.problems[:MOST_SHOWN], rest]) from None


def _imported(path: Path, input_node: str, output_node: str, pool: Pool) -> Imported:
    notes = Notes()
    here = Where(path)
    deck, pieces, lines = _read(path, notes)
    flat = evaluated([piece.line for piece in pieces] + lines, pool, here)
    values_of(pieces, flat)
    pieces = ideal_opamps(join_halves(pieces, notes), notes)
    if any(piece.tail.startswith(("potentiometer ", "ideal_opamp ")) for piece in pieces):
        lines = definitions(deck, pieces, Notes()) + library_lines(pieces, deck)
        flat = evaluated([piece.line for piece in pieces] + lines, pool, here)
    asked_in, asked_out = (_asked(node, pieces, path) for node in (input_node, output_node))
    pieces, mains = rectified(pieces, voltage_sources(pieces, flat), lines, pool, here, notes)
    if mains is not None:
        flat = evaluated([piece.line for piece in pieces] + lines, pool, here)
    sources = voltage_sources(pieces, flat)
    generator = find_generator(sources, asked_in, notes)
    supply = find_supply(sources, generator, notes)
    silence(voltage_sources(pieces, flat, "i"), None, supply, notes)
    silent = silence(sources, generator, supply, notes)
    ends = find_input(generator, asked_in, pieces, supply.rails, notes)
    fed = _fed(pieces, generator.piece if generator else None, supply, ends)
    seen = measured(Run((*fed, *lines), ends.frequency), pool, here)
    held = {node: seen.dc[node] for node in still_nodes(pieces, supply.rails, seen.level) if node in seen.dc}
    gone = [*ends.gone, *(each.piece for each in supply.sources)]
    name_kinds(pieces, gone, deck, flat, {**held, **supply.rails}, notes)
    own = definitions(deck, pieces, notes)
    fed = _fed(pieces, generator.piece if generator else None, supply, ends)
    plus_first(pieces, seen.dc, notes)
    check_supply(pieces, seen.dc, notes)
    graph = graph_of([piece for piece in pieces if piece not in ends.gone], supply.rails, seen.level)
    _ends(ends, asked_out, deck, graph, pieces, notes)
    pieces = _without_loose(_one_channel(pieces, silent, graph, ends, notes), ends, notes)
    graph = graph_of([piece for piece in pieces if piece not in ends.gone], supply.rails, seen.level)
    return _unit(path, deck, pieces, ends, supply, graph, fed, own, seen, notes, pool, mains)


def _read(path: Path, notes: Notes) -> tuple[Deck, list[Piece], list[str]]:
    """Read, sort, flatten and rename."""
    here = Where(path)
    if not path.is_file():
        raise wrong("There is no such netlist." if not path.exists() else "This is no file; a netlist is wanted.", here)
    reader = Reader(path.parent, notes)
    cards = reader.read(path, here)
    deck = sort_cards(cards, reader.title, path, notes)
    declare_params(deck)
    missing = [f"{name} (line {where.line})" for name, where in reader.missing]
    if not deck.elements:
        raise wrong("There are no parts in this netlist.", here)
    try:
        flat = flatten(deck, notes)
        sheet_note(flat, notes)
        pieces = name_all(flat, notes)
        lines = definitions(deck, pieces, notes)
    except UserError as error:
        if not missing or not any("is missing" in each.message for each in error.problems):
            raise
        text = f"{', '.join(missing)} is named here and lies not in the netlist's folder; nothing is read elsewhere."
        raise UserError(
            [*error.problems, Problem(text, reader.missing[0][1], "Copy the file beside the netlist.")]
        ) from None
    for name, where in reader.missing:
        notes.say(name, "is not in the netlist's folder; nothing of it is needed.", SURE, where)
    return deck, pieces, lines + library_lines(pieces, deck)


def _asked(node: str, pieces: list[Piece], path: Path) -> str:
    """Return a node the user named, as it is called now."""
    if not node:
        return ""
    found = renamed(node, pieces)
    if not found:
        known = sorted({each for piece in pieces for each in piece.nodes} - {"0"})
        raise UserError(Problem(f"the netlist has no node “{node}”.", Where(path), nearest(node, known)))
    return found


def _fed(pieces: list[Piece], generator: Piece | None, supply: Supply, ends: Ends) -> list[str]:
    """Return the netlist's elements as they came, but with its generator at the level that the bench's will have."""
    steady = {id(each.piece): each.steady for each in supply.sources}
    lines = [
        " ".join((piece.name, *piece.nodes, f"{steady[id(piece)]:.12g}")) if id(piece) in steady else piece.line
        for piece in pieces
        if piece is not generator
    ]
    node = ends.input
    if generator is not None:
        node = next(each for each in generator.nodes if each != GROUND)
    return [*lines, f"vimport {node} 0 dc {ends.dc:.12g} ac {ends.level:.12g}"]


def _ends(ends: Ends, asked: str, deck: Deck, graph: Graph, pieces: list[Piece], notes: Notes) -> None:
    reached = graph.reached(ends.input)
    shown = [renamed(node, pieces) for node in deck.shown]
    takers = {piece.pin(pin) for piece in pieces for pin in ("inp", "inn", "b", "g")}
    driven = [
        piece.pin("out") for piece in pieces
        if piece.kind == "opamp" and piece.pin("out") in reached and _drives_none(piece, takers, graph)
    ]  # fmt: skip
    find_output(
        ends,
        asked,
        [node for node in shown if node],
        reached,
        labels_of(reached),
        list(dict.fromkeys(driven)),
        pieces,
        notes,
    )
    if ends.output not in reached:
        text = f"the signal does not get from {ends.input} to {ends.output}, as far as parts tell."
        notes.say("output", text, DOUBTFUL, key="unit output")


def _drives_none(piece: Piece, takers: set[str], graph: Graph) -> bool:
    """Tell whether nothing but the op-amp itself takes what it puts out."""
    own = {piece.pin("inp"), piece.pin("inn")}
    out = piece.pin("out")
    onward = graph.reached(out, tuple(own - {out}))
    return not (takers - own - {out, ""}) & set(onward)


def _one_channel(pieces: list[Piece], silent: list[Source], graph: Graph, ends: Ends, notes: Notes) -> list[Piece]:
    """Leave out what hangs on another signal's source and is not reached from the input: another channel."""
    mine = graph.reached(ends.input)
    for source in silent:
        theirs: set[str] = set()
        for node in source.piece.nodes:
            if node not in mine and node not in graph.still:
                theirs |= set(graph.reached(node))
        if not theirs or theirs & set(mine):
            continue
        out = [piece for piece in pieces if theirs & set(piece.nodes)]
        names = ", ".join(piece.board for piece in out)
        text = f"feeds another channel, which is left out: {names}. One of the same circuit is two lines, [[channel]]."
        notes.say(source.piece.name, text, LIKELY, source.piece.where, "head")
        pieces = [piece for piece in pieces if piece not in out]
        gone = {piece.board for piece in out}
        notes.guesses = [each for each in notes.guesses if each.about not in gone or each.key == "head"]
    return pieces


def _without_loose(pieces: list[Piece], ends: Ends, notes: Notes) -> list[Piece]:
    """Leave out parts with an end that nothing else is at: no current flows in them."""
    going = True
    while going:
        going = False
        for piece in pieces:
            if piece.letter not in "rcld" or piece in ends.gone:
                continue
            for node in piece.nodes:
                alone = sum(node in other.nodes for other in pieces if other not in ends.gone) == 1
                if alone and node not in ("0", ends.input, ends.output):
                    notes.say(piece.board, f"leads to {node}, where nothing else is; left out.", SURE, piece.where)
                    pieces = [other for other in pieces if other is not piece]
                    going = True
                    break
            if going:
                break
    return pieces


def _unit(
    path: Path, deck: Deck, pieces: list[Piece], ends: Ends, supply: Supply, graph: Graph, fed: list[str],
    own: list[str], seen: Seen, notes: Notes, pool: Pool, mains: FromMains | None,
) -> Imported:  # fmt: skip
    """Cut the circuit into stages, write both files in memory, and compare the unit with the netlist."""
    cuts = graph.passed(ends.input, ends.output)
    asked = Run((*fed, *own, *library_lines(pieces, deck)), ends.frequency, tuple(cuts))
    limits = boundaries(graph, ends.input, ends.output, measured(asked, pool, Where(path)).impedance if cuts else {})
    gone = [*ends.gone, *(each.piece for each in supply.sources)]
    kept = [piece for piece in pieces if piece not in gone]
    stages = segments(graph, limits, ends.input, ends.output, kept)
    _say_stages(stages, notes)
    labels = labels_of({node for piece in kept for node in piece.nodes})
    spots = test_points(stages, graph, ends.input, ends.output, supply.rails, labels)
    names = rail_names(supply, pieces, notes)
    _rename_rails(kept, names)
    rails = {
        name: supply.rails[node] for node, name in names.items() if any(name.lower() in each.nodes for each in kept)
    }
    for stage in stages:
        stage.output = stage.output or next((name.lower() for name in rails), ends.output)
    _say_facts(ends, rails, mains is not None, notes)
    title = deck.title or path.stem
    parts = [piece for piece in kept if piece.kind]
    text = text_of(_title(title), NETLIST, ends.setup, rails, (ends.input, ends.output), stages, parts, spots,
                   notes.guesses, _frequencies(ends.frequency), mains.text(names) if mains else ())  # fmt: skip
    imported = Imported(
        _title(title), path, text, netlist_text(title, path.name, own, kept), NETLIST, tuple(parts), tuple(stages),
        tuple(spots), rails, dict(ends.setup), ends.input, ends.output, (), tuple(p.board for p in kept if not p.kind),
    )  # fmt: skip
    return _compared(imported, names, seen, ends, notes, pool)


def _title(text: str) -> str:
    clean = " ".join("".join(sign if sign.isprintable() else " " for sign in text).split())
    return clean[:100] or "Imported netlist"


def _say_stages(stages: list[Segment], notes: Notes) -> None:
    for stage in stages:
        if stage.why and len(stages) > 1 and stage.why != "the output":
            text = f"ends at {stage.output}: {stage.why}." if stage.output else "no signal passes its parts."
            notes.say(stage.name, text, stage.sure, key=f"stage {stage.name}")
    if len(stages) == 1:
        notes.say("stages", "no node drives on alone: the whole is one stage.", LIKELY, key="head")


def _say_facts(ends: Ends, rails: dict[str, float], from_mains: bool, notes: Notes) -> None:
    if not from_mains:
        text = "a netlist does not say what feeds it; write false for a battery. The cautions depend on it."
        notes.say("mains", text, DOUBTFUL, key="unit mains")
    if ends.load is not None and ends.load <= _LOUDSPEAKER:
        text = f"a load of {show(ends.load, 'ohm')} is a loudspeaker's or a headphone's."
        notes.say("output_stage", text, LIKELY, key="unit output_stage")
    if not rails:
        notes.say("rails", "no source feeds a rail.", LIKELY, key="head")


def _rename_rails(pieces: list[Piece], names: dict[str, str]) -> None:
    rename_nodes(pieces, {node: name.lower() for node, name in names.items() if name.lower() != node})


def _frequencies(middle: float) -> list[str]:
    low = _LOW if middle > 2 * _LOW else middle / 10
    high = _HIGH if middle < _HIGH / 2 else middle * 4
    return [show(each, "Hz", 6) for each in (middle, low, high)]


def _compared(imported: Imported, names: dict[str, str], seen: Seen, ends: Ends, notes: Notes, pool: Pool) -> Imported:
    """Open the unit as it will be written, build it, and compare DC and levels with the netlist's."""
    with tempfile.TemporaryDirectory(prefix="lostgain-") as place:
        folder = Path(place) / (imported.source.stem or "unit")
        write_unit(imported, folder)
        try:
            circuit = build(open_unit(folder), pool)
        except UserError as error:
            raise UserError([_of_netlist(each, imported) for each in error.problems]) from None
    unit = measured(Run(tuple(circuit.flat.lines()), ends.frequency), pool, Where(imported.source))
    worst, at, count = 0.0, "", 0
    quiet = _QUIET * max(seen.level.values(), default=1.0)
    for node in seen.dc:
        here = names.get(node, node).lower()
        if here not in unit.dc:
            continue
        count += 1
        differences = [abs(unit.dc[here] - seen.dc[node]) / max(abs(seen.dc[node]), _NOTHING)]
        if node not in names:  # a rail has a milliohm in front of it, and hears of the current in it
            differences.append(abs(unit.level[here] - seen.level[node]) / max(seen.level[node], quiet))
        if max(differences) > worst:
            worst, at = max(differences), node
    if worst > _AGREES:
        text = f"the unit differs from the netlist by {worst:.2%} at node {at}."
        notes.say("levels", text, DOUBTFUL, key="head")
    guesses: tuple[Guess, ...] = tuple(sorted(notes.guesses, key=lambda each: order_of(each.sure)))
    return replace(imported, guesses=guesses, nodes=count, worst=worst)


def _of_netlist(problem: Problem, imported: Imported) -> Problem:
    """Return a mistake of the unit as one of the netlist it was made from, at the line of the element it names."""
    words = problem.message.replace(":", " ").replace(".", " ").split()
    places = {name: piece.where for piece in imported.parts for name in (piece.board, piece.name)}
    place = next((places[word.upper()] for word in words if word.upper() in places), Where(imported.source))
    return Problem(problem.message, place, problem.meant)
