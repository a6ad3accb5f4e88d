"""The library's stages and device classes: the facts of ``circuits/stages/*.toml`` and ``circuits/models/*.toml``."""

from __future__ import annotations

from functools import cache
from pathlib import Path

from lostgain import shipped
from lostgain.problems import Problem, UserError, Where, nearest
from lostgain.unit.examples import read_example
from lostgain.unit.facts import Cluster, DeviceFacts, Role, Spread, StageFacts, Unloaded
from lostgain.unit.kinds import families, kinds
from lostgain.unit.names import read_text
from lostgain.unit.source import Source, Table

__all__ = [
    "Cluster",
    "DeviceFacts",
    "Role",
    "Spread",
    "StageFacts",
    "device",
    "device_names",
    "devices",
    "stage",
    "stage_names",
    "stages",
]


def stage_names() -> tuple[str, ...]:
    """Return the names of the library's stages, without reading them."""
    return _names("stages")


def device_names() -> tuple[str, ...]:
    """Return the names of the device classes, without reading them."""
    return _names("models")


@cache
def _names(folder: str) -> tuple[str, ...]:
    files = (shipped.folder() / folder).glob("*.toml")
    return tuple(sorted(file.stem for file in files if "." not in file.stem))  # NAME.draw.toml is a stage's drawing


def stages() -> tuple[StageFacts, ...]:
    """Return every library stage."""
    return tuple(stage(name) for name in stage_names())


def devices() -> tuple[DeviceFacts, ...]:
    """Return every device class."""
    return tuple(device(name) for name in device_names())


def stage(name: str) -> StageFacts:
    """Return a library stage.

    Raises
    ------
    UserError
        If there is none of that name, or its files are at fault.
    """
    if name not in stage_names():
        raise UserError(Problem(f"there is no library stage “{name}”.", meant=nearest(name, stage_names())))
    return read_stage(shipped.folder() / "stages" / f"{name}.toml")


def device(name: str) -> DeviceFacts:
    """Return a device class.

    Raises
    ------
    UserError
        If there is none of that name, or its files are at fault.
    """
    if name not in device_names():
        raise UserError(Problem(f"there is no device class “{name}”.", meant=nearest(name, device_names())))
    return read_device(shipped.folder() / "models" / f"{name}.toml")


@cache
def read_stage(file: Path) -> StageFacts:
    """Read the facts of a library stage from its ``.toml`` file and the ``.cir`` beside it."""
    source = Source(file)
    top = Table(source, (), "the stage", source.data)
    ports = tuple(top.names("ports", 'a list of nodes: ["in", "out", "vp"]'))
    rails, roles, nodes = _rails(top), _roles(top), _nodes(top)
    facts = StageFacts(
        name=file.stem,
        title=top.text("title", required='"Coupling network"'),
        purpose=top.text("purpose", required='"Passes the signal and blocks DC."'),
        gain=top.text("gain"),
        ports=ports,
        rails=rails,
        roles=roles,
        nodes=nodes,
        clusters=_clusters(top),
        netlist=_beside(file.with_suffix(".cir")),
        file=file,
        outputs=tuple(top.names("outputs", 'a list of ports: ["hp"]')),
        inputs=_inputs(top),
        delivers=_rails(top, "delivers"),
        rectifies=tuple(top.names("rectifies", 'a list of ports: ["out"]')),
        heats=top.text("heats"),
        cold=top.text("cold"),
        unloaded=_unloaded(top),
        example=read_example(top, roles, rails, nodes),
    )
    for port in facts.rails:
        if port not in facts.ports:
            source.wrong(("rails", port), f"rail port “{port}” is not in ports.", nearest(port, facts.ports))
    for port in (*facts.delivers, *facts.rectifies):
        if port not in facts.ports:
            source.wrong(("delivers", port), f"“{port}” is not in ports.", nearest(port, facts.ports))
    for port in facts.inputs:
        if port not in facts.ports:
            source.wrong(("inputs", port), f"input “{port}” is not in ports.", nearest(port, facts.ports))
    for port in facts.outputs:
        if port not in facts.ports:
            source.wrong(("outputs",), f"output “{port}” is not in ports.", nearest(port, facts.ports))
    if facts.heats and facts.heats not in facts.roles:
        source.wrong(("heats",), f"“{facts.heats}” is no role.", nearest(facts.heats, facts.roles))
    if facts.cold and facts.cold not in facts.outputs:
        source.wrong(("cold",), f"“{facts.cold}” is not in outputs.", nearest(facts.cold, facts.outputs))
    top.finish()
    source.settle()
    return facts


def _rails(top: Table, key: str = "rails") -> dict[str, str]:
    rails = top.table(key, f"[{key}]")
    for port in list(rails.data):
        if rails.get(port, str, '"positive" or "negative"') not in (None, "positive", "negative"):
            rails.wrong(port, f"{port} should be “positive” or “negative”.")
    return {port: str(sign) for port, sign in rails.data.items()}


def _roles(top: Table) -> dict[str, Role]:
    table = top.table("roles", "[roles]")
    roles = {}
    for name in table.data:
        row = table.table(name, f"role {name}")
        kind = row.text("kind", required='"resistor"')
        if kind and kind not in kinds() and kind not in families():
            row.wrong("kind", f"“{kind}” is no kind of part.", nearest(kind, {*kinds(), *families()}))
        absent = row.text("absent")
        if absent not in ("", "short", "open"):
            row.wrong("absent", f"absent = “{absent}” should be “short” or “open”.")
        value = row.get("value", (int, float, str), "a number in SI units, or a device class")
        element = row.text("element", name)
        value = float(value) if isinstance(value, int) else value
        roles[name] = Role(name, kind, row.text("does"), absent, element, value)
        row.finish()
    return roles


def _inputs(top: Table) -> dict[str, str]:
    table = top.table("inputs", "[inputs]")
    return {port: table.text(port, required='"out2"') for port in list(table.data)}


def _unloaded(top: Table) -> Unloaded | None:
    if "unloaded" not in top.data:
        return None
    row = top.table("unloaded", "[unloaded]")
    says = row.text("says", required='"the output transformer\'s voltage rises until it arcs"')
    unloaded = Unloaded(row.flag("allowed"), says)
    row.finish()
    return unloaded


def _clusters(top: Table) -> tuple[Cluster, ...]:
    found = []
    for row in top.tables("cluster", "[[cluster]]"):
        members = tuple(row.names("members", 'a list such as ["QN2 ce-short", "RE* open"]'))
        name = row.text("name", required='"output-pair-shorted"')
        found.append(Cluster(name, row.text("says", required='"the output pair has shorted"'), members))
        row.finish()
    return tuple(found)


def _nodes(top: Table) -> dict[str, str]:
    table = top.table("nodes", "[nodes]")
    nodes = {}
    for name in table.data:
        row = table.table(name, f"node {name}")
        nodes[name] = row.text("about")
        row.finish()
    return nodes


@cache
def read_device(file: Path) -> DeviceFacts:
    """Read the facts of a device class from its ``.toml`` file and the ``.lib`` beside it."""
    source = Source(file)
    top = Table(source, (), "the device class", source.data)
    facts = DeviceFacts(
        name=file.stem,
        title=top.text("title", required='"small-signal NPN"'),
        stands_for=top.text("stands_for"),
        kind=top.text("kind", required='"npn"'),
        source=top.text("source", required='"our own, from …"'),
        subckt=top.flag("subckt"),
        pins=tuple(top.names("pins", 'a list of pins: ["c", "b", "e"]')),
        spreads=_spreads(top),
        facts=_facts(top),
        faults=dict(top.table("faults", "[faults]").data),
        netlist=_beside(file.with_suffix(".lib")),
        file=file,
    )
    if facts.kind and facts.kind not in kinds():
        source.wrong(("kind",), f"“{facts.kind}” is no kind of part.", nearest(facts.kind, kinds()))
    top.finish()
    source.settle()
    return facts


def _facts(top: Table) -> dict[str, float]:
    table = top.table("facts", "[facts]")
    return {key: float(table.get(key, (int, float), "a number in SI units", 0.0)) for key in table.data}


def _spreads(top: Table) -> tuple[Spread, ...]:
    table = top.table("spread", "[spread]")
    found = []
    for name in table.data:
        row = table.table(name, f"spread {name}")
        spread = Spread(
            name,
            row.text("parameter"),
            row.text("element"),
            float(row.get("times", (int, float), "a factor: 1.4", 1.0)),
            float(row.get("add", (int, float), "a number in SI units", 0.0)),
        )
        if bool(spread.parameter) == bool(spread.element):
            row.wrong(None, f"spread {name} needs either parameter or element.")
        row.finish()
        found.append(spread)
    return tuple(found)


def _beside(file: Path) -> str:
    """Return the text of the netlist beside a ``.toml`` file."""
    try:
        return read_text(file)
    except ValueError as error:
        raise UserError(Problem(f"the file {error}.", Where(file))) from None
