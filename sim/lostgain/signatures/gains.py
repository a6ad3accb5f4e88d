"""Stage gains from levels: how the bench reads a chain."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from lostgain.circuit import Circuit
from lostgain.signatures.predict import State
from lostgain.unit.branches import OUT, sources

#: Below this [V rms] a level is nothing, and a gain from it means nothing.
NOTHING = 0.5e-3


@dataclass(frozen=True)
class StageGain:
    """A stage between the last test point before it and the last one in it.

    Parameters
    ----------
    stage : str
        Names of all stages between them.
    first, last : str
        Test points the gain is taken between.
    gain : tuple of float
        As a ratio, one for each frequency; NaN where nothing comes in.
    """

    stage: str
    first: str
    last: str
    gain: tuple[float, ...]


def stage_gains(circuit: Circuit, state: State) -> tuple[StageGain, ...]:
    """Return the gain of each stage that has a test point at its output, or else in it, in signal order.

    A stage without a test point counts with the next one that has one.

    Parameters
    ----------
    circuit : Circuit
    state : State
    """
    points = list(circuit.points)
    by_node = {node: name for name, node in reversed(list(circuit.points.items()))}
    inside: dict[str, str] = {}
    for point in circuit.unit.points:  # the last one in signal order stays
        inside[point.stage] = point.name
    start = by_node.get("in", points[0] if points else "")
    came_from = sources(circuit.unit.stages)
    #: What each stage hands on: the last test point so far, and the stages since.
    handed: dict[str, tuple[str, list[str]]] = {}
    gains: list[StageGain] = []
    for stage, node in circuit.stage_ends.items():
        source, port = came_from[stage]
        first, ahead = handed.get(source, (start, []))
        if port not in ("", OUT):  # it goes on from another output of that stage
            tap = circuit.stage_ports.get(f"{source}/{port}", "")
            first, ahead = (by_node[tap], []) if tap in by_node else (first, ahead)
        between = [*ahead, stage]
        last = by_node.get(node) or inside.get(stage)
        if last is None or points.index(last) <= points.index(first):
            handed[stage] = (first, between)
            continue
        before, after = state.level[points.index(first)], state.level[points.index(last)]
        ratio = np.where(before > NOTHING, after / np.maximum(before, 1e-12), np.nan)
        gains.append(StageGain(", ".join(between), first, last, tuple(float(value) for value in ratio)))
        handed[stage] = (last, [])
    return tuple(gains)
