"""A unit explained, as data for another program."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from lostgain.teach.explain import ExplainedPart, ExplainedStage


def explain_record(stages: Sequence[ExplainedStage], frequencies: Sequence[float]) -> dict[str, Any]:
    """Return a unit explained as a dictionary for JSON.

    Returns
    -------
    dict
        ``frequencies`` [Hz] and ``stages``, each with ``name``, ``purpose``, ``gain`` (formula), ``points`` (``name``,
        ``level`` [V rms] at each frequency, ``dc`` [V]) and ``parts`` (``part``, ``value``, ``does``, ``failures``).
    """
    return {
        "frequencies": list(frequencies),
        "stages": [
            {
                "name": each.name,
                "purpose": each.purpose,
                "gain": each.formula,
                "points": [
                    {"name": one.point.name, "level": [_number(level.nominal) for level in one.levels],
                     "dc": _number(one.dc.nominal)}
                    for one in each.points
                ],
                "parts": [_part(one) for one in each.parts],
            }
            for each in stages
        ],
    }  # fmt: skip


def _part(part: ExplainedPart) -> dict[str, Any]:
    failures = [{"fault": each.fault.label, "says": each.says, "sees": list(each.sees), "telling": each.telling}
                for each in part.failures]  # fmt: skip
    return {"part": part.part.designator, "value": part.value, "does": part.does, "failures": failures}


def _number(value: float) -> float | None:
    return value if math.isfinite(value) else None
