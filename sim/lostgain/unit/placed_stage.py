"""A library stage as a unit uses it: which of the unit's stages is meant, its parts, and what its nodes are called."""

from __future__ import annotations

from dataclasses import dataclass

from lostgain.problems import Problem, UserError, nearest
from lostgain.unit.library import stage_names
from lostgain.unit.model import Channel, Part, Stage, TestPoint, Unit


@dataclass(frozen=True)
class PlacedStage:
    """One use of a library stage in a unit, with the names of one channel.

    Parameters
    ----------
    unit : Unit
    stage : Stage
    channel : Channel
    """

    unit: Unit
    stage: Stage
    channel: Channel

    @property
    def parts(self) -> dict[str, Part]:
        """Role to part."""
        return {part.role: part for part in self.unit.parts.values() if part.stage == self.stage.name}

    @property
    def points(self) -> dict[str, TestPoint]:
        """Node of the stage to the test point there."""
        start = f"{self.stage.name}/"
        return {point.node.removeprefix(start): point for point in self.unit.points if point.node.startswith(start)}


def placed_stage(unit: Unit, name: str, channel: str = "") -> PlacedStage:
    """Return the stage of a unit that is meant by a name: the unit's own, or that of the library stage it uses.

    Parameters
    ----------
    unit : Unit
    name : str
    channel : str
        The unit's first if empty.

    Raises
    ------
    UserError
        If the unit has no such stage, or several that use the library's, or no such channel.
    """
    library = [stage for stage in unit.stages if stage.source == "library"]
    found = [stage for stage in library if stage.name.lower() == name.lower()]
    found = found or [stage for stage in library if stage.library == name]
    if not found:
        known = [*(stage.name for stage in library), *(stage.library for stage in library)]
        there = "does not use the library stage" if name in stage_names() else "has no stage of the library called"
        raise UserError(Problem(f"{unit.name} {there} “{name}”.", meant=nearest(name, known)))
    if len(found) > 1:
        several = ", ".join(f"“{stage.name}”" for stage in found)
        raise UserError(Problem(f"{unit.name} uses {name} several times.", meant=f"Name one of {several}."))
    names = [each.name for each in unit.channels]
    meant = [each for each in unit.channels if each.name.lower() == (channel or names[0]).lower()]
    if not meant:
        raise UserError(Problem(f"{unit.name} has no channel “{channel}”.", meant=nearest(channel, names)))
    return PlacedStage(unit, found[0], meant[0])
