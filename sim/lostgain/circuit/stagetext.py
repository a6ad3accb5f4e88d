"""The text of one stage's subcircuit: roles filled, pins of subcircuit parts made findable."""

from __future__ import annotations

import re
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

from lostgain import shipped
from lostgain.engine.includes import resolve_includes
from lostgain.problems import Problem, UserError, nearest
from lostgain.unit.facts import Role
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
        Role to element name.
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
    is_subckt = role.kind in ("opamp", "potentiometer") and role.element == role.name
    return (f"X{role.name}" if is_subckt else role.element).lower()


def _element_line(line: str, key: str, part: Part, default: float | str | None, controls: Mapping[str, float]) -> str:
    value = part.value if part.value is not None and part.kind not in ("fuse",) else default
    if isinstance(value, float):
        line = re.sub(rf"\{{\s*{key}\s*\}}", f"{value:.12g}", line, flags=re.IGNORECASE)
    if part.device:
        line = re.sub(rf"\bm_{key}\b", part.device, line, flags=re.IGNORECASE)
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
    lines = resolve_includes(stage.netlist, unit.folder, shipped.folder(), title=False)
    lines = _joined("\n".join(lines))
    heads = {line.split()[1].lower(): index for index, line in enumerate(lines) if line.lower().startswith(".subckt")}
    start = heads.get(stage.subckt.lower())
    if start is None:
        raise UserError(
            Problem(f"{stage.netlist.name} has no .subckt {stage.subckt}.", stage.where, nearest(stage.subckt, heads))
        )
    end = next(index for index in range(start, len(lines)) if lines[index].lower().startswith(".ends"))
    ports = tuple(word.lower() for word in lines[start].split()[2:] if "=" not in word and word.lower() != "params:")
    if len(ports) != len(stage.ports):
        raise UserError(
            Problem(
                f"{stage.name}: .subckt {stage.subckt} has {len(ports)} nodes ({' '.join(ports)}), "
                f"'ports' names {len(stage.ports)}.",
                stage.where,
            )
        )
    wanted = {part.role.lower(): part for part in parts}
    head = re.sub(r"(?i)^(\.subckt\s+)\S+", rf"\g<1>{name}", lines[start])
    body = wrap_pins([head, *lines[start + 1 : end], ".ends"], wanted)
    # Models and further subcircuits of the file stay as they are, outside.
    body.lines = [line for line in lines[:start] + lines[end + 1 :] if line.lower() != ".end"] + body.lines
    body.ports = ports
    body.elements = {role.upper(): element for role, element in body.elements.items()}
    return body


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
        Netlist lines, continuations joined.
    wanted : mapping
        Element name, lower case, to Part.
    top : bool
        True for a whole netlist: lines inside its own subcircuits are left alone.

    Returns
    -------
    Body
    """
    body = Body()
    depth = 0
    for line in _joined("\n".join(lines)) if top else lines:
        words = line.split()
        word = words[0].lower()
        depth += word == ".subckt"
        inside_other = top and depth > 0
        depth -= word == ".ends"
        part = wanted.get(word) if not inside_other else None
        if part is None:
            body.lines.append(line)
            if not word.startswith((".", "*")):
                body.nodes.update(node.lower() for node in words[1:4])
            continue
        body.elements[part.role.lower() if top else part.role] = word
        if word[0] == "x":
            body.lines += _wrapped(word, words, part, body)
        else:
            body.lines.append(line)
            body.nodes.update(node.lower() for node in words[1 : 1 + len(part.pins)])
    return body


def _wrapped(word: str, words: list[str], part: Part, body: Body) -> list[str]:
    count = len(part.pins)
    outer = words[1 : 1 + count]
    inner = [f"{word}_{pin}" for pin in part.pins]
    body.wrapped[word] = {pin: f"rpin_{word}_{pin}" for pin in part.pins}
    body.nodes.update(node.lower() for node in outer)
    tail = words[1 + count :]
    if part.device and not part.kind == "potentiometer":
        tail = [part.device, *tail[1:]]
    pins = zip(part.pins, outer, inner, strict=True)
    return [
        f"{word} {' '.join(inner)} {' '.join(tail)}",
        *(f"rpin_{word}_{pin} {board} {node} {PIN_OHMS}" for pin, board, node in pins),
    ]
