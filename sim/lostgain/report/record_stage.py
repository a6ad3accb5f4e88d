"""A stage of the library as a plain record for other programs."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from lostgain.unit.channels import called
from lostgain.unit.facts import StageFacts
from lostgain.unit.placed_stage import PlacedStage


def stage_record(facts: StageFacts, placed: PlacedStage | None = None) -> dict[str, Any]:
    """Return a stage as one JSON object.

    Parameters
    ----------
    facts : StageFacts
    placed : PlacedStage or None
        A unit's use of it.

    Returns
    -------
    dict
        ``name``, ``title``, ``purpose``, ``gain``, ``ports``, ``rails``, ``roles`` (each with ``role``, ``kind``,
        ``does``, ``absent``), ``nodes`` (name to what is seen there), ``clusters``, ``example`` (or None); with
        `placed` also ``unit``, ``stage``, ``channel``, ``parts`` (role to ``part``, ``value`` in SI units,
        ``device``) and ``points`` (node to ``test_point`` and ``reach``).
    """
    record: dict[str, Any] = {
        "name": facts.name,
        "title": facts.title,
        "purpose": facts.purpose,
        "gain": facts.gain,
        "ports": list(facts.ports),
        "rails": dict(facts.rails),
        "roles": [{"role": role.name, "kind": role.kind, "does": role.does, "absent": role.absent}
                  for role in facts.roles.values()],
        "nodes": dict(facts.nodes),
        "clusters": [{"name": each.name, "says": each.says, "members": list(each.members)} for each in facts.clusters],
        "example": asdict(facts.example) if facts.example else None,
    }  # fmt: skip
    if placed is None:
        return record
    return record | {
        "unit": placed.unit.name,
        "stage": placed.stage.name,
        "channel": placed.channel.name,
        "parts": {
            role: {"part": placed.channel.called(part.designator), "value": part.value, "device": part.device}
            for role, part in placed.parts.items()
        },
        "points": {
            node: {"test_point": called(placed.channel, point.name), "reach": point.reach}
            for node, point in placed.points.items()
        },
    }
