"""Where to read instead of a test point that a probe can't reach."""

from __future__ import annotations

import re
from collections.abc import Iterator

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.belief import Belief
from lostgain.diagnosis.candidates import in_reach
from lostgain.diagnosis.next_model import Instead
from lostgain.readings.model import Readings
from lostgain.signatures import Table
from lostgain.unit import called
from lostgain.unit.model import Channel

Values = NDArray[np.float64]

#: Two places read the same if levels differ by no more than this [dB], and DC by no more than this [V] or share …
SAME_DB, SAME_VOLTS, SAME_SHARE = 0.5, 0.05, 0.05
#: … under suspects that hold at least this much of the probability.
MOSTLY = 0.9
#: Places named for one point, at most.
PLACES = 3


def equivalents(table: Table, readings: Readings, belief: Belief, channels: list[str]) -> tuple[Instead, ...]:
    """Return what to read instead of each test point out of reach.

    Another test point or part lead on the same node comes first; then points beyond one part that the leading suspects
    predict nearly the same for.

    Parameters
    ----------
    table : Table
    readings : Readings
        Says what can't be reached, besides the unit file.
    belief : Belief
    channels : list of str
        Where another reading would be taken.
    """
    found: list[Instead] = []
    for channel in table.circuit.unit.channels:
        if channel.name not in channels:
            continue
        for point in table.points:
            if not in_reach(table, readings, point, channel.name):
                found += _for(table, readings, belief, point, channel)
    return tuple(found)


def _for(table: Table, readings: Readings, belief: Belief, point: str, channel: Channel) -> list[Instead]:
    name = called(channel, point)
    node = table.circuit.points[point]
    open_points = [each for each in table.points if each != point and in_reach(table, readings, each, channel.name)]
    same = [each for each in open_points if table.circuit.points[each] == node]
    if same:
        return [Instead(name, channel.name, called(channel, each), True) for each in same[:PLACES]]
    parts = [part for part in _parts_at(table, node) if part not in re.findall(r"[A-Z_]+[0-9]+[A-Z]?", point)]
    leads = [f"the lead of {channel.called(part)} that meets it" for part in parts]
    found = [Instead(name, channel.name, each, True) for each in leads[:PLACES]]
    for part, other in _neighbours(table, node, open_points):
        if _alike(table, belief, point, other):
            place = f"{called(channel, other)}, at the far end of {channel.called(part)}"
            found.append(Instead(name, channel.name, place, False))
    return found


def _parts_at(table: Table, node: str) -> list[str]:
    """Two-legged parts with a leg on a node, whose leads are easier to clip on than a pin."""
    circuit = table.circuit
    return [
        name for name, placed in circuit.parts.items()
        if len(placed.pins) == 2 and any(circuit.node_of(name, pin) == node for pin in placed.pins)
    ]  # fmt: skip


def _neighbours(table: Table, node: str, points: list[str]) -> Iterator[tuple[str, str]]:
    """Yield test points one two-legged part away, with that part."""
    circuit = table.circuit
    for name in _parts_at(table, node):
        ends = {circuit.node_of(name, pin) for pin in circuit.parts[name].pins}
        for point in points:
            if circuit.points[point] in ends - {node}:
                yield name, point


def _alike(table: Table, belief: Belief, point: str, other: str) -> bool:
    """Tell whether two points read nearly the same under the leading suspects, at nominal values."""
    one, two = table.points.index(point), table.points.index(other)
    level, dc = table.values("level")[:, 0], table.values("dc")[:, 0]
    far = np.abs(20 * np.log10((level[:, one] + 1e-3) / (level[:, two] + 1e-3))).max(axis=1) > SAME_DB
    apart = np.abs(dc[:, one] - dc[:, two])
    far |= apart > SAME_VOLTS + SAME_SHARE * np.abs(dc[:, one])
    differs: dict[tuple[str, str], bool] = {("", ""): bool(far[0])}
    for number, fault in enumerate(table.faults, 1):
        key = (fault.part, fault.mode)
        differs[key] = differs.get(key, False) or bool(far[number])
    share = belief.of_suspect() / max(belief.weight.sum(), 1e-300)
    keys = [(each.fault.part, each.fault.mode) if each.fault is not None else ("", "") for each in belief.named]
    return bool(share[np.array([not differs[key] for key in keys])].sum() >= MOSTLY)
