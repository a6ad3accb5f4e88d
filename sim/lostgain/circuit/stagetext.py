"""The text of one stage's subcircuit: roles filled, pins of subcircuit parts made findable."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from lostgain import shipped
from lostgain.engine.includes import resolve_includes
from lostgain.engine.plain import plain_sources
from lostgain.problems import Problem, UserError, nearest
from lostgain.unit.facts import Role
from lostgain.unit.kinds import kinds
from lostgain.unit.library import stage as stage_facts
from lostgain.unit.model import Part, Stage, Unit

#: Resistance put in front of each pin of a part that is a subcircuit [ohm]; changes levels by some 3e-9.
PIN_OHMS = 1e-3


@dataclass
class Body:
    """A subcircuit's text.

    Parameters
    ----------
    lines : list of str
        Whole, ``.subckt`` and ``.ends`` included; for a whole netlist its lines.
    ports : tuple of str
        Nodes of the ``.subckt`` line, in order.
    elements : dict
        Role, as the part has it, to element name.
    wrapped : dict
        Element name of a subcircuit part to ``{pin: name of its 1 mΩ resistor}``.
    nodes : set of str
        Every node named inside.
    """

    lines: list[str] = field(default_factory=list)
    ports: tuple[str, ...] = ()
    elements: dict[str, str] = field(default_factory=dict)
    wrapped: dict[str, dict[str, str]] = field(default_factory=dict)
    nodes: set[str] = field(default_factory=set)


def library_body(stage: Stage, parts: Sequence[Part], controls: Mapping[str, float], name: str) -> Body:
    """Return a library stage's subcircuit with its roles filled, under a name of its own.

    Parameters
    ----------
    stage : Stage
    parts : sequence of Part
        The parts that fill its roles.
    controls : mapping
        Potentiometer's designator to the share it passes.
    name : str
        Name of the subcircuit.
    """
    facts = stage_facts(stage.library)
    by_role = {part.role: part for part in parts}
    lines = [f".subckt {name} {' '.join(facts.ports)}"]
    roles = {_element_name(role): key for key, role in facts.roles.items()}
    wanted = {}
    for line in _joined(facts.netlist):
        word = line.split()[0].lower() if line.split() else ""
        if not word or word.startswith((".subckt", ".ends", "*")):
            continue
        key = roles.get(word)
        if key is None:
            lines.append(_filled(line, facts.roles, by_role))
        elif key in by_role:
            wanted[word] = by_role[key]
            lines.append(_element_line(line, key, by_role[key], facts.roles[key].value, controls))
        elif facts.roles[key].absent == "short":
            nodes = line.split()[1:3]
            lines.append(f"r{word}_absent {' '.join(nodes)} {PIN_OHMS}")
    lines.append(".ends")
    body = wrap_pins(lines, wanted)
    body.ports = tuple(facts.ports)
    body.elements = {part.role: word for word, part in wanted.items()}
    return body


def _element_name(role: Role) -> str:
    """Return the name of a role's element in the library's netlist, lower case."""
    is_subckt = role.kind in kinds() and kinds()[role.kind].subckt and role.element == role.name
    return (f"X{role.name}" if is_subckt else role.element).lower()


def _element_line(line: str, key: str, part: Part, default: float | str | None, controls: Mapping[str, float]) -> str:
    value = part.value if part.value is not None and part.kind not in ("fuse",) else default
    if isinstance(value, float):
        line = re.sub(rf"\{{\s*{key}\s*\}}", f"{value:.12g}", line, flags=re.IGNORECASE)
    if part.device:
        # The value of a device that has one is a parameter of its subcircuit, called after the kind's unit.
        given = kinds()[part.kind].unit if part.value is not None and part.kind != "potentiometer" else ""
        device = f"{part.device} {given}={part.value:.12g}" if given else part.device
        line = re.sub(rf"\bm_{key}\b", device, line, flags=re.IGNORECASE)
    if part.kind == "potentiometer":
        share = controls.get(part.designator, 0.5)
        line = re.sub(rf"\bm_{key}\b.*", f"potentiometer R={part.value:.12g} K={share:.12g}", line, flags=re.IGNORECASE)
    return line


def _filled(line: str, roles: Mapping[str, object], by_role: Mapping[str, Part]) -> str:
    """Put role values into a line that is no role's own."""
    for key in roles:
        value = by_role[key].value if key in by_role else None
        if value is not None:
            line = re.sub(rf"\b{key}\b(?=[^{{}}]*\}})", f"{value:.12g}", line)
    return line


def netlist_body(unit: Unit, stage: Stage, parts: Sequence[Part], name: str) -> Body:
    """Return a subcircuit of the unit's own, under a name of its own, with what its file holds besides it.

    Raises
    ------
    UserError
        If the file has no such subcircuit, its nodes do not match the unit file's ``ports``, or it may not be run.
    """
    assert stage.netlist is not None
    lines = plain_sources(resolve_includes(stage.netlist, unit.folder, shipped.folder(), title=False))
    lines = [re.sub(r"\s*=\s*", "=", line) for line in lines]
    heads = {line.split()[1].lower(): index for index, line in enumerate(lines) if _is(line, ".subckt")}
    start = heads.get(stage.subckt.lower())
    if start is None:
        raise UserError(
            Problem(f"{stage.netlist.name} has no .subckt {stage.subckt}.", stage.where, nearest(stage.subckt, heads))
        )
    end = _end_of(lines, start)
    words = lines[start].split()[2:]
    ports = tuple(word.lower() for word in words if "=" not in word and word.lower() != "params:")
    if len(ports) != len(stage.ports):
        raise UserError(
            Problem(
                f"{stage.name}: .subckt {stage.subckt} has {len(ports)} nodes ({' '.join(ports)}), "
                f"'ports' names {len(stage.ports)}.",
                stage.where,
            )
        )
    wanted = {part.role.lower(): part for part in parts}
    # What the file defines goes inside, so that two files may use one name for different things; nobody calls this
    # subcircuit with parameters, so that its defaults are its values.
    inner, outer = _definitions([*lines[:start], *lines[end + 1 :]])
    defaults = [f".param {word}" for word in words if "=" in word]
    body = wrap_pins([f".subckt {name} {' '.join(ports)}", *inner, *defaults, *lines[start + 1 : end], ".ends"], wanted)
    body.lines = outer + body.lines
    body.ports = ports
    return body


def _is(line: str, word: str) -> bool:
    return line.split()[0].lower() == word


def _end_of(lines: Sequence[str], start: int) -> int:
    """Return where the subcircuit that begins at a line ends; others may be defined inside it."""
    depth = 0
    for index in range(start, len(lines)):
        depth += _is(lines[index], ".subckt")
        depth -= _is(lines[index], ".ends")
        if depth == 0:
            return index
    return len(lines)


def _definitions(lines: Sequence[str]) -> tuple[list[str], list[str]]:
    """Return what a file defines beside a subcircuit, and its options. Elements outside all subcircuits, such as the
    sources its author tried it with, are none of it.
    """
    inner: list[str] = []
    outer: list[str] = []
    depth = 0
    for line in lines:
        depth += _is(line, ".subckt")
        if depth or _is(line, ".model") or _is(line, ".param") or _is(line, ".func"):
            inner.append(line)
        elif line.lower().startswith((".opt", ".global")):
            outer.append(line)
        depth -= _is(line, ".ends")
    return inner, outer


def _joined(text: str) -> list[str]:
    """Return the lines with continuations joined, without blank lines and comments."""
    lines: list[str] = []
    for line in text.splitlines():
        if line.startswith("+") and lines:
            lines[-1] += " " + line[1:].strip()
        elif line.strip() and not line.lstrip().startswith("*"):
            lines.append(line.strip())
    return lines


def wrap_pins(lines: Sequence[str], wanted: Mapping[str, Part], top: bool = False) -> Body:
    """Put a 1 mΩ resistor in front of every pin of the parts that are subcircuits.

    ngspice's expanded listing keeps no trace of a subcircuit's pins; the resistors do, and a pin can be opened at them.

    Parameters
    ----------
    lines : sequence of str
        Netlist lines, continuations joined: one subcircuit, or a whole netlist.
    wanted : mapping
        Element name, lower case, to Part.
    top : bool
        True for a whole netlist. Subcircuits defined in it, or inside the one subcircuit, are left alone.

    Returns
    -------
    Body
    """
    body = Body()
    own = 0 if top else 1
    depth = 0
    for line in lines:
        words = line.split()
        word = words[0].lower()
        depth += word == ".subckt"
        part = wanted.get(word) if depth == own else None
        if part is not None:
            body.elements[part.role] = word
        if part is not None and word[0] == "x":
            body.lines += _wrapped(word, words, part, body)
        else:
            body.lines.append(line)
            if depth == own and word[0] not in ".*":
                # Some of these words are values: who looks a node up asks the flat circuit whether it is one.
                body.nodes.update(each.lower() for each in words[1:] if "=" not in each)
        depth -= word == ".ends"
    return body


def _wrapped(word: str, words: list[str], part: Part, body: Body) -> list[str]:
    count = len(part.pins)
    outer = words[1 : 1 + count]
    # Numbered, since a user may call a pin what ngspice could not take for a name.
    inner = [f"{word}_pin{number}" for number in range(1, count + 1)]
    names = [f"rpin_{word}_{number}" for number in range(1, count + 1)]
    body.wrapped[word] = dict(zip(part.pins, names, strict=True))
    body.nodes.update(node.lower() for node in outer)
    tail = words[1 + count :]
    if part.device and part.kind != "potentiometer":
        tail = [part.device, *tail[1:]]
    pins = zip(names, outer, inner, strict=True)
    return [
        f"{word} {' '.join(inner)} {' '.join(tail)}",
        *(f"{name} {board} {node} {PIN_OHMS}" for name, board, node in pins),
    ]
