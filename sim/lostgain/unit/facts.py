"""The records of the library: a stage and its roles, a device class and its spreads."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path
from typing import Any


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
class Cluster:
    """Parts of a stage that fail together, as one fault.

    Parameters
    ----------
    name : str
        The fault's mode: ``output-pair-shorted``.
    says : str
        What has happened, for people.
    members : tuple of str
        ``ROLE MODE``, with ``*`` for any letters in a role; ``FUSES MODE`` for the fuses of the stage's rails.
    """

    name: str
    says: str
    members: tuple[str, ...]


@dataclass(frozen=True)
class Unloaded:
    """What it means for a stage to run with nothing on its output.

    Parameters
    ----------
    allowed : bool
        True where it asks for a caution only; False where no set-up may leave the output open.
    says : str
        What happens then, one clause.
    """

    allowed: bool
    says: str


@dataclass(frozen=True)
class Shown:
    """One thing that a stage's worked example shows.

    Parameters
    ----------
    quantity : str
        ``gain``, ``dc``, ``lower corner``, ``upper corner``, ``phase``, ``distortion`` or ``swing``.
    at, against : str
        Nodes of the stage; the gain is that from `against` to `at`.
    frequency : str
        As written: ``1 kHz``; empty for the set-up's first.
    value, within, at_most, at_least : str
        As written: ``20.8 dB`` within ``0.2 dB``; or a bound.
    says : str
        Where the value comes from: a formula, a table.
    """

    quantity: str
    at: str = "out"
    against: str = "in"
    frequency: str = ""
    value: str = ""
    within: str = ""
    at_most: str = ""
    at_least: str = ""
    says: str = ""


@dataclass(frozen=True)
class Example:
    """A worked example of a stage, written as in a unit file.

    Parameters
    ----------
    says, source : str
        What it is, and where its values and results are from.
    parts : mapping
        Role to the part's text: ``R1 22k 1%``.
    rails : mapping
        Rail port to its voltage: ``+15 V``.
    setup : mapping
        The keys of a unit file's ``[setup]``.
    shows : tuple of Shown
    """

    says: str
    source: str
    parts: Mapping[str, str]
    rails: Mapping[str, Any]
    setup: Mapping[str, Any]
    shows: tuple[Shown, ...]


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
    clusters : tuple of Cluster
    netlist : str
        The text of the ``.cir`` file.
    file : Path
        The ``.toml`` file.
    outputs : tuple of str
        Ports beside ``out`` that give a signal, which another stage may take or a load may hang on.
    inputs : mapping
        Ports beside ``in`` that take a signal, each to the port of the stage before that gives it: ``{"in2": "out2"}``.
    delivers : mapping
        Of a supply stage, the ports that deliver a rail to ``positive`` or ``negative``; empty for all other stages.
    rectifies : tuple of str
        Which of these have a reservoir that is charged from the mains; its input then is the mains.
    heats : str
        Of a supply stage, the role that stands for the valves' heaters, which it feeds; empty for all others.
    cold : str
        Which of these the cold end of the load hangs on; empty where that is ground.
    unloaded : Unloaded or None
        What an open output means, where it matters.
    example : Example or None
        A worked example.
    """

    name: str
    title: str
    purpose: str
    gain: str
    ports: tuple[str, ...]
    rails: Mapping[str, str]
    roles: Mapping[str, Role]
    nodes: Mapping[str, str]
    clusters: tuple[Cluster, ...]
    netlist: str
    file: Path
    outputs: tuple[str, ...] = ()
    inputs: Mapping[str, str] = field(default_factory=dict)
    delivers: Mapping[str, str] = field(default_factory=dict)
    rectifies: tuple[str, ...] = ()
    heats: str = ""
    cold: str = ""
    unloaded: Unloaded | None = None
    example: Example | None = None

    @property
    def supplies(self) -> bool:
        """Whether it is a supply stage: it delivers a rail or feeds heaters, and passes no signal."""
        return bool(self.delivers or self.heats)

    @property
    def from_mains(self) -> bool:
        """Whether the mains is at its input, and no rail."""
        return bool(self.rectifies or (self.heats and not self.delivers))


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
