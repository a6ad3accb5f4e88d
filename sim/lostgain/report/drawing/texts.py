"""What stands beside the symbols of a stage's drawing."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from lostgain.quantities import show
from lostgain.unit.channels import called
from lostgain.unit.library import stage as stage_facts
from lostgain.unit.model import Part
from lostgain.unit.placed_stage import PlacedStage
from lostgain.unit.summary import value_shown


@dataclass(frozen=True)
class Texts:
    """What a drawing says.

    Parameters
    ----------
    title : str
    below : tuple of str
        Lines under the title.
    roles : mapping
        Role to lines; a role that is missing is not fitted.
    rails, ports, nodes : mapping
        Name to what is written there; a node that is missing is not marked.
    """

    title: str
    below: tuple[str, ...]
    roles: Mapping[str, tuple[str, ...]]
    rails: Mapping[str, str]
    ports: Mapping[str, str]
    nodes: Mapping[str, str] = field(default_factory=dict)


def library_texts(name: str) -> Texts:
    """Return what is written on a library stage's drawing: roles, rails, ports and nodes by their names."""
    facts = stage_facts(name)
    return Texts(
        facts.title,
        (facts.purpose, f"Gain: {facts.gain}") if facts.gain else (facts.purpose,),
        {role: (role,) for role in facts.roles},
        {rail: rail for rail in facts.rails},
        {port: port for port in facts.ports},
        {node: node for node in facts.nodes if node not in facts.ports},
    )


def unit_texts(placed: PlacedStage) -> Texts:
    """Return what is written on the drawing of a unit's stage: designators, values and test points of one channel."""
    unit, stage, channel = placed.unit, placed.stage, placed.channel
    facts = stage_facts(stage.library)
    named = {node: called(channel, point.name) for node, point in placed.points.items()}
    named |= {node: f"{named[node]}\n(out of reach)" for node, point in placed.points.items() if not point.reach}
    which = f", {channel.name}" if len(unit.channels) > 1 else ""
    volts = {rail.name: f" {show(rail.volts, 'V').replace('-', '−')}" for rail in unit.rails}
    return Texts(
        f"{stage.name}{which}",
        (f"{unit.title}: {facts.title[0].lower()}{facts.title[1:]}",),
        {role: (channel.called(part.designator), *_value(part)) for role, part in placed.parts.items()},
        {port: rail + volts[rail] if rail in volts else "ground" for port, rail in stage.rails.items()},
        {port: f"{port}\n{named[port]}" if port in named else port for port in facts.ports},
        {node: name for node, name in named.items() if node not in facts.ports},
    )


def _value(part: Part) -> tuple[str, ...]:
    """Return a part's value; a device class is left to the list of parts, there is no room for it."""
    return (value_shown(part),) if part.value is not None else ()
