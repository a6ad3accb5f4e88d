"""A route as data for another program."""

from __future__ import annotations

from dataclasses import asdict
from typing import Any

from lostgain.teach.route_model import Leaf, Route, Step


def route_record(route: Route) -> dict[str, Any]:
    """Return a route as a dictionary for JSON.

    Parameters
    ----------
    route : Route

    Returns
    -------
    dict
        ``channel``, ``minutes``, ``walk_minutes``, ``best``, ``start``: a step with ``point``, ``quantity``,
        ``frequency`` [Hz], ``generator`` [V rms] where it is not the set-up's, ``minutes``, ``share`` and ``branches``
        (each with ``shows``, ``share`` and either ``step`` or ``end``).
    """
    return {"channel": route.channel, "minutes": route.minutes, "walk_minutes": route.walk_minutes,
            "best": route.best, "start": _step(route.root)}  # fmt: skip


def _step(step: Step) -> dict[str, Any]:
    branches = [
        {"shows": each.shows, "share": each.share,
         **({"end": _leaf(each.then)} if isinstance(each.then, Leaf) else {"step": _step(each.then)})}
        for each in step.branches
    ]  # fmt: skip
    return {"point": step.point, "quantity": step.quantity, "frequency": step.frequency,
            "generator": step.generator, "minutes": step.minutes,
            "share": step.share, "branches": branches}  # fmt: skip


def _leaf(leaf: Leaf) -> dict[str, Any]:
    found = asdict(leaf)
    found["parts"] = [{"part": name, "share": share} for name, share in leaf.parts]
    return found
