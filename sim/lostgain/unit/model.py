"""The description of a unit, read and checked: plain records, nothing computed.

SI units throughout: volts, ohms, farads, henries, watts, hertz, seconds, unless a name says otherwise.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field
from pathlib import Path

from lostgain.problems import Problem, Where
from lostgain.unit.setup_model import Setup


@dataclass(frozen=True)
class Part:
    """What you can unsolder.

    Parameters
    ----------
    designator : str
        As printed on the schematic, upper case: ``R14``, ``U2A``.
    kind : str
        A key of ``unit/kinds.toml``: ``resistor``, ``electrolytic``, ``npn``, ``opamp`` and so on.
    value : float or None
        Nominal value [ohm, F, H, or A for a fuse]; None for devices without one.
    tolerance : (float, float)
        Lowest and highest deviation as fractions: ``(-0.2, 0.2)``.
    rating : float or None
        Rated voltage [V] of a capacitor, or power [W] of a resistor.
    device : str or None
        Device class of a semiconductor or op-amp: a name in ``circuits/models``.
    taper : str or None
        A name of ``unit/tapers.toml`` for a potentiometer: ``linear``, ``audio``, ``reverse``.
    stage : str
        Name of the stage the part belongs to; a rail's parts belong to the stage ``supply``.
    role : str
        The role it fills in a library stage; in a netlist, the element's own name.
    does : str
        What the part is there for, one clause from the library's facts, or from the unit file for a netlist's; may be
        empty.
    pins : tuple of str
        Names of its pins in netlist order.
    where : Where
        File and line of its description.
    """

    designator: str
    kind: str
    value: float | None = None
    tolerance: tuple[float, float] = (0.0, 0.0)
    rating: float | None = None
    device: str | None = None
    taper: str | None = None
    stage: str = ""
    role: str = ""
    does: str = ""
    pins: tuple[str, ...] = ()
    where: Where = Where()


@dataclass(frozen=True)
class Stage:
    """A subcircuit in the signal path.

    Parameters
    ----------
    name : str
        As the technician calls it.
    source : str
        ``library``, ``netlist`` (a subcircuit in the unit's folder), ``boundary`` (a set of parts of the unit's
        own netlist) or ``stand-in`` (not transcribed: a gain and a DC level only).
    library : str
        Name of the library stage, for ``library``.
    netlist : Path or None
        The file, for ``netlist``.
    subckt : str
        The subcircuit's name in that file.
    ports : tuple of str
        For ``netlist``: what each node of the subcircuit is connected to: ``in``, ``out``, ``0`` or a rail's name.
    rails : mapping
        For ``library``: the subcircuit's rail ports to the unit's rail names, ``{"vp": "VP"}``.
    gain, dc : float
        For ``stand-in``: voltage gain (negative where it inverts) and DC level at its output [V].
    takes_from : str
        Where its signal comes from: ``STAGE``, or ``STAGE/PORT`` for another output of that stage; empty for the
        stage before it.
    output : str
        The node at the stage's output: for ``boundary``, a node of the unit's netlist.
    heats : tuple of str
        Of a supply stage that feeds heaters, the valves it heats; empty for all of the unit.
    purpose : str
        What a stage of a netlist is for, in the unit file's words; may be empty. The library's facts say it of its own.
    """

    name: str
    source: str
    library: str = ""
    netlist: Path | None = None
    subckt: str = ""
    ports: tuple[str, ...] = ()
    rails: Mapping[str, str] = field(default_factory=dict)
    gain: float = 1.0
    dc: float = 0.0
    takes_from: str = ""
    output: str = ""
    heats: tuple[str, ...] = ()
    where: Where = Where()
    purpose: str = ""


@dataclass(frozen=True)
class Printed:
    """A level or DC voltage printed on the schematic or in its service notes.

    Parameters
    ----------
    quantity : str
        ``dc`` or ``level``.
    value : float
        [V], rms for a level.
    text : str
        As the user wrote it.
    where : Where
    """

    quantity: str
    value: float
    text: str
    where: Where = Where()


@dataclass(frozen=True)
class TestPoint:
    """A place a probe can reach.

    Parameters
    ----------
    name : str
        As found on the board: ``U2 pin 7``. In channel designators of the first channel.
    node : str
        ``in`` (the unit's input), a node of the unit's netlist, or ``STAGE/NODE`` with a stage's name and a node of
        its subcircuit (a port or an inner node).
    stage : str
        The stage whose circuit the point lies in.
    minutes : float
        Time to reach and read it [min].
    reach : bool
        Whether a probe can get there with the unit as it stands.
    printed : tuple of Printed
    about : str
        What is seen there in a healthy unit, in the unit file's words; may be empty.
    """

    __test__ = False  # the name is the trade's; this is no pytest class

    name: str
    node: str
    stage: str = ""
    minutes: float = 1.0
    reach: bool = True
    printed: tuple[Printed, ...] = ()
    where: Where = Where()
    about: str = ""


@dataclass(frozen=True)
class Channel:
    """One of several signal paths meant to be identical.

    Parameters
    ----------
    name : str
    designators : mapping
        Designator in the first channel to designator in this one.
    """

    name: str
    designators: Mapping[str, str] = field(default_factory=dict)

    def called(self, designator: str) -> str:
        """Return what this channel's board calls a part of the first channel."""
        return self.designators.get(designator, designator)


@dataclass(frozen=True)
class Rail:
    """A supply line, shared by all channels.

    Parameters
    ----------
    name : str
    volts : float
        Nominal voltage against ground [V], with sign.
    resistance : float
        Source resistance [ohm].
    tolerance : (float, float)
        Spread of the voltage as fractions.
    fuse : str
        Designator of the fuse in this rail, or empty.
    fed_by : str
        The supply stage that delivers it; empty where the supply is not described.
    """

    name: str
    volts: float
    resistance: float = 0.1
    tolerance: tuple[float, float] = (-0.03, 0.03)
    fuse: str = ""
    where: Where = Where()
    fed_by: str = ""


@dataclass(frozen=True)
class Mains:
    """What comes out of the wall.

    Parameters
    ----------
    volts : float
        [V rms]
    frequency : float
        [Hz]
    fuse : str
        Designator of the fuse that all supply stages hang behind, or empty. Not shown: the circuit has it.
    """

    volts: float
    frequency: float
    fuse: str = field(default="", repr=False)


@dataclass(frozen=True)
class Reservoir:
    """A capacitor that stays charged after switch-off.

    Parameters
    ----------
    designator : str
    capacitance : float
        [F]
    volts : float
        [V]
    bleeder : float or None
        Resistance across it [ohm]; None where there is none.
    """

    designator: str
    capacitance: float
    volts: float
    bleeder: float | None = None
    where: Where = Where()


@dataclass(frozen=True)
class Unit:
    """The equipment under repair.

    Parameters
    ----------
    name : str
        Short name: the folder's.
    title : str
    about : str
    invented : bool
        True for examples that describe no real equipment.
    folder : Path
    file : Path
        The unit file.
    netlist : Path or None
        The unit's own netlist, where it is described by one.
    input, output : str
        Nodes of that netlist that the generator drives and the load hangs on; for a chain ``in`` and ``out``.
    stages : tuple of Stage
        In signal order.
    parts : mapping
        Designator (of the first channel) to Part.
    points : tuple of TestPoint
        In signal order.
    channels : tuple of Channel
    rails, reservoirs : tuple
    supplies : tuple of Stage
        The supply stages, from the mains on; they serve all channels.
    feed : Mains or None
        The mains, where supply stages are described.
    setup : Setup
    mains, isolated, bridged, output_stage : bool
        Facts for the cautions: fed from the mains; its circuit isolated from the mains by a transformer; outputs
        bridged, so that neither terminal is ground; has an output stage that can put DC on a loudspeaker.
    cautions : tuple of str
        Further cautions in the technician's own words.
    left_out : tuple of str
        Elements of its netlists that are no parts, such as a subcircuit nobody named in ``parts``: they are simulated,
        and never suspected.
    doubts : tuple of Problem
        What can be, and is hardly meant: a resistor's designator on a capacitor, a capacitor of 47 F.
    """

    name: str
    title: str
    folder: Path
    file: Path
    stages: tuple[Stage, ...]
    parts: Mapping[str, Part]
    points: tuple[TestPoint, ...]
    channels: tuple[Channel, ...]
    setup: Setup
    about: str = ""
    invented: bool = False
    netlist: Path | None = None
    input: str = "in"
    output: str = "out"
    rails: tuple[Rail, ...] = ()
    reservoirs: tuple[Reservoir, ...] = ()
    supplies: tuple[Stage, ...] = ()
    feed: Mains | None = None
    mains: bool = False
    isolated: bool = True
    bridged: bool = False
    output_stage: bool = False
    cautions: tuple[str, ...] = ()
    left_out: tuple[str, ...] = ()
    doubts: tuple[Problem, ...] = ()

    def point(self, name: str) -> TestPoint:
        """Return the test point of that name.

        Raises
        ------
        KeyError
            If there is none.
        """
        for point in self.points:
            if point.name == name:
                return point
        raise KeyError(name)
