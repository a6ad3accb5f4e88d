"""What a unit holds, as plain records for ``lostgain check`` and the page; nothing is simulated."""

from __future__ import annotations

from dataclasses import dataclass

from lostgain import quantities
from lostgain.unit import library
from lostgain.unit.channels import called
from lostgain.unit.kinds import kinds
from lostgain.unit.model import Part, Stage, TestPoint, Unit
from lostgain.unit.rails import SUPPLY

_SHOWN_UNITS = {"ampere": "A", "volt": "V"}


@dataclass(frozen=True)
class PartLine:
    """A part in words.

    Parameters
    ----------
    designator, kind : str
    value : str
        ``22 kΩ``; the device class of a semiconductor; empty where there is none.
    tolerance : str
        ``±5 %``, ``-20/+50 %``; empty for a part without.
    does : str
    """

    designator: str
    kind: str
    value: str
    tolerance: str
    does: str


@dataclass(frozen=True)
class StageLine:
    """A stage in words.

    Parameters
    ----------
    name : str
    what : str
        ``Non-inverting op-amp gain stage``, ``from receiver.cir``, ``stand-in: not transcribed``.
    purpose : str
        Empty for a stage that is not from the library.
    parts : tuple of PartLine
    """

    name: str
    what: str
    purpose: str
    parts: tuple[PartLine, ...]


@dataclass(frozen=True)
class PointLine:
    """A test point in words.

    Parameters
    ----------
    names : tuple of str
        What it is called in each channel.
    stage : str
    minutes : float
        [min]
    reach : bool
    printed : tuple of str
        ``level 310 mV rms``, as the user wrote it.
    """

    names: tuple[str, ...]
    stage: str
    minutes: float
    reach: bool
    printed: tuple[str, ...]


@dataclass(frozen=True)
class Summary:
    """What a unit holds.

    Parameters
    ----------
    title, about : str
    invented : bool
    channels : tuple of str
    stages : tuple of StageLine
        In signal order, then the supply where there is one.
    points : tuple of PointLine
        In signal order.
    part_count : int
        Parts of one channel, with rails and fuses.
    minutes : float
        Time to read every point in reach once, in all channels [min].
    left_out : tuple of str
        Elements of netlists that are simulated and never suspected.
    """

    title: str
    about: str
    invented: bool
    channels: tuple[str, ...]
    stages: tuple[StageLine, ...]
    points: tuple[PointLine, ...]
    part_count: int
    minutes: float
    left_out: tuple[str, ...]


def summary(unit: Unit) -> Summary:
    """Return what a unit holds."""
    stages = [_stage(stage, unit) for stage in unit.stages]
    stages += [_stage(stage, unit) for stage in unit.supplies]
    if supply := _parts(SUPPLY, unit):
        stages.append(StageLine(SUPPLY, "rails and their fuses", "Feeds every channel.", supply))
    return Summary(
        title=unit.title,
        about=unit.about,
        invented=unit.invented,
        channels=tuple(channel.name for channel in unit.channels),
        stages=tuple(stages),
        points=tuple(_point(point, unit) for point in unit.points),
        part_count=len(unit.parts),
        minutes=sum(point.minutes for point in unit.points if point.reach) * len(unit.channels),
        left_out=unit.left_out,
    )


def _stage(stage: Stage, unit: Unit) -> StageLine:
    purpose = ""
    if stage.source == "library":
        facts = library.stage(stage.library)
        what, purpose = facts.title, facts.purpose
    elif stage.source == "stand-in":
        what = f"stand-in, not transcribed: gain {stage.gain:.3g}, {quantities.show(stage.dc, 'V')} DC"
    elif stage.source == "netlist" and stage.netlist:
        what = f"subcircuit {stage.subckt} of {stage.netlist.name}"
    else:
        what = f"part of {unit.netlist.name if unit.netlist else 'the netlist'}, up to node {stage.output}"
    return StageLine(stage.name, what, purpose, _parts(stage.name, unit))


def _parts(stage: str, unit: Unit) -> tuple[PartLine, ...]:
    return tuple(
        PartLine(part.designator, part.kind, value_shown(part), tolerance_shown(part), part.does)
        for part in unit.parts.values()
        if part.stage == stage
    )


def value_shown(part: Part) -> str:
    """Return a part's value as the trade writes it, or its device class; empty where it has neither."""
    unit = kinds()[part.kind].unit
    if part.value is None or not unit:
        return part.device or ""
    return quantities.show(part.value, _SHOWN_UNITS.get(unit, unit))


def tolerance_shown(part: Part) -> str:
    """Return ``±5 %`` or ``-20/+50 %``; empty for a part whose value does not vary."""
    low, high = part.tolerance
    if low == high == 0:
        return ""
    if low == -high:
        return f"±{high * 100:.3g} %"
    return f"{low * 100:+.3g}/{high * 100:+.3g} %"


def _point(point: TestPoint, unit: Unit) -> PointLine:
    names = tuple(called(channel, point.name) for channel in unit.channels)
    printed = tuple(f"{value.quantity} {value.text}" for value in point.printed)
    return PointLine(names, point.stage, point.minutes, point.reach, printed)
