"""The library's stages and device classes: the facts of ``circuits/stages/*.toml`` and ``circuits/models/*.toml``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from pathlib import Path
from typing import Any

from lostgain import shipped
from lostgain.problems import Problem, UserError, Where, nearest
from lostgain.unit.kinds import families, kinds
from lostgain.unit.names import read_text
from lostgain.unit.source import Source, Table


@dataclass(frozen=True)
class Role:
    """What a part does in a library stage.

    Parameters
    ----------
    name : str
        ``RF``
    kind : str
        The kind or family of part that may fill it.
    does : str
        What it is there for, one clause.
    absent : str
        What stands in when it is not fitted: ``short`` or ``open``; empty where the role is required.
    element : str
        Name of its element in the netlist.
    value : float, str or None
        Value in SI units, or device class, of a part given without one.
    """

    name: str
    kind: str
    does: str = ""
    absent: str = ""
    element: str = ""
    value: float | str | None = None


@dataclass(frozen=True)
class StageFacts:
    """A library stage.

    Parameters
    ----------
    name, title, purpose, gain : str
        `gain` is a formula for people.
    ports : tuple of str
        In the order of the ``.subckt`` line.
    rails : mapping
        Rail port to ``positive`` or ``negative``.
    roles : mapping
        Name to Role.
    nodes : mapping
        Nodes worth probing to what is seen there.
    netlist : str
        The text of the ``.cir`` file.
    file : Path
        The ``.toml`` file.
    """

    name: str
    title: str
    purpose: str
    gain: str
    ports: tuple[str, ...]
    rails: Mapping[str, str]
    roles: Mapping[str, Role]
    nodes: Mapping[str, str]
    netlist: str
    file: Path


@dataclass(frozen=True)
class Spread:
    """What differs from device to device.

    Parameters
    ----------
    name : str
    parameter : str
        A parameter of the ``.model`` line, or empty.
    element : str
        An element inside the subcircuit whose value differs, or empty.
    times : float
        The value is multiplied by exp(z ln `times`), z standard normal; 1 for none.
    add : float
        z times this is added [SI].
    """

    name: str
    parameter: str = ""
    element: str = ""
    times: float = 1.0
    add: float = 0.0


@dataclass(frozen=True)
class DeviceFacts:
    """A device class.

    Parameters
    ----------
    name, title, stands_for, kind, source : str
        `kind` is a key of ``kinds.toml``.
    subckt : bool
        True where the text is a subcircuit, False for one ``.model`` line.
    pins : tuple of str
        In netlist order.
    spreads : tuple of Spread
    facts : mapping
        What the model is made to [SI units].
    faults : mapping
        Failure mode to what it changes inside the model.
    netlist : str
        The text of the ``.lib`` file.
    file : Path
        The ``.toml`` file.
    """

    name: str
    title: str
    stands_for: str
    kind: str
    source: str
    subckt: bool
    pins: tuple[str, ...]
    spreads: tuple[Spread, ...]
    facts: Mapping[str, float] = field(default_factory=dict)
    faults: Mapping[str, Mapping[str, Any]] = field(default_factory=dict)
    netlist: str = ""
    file: Path = Path()


def stage_names() -> tuple[str, ...]:
    """Return the names of the library's stages, without reading them."""
    return _names("stages")


def device_names() -> tuple[str, ...]:
    """Return the names of the device classes, without reading them."""
    return _names("models")


@cache
def _names(folder: str) -> tuple[str, ...]:
    return tuple(sorted(file.stem for file in (shipped.folder() / folder).glob("*.toml")))


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
    facts = StageFacts(
        name=file.stem,
        title=top.text("title", required='"Coupling network"'),
        purpose=top.text("purpose", required='"Passes the signal and blocks DC."'),
        gain=top.text("gain"),
        ports=tuple(top.names("ports", 'a list of nodes: ["in", "out", "vp"]')),
        rails=_rails(top),
        roles=_roles(top),
        nodes=_nodes(top),
        netlist=_beside(file.with_suffix(".cir")),
        file=file,
    )
    for port in facts.rails:
        if port not in facts.ports:
            source.wrong(("rails", port), f"rail port “{port}” is not in ports.", nearest(port, facts.ports))
    top.finish()
    source.settle()
    return facts


def _rails(top: Table) -> dict[str, str]:
    rails = top.table("rails", "[rails]")
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
        roles[name] = Role(name, kind, row.text("does"), absent, element, float(value) if isinstance(value, int) else value)
        row.finish()
    return roles


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
        facts={key: float(value) for key, value in top.table("facts", "[facts]").data.items()},
        faults=dict(top.table("faults", "[faults]").data),
        netlist=_beside(file.with_suffix(".lib")),
        file=file,
    )
    if facts.kind and facts.kind not in kinds():
        source.wrong(("kind",), f"“{facts.kind}” is no kind of part.", nearest(facts.kind, kinds()))
    top.finish()
    source.settle()
    return facts


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
