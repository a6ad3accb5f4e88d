"""Writing a unit as one netlist: the chain of its stages, its rails, the generator and the load.

The netlist is in ngspice's language, with subcircuits; flattening it is left to ngspice.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from pathlib import Path

from lostgain import shipped
from lostgain.circuit.ends import no_missing_subcircuits
from lostgain.circuit.heating import kept_lines
from lostgain.circuit.loads import load_lines
from lostgain.circuit.mains import FUSED_NODE, MAINS_NODE, MAINS_SOURCE, fed_node, fed_rail, hold_lines
from lostgain.circuit.model import COLD, GENERATOR, LOAD, SOURCE, Pin, PlacedPart, rail_node
from lostgain.circuit.names import slug, supply_path
from lostgain.circuit.stagetext import Body, library_body, netlist_body, wrap_pins
from lostgain.engine.expansion import refuse_endless
from lostgain.engine.includes import resolve_includes
from lostgain.engine.plain import plain_sources
from lostgain.problems import Problem, UserError, Where
from lostgain.unit.branches import output_stages, sources
from lostgain.unit.library import device, device_names
from lostgain.unit.library import stage as stage_facts
from lostgain.unit.model import Part, Rail, Stage, Unit

CONTACT_OHMS = 0.02


@dataclass
class Composed:
    """A unit's netlist, and where to find what the technician named.

    Parameters
    ----------
    lines : list of str
    parts : dict
        Designator to PlacedPart, with names as they will be in the flat circuit.
    stages : dict
        Stage name to the names of its subcircuit's nodes in the flat circuit.
    stage_ends : dict
        Stage name to the node at its output.
    netlists : dict
        Path of a subcircuit in the flat circuit to the unit's file it comes from; ``""`` for the whole netlist.
    input, output : str
        Nodes.
    stage_ports : dict
        ``STAGE/PORT`` to its node, for the outputs a stage has beside ``out``.
    cold_ends : dict
        Stage name to the node that the cold end of a load at its output hangs on.
    """

    lines: list[str] = field(default_factory=list)
    parts: dict[str, PlacedPart] = field(default_factory=dict)
    stages: dict[str, Mapping[str, str]] = field(default_factory=dict)
    stage_ends: dict[str, str] = field(default_factory=dict)
    netlists: dict[str, Path] = field(default_factory=dict)
    input: str = "in"
    output: str = "out"
    stage_ports: dict[str, str] = field(default_factory=dict)
    cold_ends: dict[str, str] = field(default_factory=dict)


def compose(unit: Unit) -> Composed:
    """Write the netlist of one channel of a unit.

    Parameters
    ----------
    unit : Unit

    Raises
    ------
    UserError
        If a netlist of the unit's may not be run, or lacks a part that the unit file names.
    """
    files = [file for file in (unit.netlist, *(stage.netlist for stage in unit.stages)) if file is not None]
    no_missing_subcircuits(unit, files)
    _free_names(unit)
    out = Composed(lines=[f"* {slug(unit.name)}"])
    _supplies(unit, out)
    if unit.netlist is not None:
        _whole_netlist(unit, out)
    else:
        _chain(unit, out)
    setup = unit.setup
    out.lines += [
        f"{GENERATOR} bench_emf 0 dc {setup.start_dc:.12g} ac {setup.generator:.12g} "
        f"sin({setup.start_dc:.12g} {setup.generator * 2**0.5:.12g} {setup.frequencies[0]:.12g})",
        f"{SOURCE} bench_emf {out.input} {max(setup.source, 1e-3):.12g}",
    ]
    _loads(unit, out)
    for name in _models(out.lines):
        out.lines += device(name).netlist.splitlines()
    written = [line for line in out.lines if line.strip() and not line.startswith(("*", "+"))]
    refuse_endless((line, Where(unit.file)) for line in written)
    out.lines.append(".end")
    return out


def _models(lines: Sequence[str]) -> list[str]:
    """Return the library's device classes that a netlist names and does not define itself."""
    words = [line.lower().split() for line in lines]
    defined = {each[1] for each in words if each[0] in (".model", ".subckt") and len(each) > 1}
    named = {word for each in words if not each[0].startswith((".", "*")) for word in each[3:]}
    return sorted((named & set(device_names())) - defined)


def _free_names(unit: Unit) -> None:
    """Refuse rails whose names are taken by other nodes of a chain."""
    taken = ("in", "gnd", "bench_emf") if unit.netlist is None else ("gnd", unit.input.lower())
    problems = [
        Problem(f"a rail cannot be called {rail.name}: another node of the circuit is.", rail.where, "Example: VP.")
        for rail in unit.rails
        if rail_node(rail.name) in taken
    ]
    if problems:
        raise UserError(problems)


def _supplies(unit: Unit, out: Composed) -> None:
    for rail in unit.rails:
        node = rail_node(rail.name)
        source = f"v_{node}"
        fused = f"{node}_fused" if rail.fuse else node
        if rail.fed_by:
            out.lines += fed_rail(rail, fused, len(unit.channels))
            _fuse(unit, rail, fused, node, out)
            continue
        out.lines += [
            f"{source} {node}_emf 0 {rail.volts:.12g}",
            f"r_{node} {node}_emf {fused} {max(rail.resistance, 1e-3):.12g}",
        ]
        out.parts[rail.name] = PlacedPart(_rail_part(unit, rail), source, False, {"1": Pin(f"r_{node}", 1)})
        _fuse(unit, rail, fused, node, out)
    for number, stage in enumerate(unit.supplies, 1):
        _supply_stage(unit, stage, number, out)
    if unit.supplies:
        out.lines.append(f"{MAINS_SOURCE} {MAINS_NODE} 0 0")
    if unit.feed is not None and unit.feed.fuse:
        _contact(unit, unit.feed.fuse, MAINS_NODE, FUSED_NODE, out)


def _fuse(unit: Unit, rail: Rail, fused: str, node: str, out: Composed) -> None:
    if rail.fuse and rail.fuse in unit.parts:
        _contact(unit, rail.fuse, fused, node, out)


def _contact(unit: Unit, fuse: str, one: str, other: str, out: Composed) -> None:
    element = f"r_{fuse.lower()}"
    out.lines.append(f"{element} {one} {other} {CONTACT_OHMS}")
    out.parts[fuse] = PlacedPart(unit.parts[fuse], element, False, _pins(element, ("1", "2")))


def _supply_stage(unit: Unit, stage: Stage, number: int, out: Composed) -> None:
    """Write a supply stage between the mains, or the rail it takes, and the rails it delivers."""
    name = supply_path(number, stage)
    fuse = unit.feed.fuse if unit.feed is not None else ""
    parts = [part for part in unit.parts.values() if part.stage == stage.name and part.designator != fuse]
    facts = stage_facts(stage.library)
    body = library_body(stage, parts, unit.setup.controls, name)
    ports = {port: f"{name}_{port}" for port in facts.ports}
    ports |= {port: fed_node(stage.rails[port]) for port in facts.delivers}
    ports["in"] = (FUSED_NODE if fuse else MAINS_NODE) if facts.from_mains else rail_node(stage.rails["in"])
    by_name = {rail.name: rail for rail in unit.rails}
    for port in facts.rectifies:
        out.lines += hold_lines(by_name[stage.rails[port]])
    if facts.heats:
        out.lines += kept_lines(name)
    out.lines += [*body.lines, f"x{name} {' '.join(ports[port] for port in body.ports)} {name}"]
    _place(body, parts, f"x{name}", out)
    out.stages[stage.name] = {**{node: f"x{name}.{node}" for node in body.nodes}, **ports}


def _rail_part(unit: Unit, rail: Rail) -> Part:
    return unit.parts.get(rail.name) or Part(rail.name, "rail", rail.volts, rail.tolerance, stage="supply", role="rail")


def _pins(element: str, names: tuple[str, ...]) -> dict[str, Pin]:
    return {name: Pin(element, index) for index, name in enumerate(names)}


def _chain(unit: Unit, out: Composed) -> None:
    came_from = sources(unit.stages)
    for number, stage in enumerate(unit.stages, 1):
        source, port = came_from[stage.name]
        node = out.stages[source][port] if source else out.input
        end = f"n{number}_{slug(stage.name)}"
        parts = [part for part in unit.parts.values() if part.stage == stage.name]
        if stage.source == "stand-in":
            _stand_in(stage, node, end, number, out)
        else:
            _subcircuit(unit, stage, parts, node, end, number, out)
        out.stage_ends[stage.name] = end
        facts = stage_facts(stage.library) if stage.source == "library" else None
        for each in facts.outputs if facts else ():
            out.stage_ports[f"{stage.name}/{each}"] = out.stages[stage.name][each]
        cold = out.stages[stage.name][facts.cold] if facts and facts.cold else out.cold_ends.get(source, "0")
        out.cold_ends[stage.name] = cold
        out.output = end


def _loads(unit: Unit, out: Composed) -> None:
    """Hang a load on every output; the last one is the unit's own."""
    setup = unit.setup
    ends = output_stages(unit.stages) if unit.netlist is None else ()
    for stage in ends[:-1]:
        load = setup.loads.get(stage, setup.load)
        out.lines += load_lines(f"{LOAD}_{slug(stage)}", load, out.stage_ends[stage], out.cold_ends[stage])
    load = setup.loads.get(ends[-1], setup.load) if ends else setup.load
    out.lines += load_lines(LOAD, load, out.output, out.cold_ends[ends[-1]] if ends else "0")


def _subcircuit(unit: Unit, stage: Stage, parts: list[Part], start: str, end: str, number: int, out: Composed) -> None:
    name = f"s{number}_{slug(stage.name)}"
    if stage.source == "library":
        body = library_body(stage, parts, unit.setup.controls, name)
        ports = {"in": start, "out": end, **{port: rail_node(rail) for port, rail in stage.rails.items()}}
        facts = stage_facts(stage.library)
        ports |= {port: f"{end}_{port}" for port in facts.outputs}
        # A further input takes what the stage before gives there; where there is none, no signal.
        before = out.stages.get(sources(unit.stages)[stage.name][0], {})
        for port, given in facts.inputs.items():
            ports[port] = before.get(given) or f"{end}_{port}"
            if given == "cold" and not before:  # the bench's: at ground, but where both legs are driven
                out.lines.append(f"{COLD} {ports[port]} 0 0 ac 0")
            elif given not in before:
                out.lines.append(f"r{name}_{port} {ports[port]} 0 {CONTACT_OHMS}")
        outer = [ports[port] for port in body.ports]
    else:
        body = netlist_body(unit, stage, parts, name)
        meaning = {"in": start, "out": end, "0": "0"}
        outer = [meaning.get(port, rail_node(port)) for port in stage.ports]
        ports = dict(zip(body.ports, outer, strict=True))
        assert stage.netlist is not None
        out.netlists[f"x{name}"] = stage.netlist
    out.lines += [*body.lines, f"x{name} {' '.join(outer)} {name}"]
    _place(body, parts, f"x{name}", out)
    inner = {node: f"x{name}.{node}" for node in body.nodes}
    out.stages[stage.name] = {**inner, **ports, "in": start, "out": end}


def _place(body: Body, parts: list[Part], path: str, out: Composed) -> None:
    """Note where each part of a subcircuit will be in the flat circuit."""
    for part in parts:
        element = body.elements.get(part.role)
        if element is None:
            raise UserError(Problem(f"{part.designator}: the stage has no element {part.role}.", part.where))
        if element in body.wrapped:
            pins = {pin: Pin(f"r.{path}.{body.wrapped[element][pin]}", 0) for pin in part.pins}
            out.parts[part.designator] = PlacedPart(part, f"{path}.{element}", True, pins)
        else:
            flat_name = f"{element[0]}.{path}.{element}"
            out.parts[part.designator] = PlacedPart(part, flat_name, False, _pins(flat_name, part.pins))


def _stand_in(stage: Stage, start: str, end: str, number: int, out: Composed) -> None:
    """A stage that is not transcribed: its gain for the signal, its DC level whatever comes in."""
    name = f"s{number}_{slug(stage.name)}"
    out.lines += [
        f"c{name} {start} {name}_ac 1",
        f"r{name}_ac {name}_ac 0 1meg",
        f"e{name} {name}_e 0 {name}_ac 0 {stage.gain:.12g}",
        f"v{name} {name}_o {name}_e {stage.dc:.12g}",
        f"r{name}_o {name}_o {end} 50",
    ]
    out.stages[stage.name] = {"in": start, "out": end}


def _whole_netlist(unit: Unit, out: Composed) -> None:
    assert unit.netlist is not None
    lines = plain_sources(resolve_includes(unit.netlist, unit.folder, shipped.folder()))
    out.netlists[""] = unit.netlist
    out.input, out.output = unit.input.lower(), unit.output.lower()
    kept = _without_generator(lines, out.input)
    elsewhere = {"supply", *(stage.name for stage in unit.supplies)}
    wanted = {part.role.lower(): part for part in unit.parts.values() if part.stage not in elsewhere}
    body = wrap_pins(kept, wanted, top=True)
    missing = [part for part in wanted.values() if part.role not in body.elements]
    if missing:
        raise UserError(
            [Problem(f"{part.designator}: the netlist has no element {part.role}.", part.where) for part in missing]
        )
    out.lines += body.lines
    for part in wanted.values():
        element = body.elements[part.role]
        if element in body.wrapped:
            pins = {pin: Pin(body.wrapped[element][pin], 0) for pin in part.pins}
            out.parts[part.designator] = PlacedPart(part, element, True, pins)
        else:
            out.parts[part.designator] = PlacedPart(part, element, False, _pins(element, part.pins))
    for stage in unit.stages:
        if stage.output:
            out.stage_ends[stage.name] = stage.output.lower()


def _without_generator(lines: Sequence[str], node: str) -> list[str]:
    """Leave out the netlist's own voltage source at the unit's input, whose place the bench's generator takes."""
    kept = []
    depth = 0
    for line in lines:
        words = line.lower().split()
        depth += words[0] == ".subckt"
        ends = {"0" if word == "gnd" else word for word in words[1:3]}
        if depth or words[0][0] != "v" or ends != {node, "0"}:
            kept.append(line)
        depth -= words[0] == ".ends"
    return kept
