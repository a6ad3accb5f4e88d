"""Slips of the pen in a unit's own netlists: nodes that hang in the air, and subcircuits that are nowhere."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from pathlib import Path

from lostgain import shipped
from lostgain.circuit.flat import FlatCircuit
from lostgain.circuit.model import rail_node
from lostgain.engine.includes import resolve_lines
from lostgain.problems import Problem, UserError, Where, nearest
from lostgain.unit.library import device_names
from lostgain.unit.model import Unit


def no_loose_ends(unit: Unit, flat: FlatCircuit, netlists: Mapping[str, Path]) -> None:
    """Refuse a node of a netlist that only one part touches, or that only capacitors lead to.

    Parameters
    ----------
    unit : Unit
    flat : FlatCircuit
    netlists : mapping
        Path of a subcircuit in the flat circuit to the unit's file it comes from; ``""`` for a unit that is one
        netlist. Stages of the library are checked where they are written.

    Raises
    ------
    UserError
    """
    touched: dict[str, list[str]] = {}
    for element in flat.elements.values():
        for node in set(element.nodes):
            touched.setdefault(node, []).append(element.name)
    grounded = _grounded(flat)
    problems = []
    rails = {rail_node(rail.name): rail for rail in unit.rails}
    for node, names in touched.items():
        owner = node.rpartition(".")[0]
        if owner not in netlists:
            continue
        if node in rails and len(names) == 1:
            free = [other for other in touched if "." not in other and other not in rails]
            said = f"rail {rails[node].name} feeds nothing: the netlist has no node '{node}'."
            problems.append(Problem(said, rails[node].where, nearest(node, free, "Is it called")))
            continue
        short = node.rpartition(".")[2]
        first = names[0].rpartition(".")[2]
        alone = len(names) == 1 and first[0] in "rcldqj" and not first.startswith("rpin_")
        if not alone and node in grounded:
            continue
        where = Where(netlists[owner], _line_of(first, unit, netlists[owner]))  # the file is read again for it
        if alone:
            others = [other.rpartition(".") for other in touched if other != node]
            meant = nearest(short, [each[2] for each in others if each[0] == owner])
            problems.append(Problem(f"node '{short}' hangs in the air: only {first.upper()} touches it.", where, meant))
        else:
            parts = " and ".join(name.rpartition(".")[2].upper() for name in names[:3])
            problems.append(
                Problem(f"node '{short}' hangs in the air for DC: only capacitors lead to it ({parts}).", where,
                        "A resistor that is missing, or the wrong node, is the usual slip.")
            )  # fmt: skip
    if problems:
        raise UserError(problems)


def _grounded(flat: FlatCircuit) -> set[str]:
    """Return the nodes from which a way that is no capacitor leads to ground, or to a source's node."""
    links: dict[str, set[str]] = {}
    for element in flat.elements.values():
        if element.name[0] != "c":
            for node in element.nodes:
                links.setdefault(node, set()).update(element.nodes)
    found, waiting = {"0"}, ["0"]
    while waiting:
        more = links.get(waiting.pop(), set()) - found
        found |= more
        waiting += more
    return found


def _line_of(element: str, unit: Unit, file: Path) -> int | None:
    """Return the line an element is on in one of the unit's files."""
    for text, where in resolve_lines(file, unit.folder, shipped.folder(), title=file == unit.netlist):
        if text.split()[0].lower() == element and where.file == file:
            return where.line
    return None


def no_missing_subcircuits(unit: Unit, files: Iterable[Path]) -> None:
    """Refuse an X element whose subcircuit is neither in its file nor in the library.

    Raises
    ------
    UserError
        With file, line and the nearest name.
    """
    problems = []
    replaced = {part.role.lower() for part in unit.parts.values() if part.device}
    for file in files:
        lines = resolve_lines(file, unit.folder, shipped.folder(), title=file == unit.netlist)
        known = {text.split()[1].lower() for text, _ in lines if text.lower().startswith(".subckt ")}
        known |= set(device_names())
        for text, where in lines:
            words = [word for word in text.lower().partition("params:")[0].split() if "=" not in word]
            if words and words[0][0] == "x" and words[0] not in replaced and words[-1] not in known:
                problems.append(
                    Problem(f"{words[0].upper()} uses the subcircuit '{words[-1]}', which is missing.", where,
                            nearest(words[-1], known))
                )  # fmt: skip
    if problems:
        raise UserError(problems)
