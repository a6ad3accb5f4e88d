"""What readings cannot tell: look-alikes at every point in reach, and faults that leave no mark."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.common import common_allowance
from lostgain.diagnosis.features import DC, RIPPLE, Feature
from lostgain.diagnosis.groups import ALIKE, overlap
from lostgain.diagnosis.hypotheses import Hypotheses, hypotheses
from lostgain.diagnosis.model import Suspect, Verdict
from lostgain.readings.model import Instrument
from lostgain.signatures import Table

Values = NDArray[np.float64]

#: A fault is said to leave no mark where its predictions overlap the healthy unit's this much.
UNMARKED = 0.8


@dataclass(frozen=True)
class Limits:
    """What no level or DC reading at the points in reach can tell.

    Parameters
    ----------
    inseparable : tuple of tuple of str
        Suspects of one ambiguity group that stay look-alikes whatever is read there: ``("R4 drift", "R3 drift")``.
    unmarked : tuple of str
        Faults that leave no mark there at all, whatever was read.
    """

    inseparable: tuple[tuple[str, ...], ...]
    unmarked: tuple[str, ...]


def limits(table: Table, verdict: Verdict, instrument: Instrument, most: int = 24) -> Limits:
    """Return what no level or DC reading at the points in reach could tell.

    Parameters
    ----------
    table : Table
    verdict : Verdict
        Only its leading suspects are compared with each other.
    instrument : Instrument
        The one all those readings would be taken with.
    most : int
        How many suspects to compare.
    """
    features = all_in_reach(table, instrument)
    found = hypotheses(table, features)
    noise = _noise(table, features, instrument)
    marks = _unmarked(found, noise)
    groups: dict[int, list[Suspect]] = {}
    for suspect in verdict.suspects[:most]:
        if suspect.group:
            groups.setdefault(suspect.group, []).append(suspect)
    together = [_inseparable(members, found, noise) for members in groups.values() if len(members) > 1]
    return Limits(tuple(names for each in together for names in each), marks)


def all_in_reach(table: Table, instrument: Instrument) -> list[Feature]:
    """Return every level, DC and ripple that can be read at a point in reach."""
    reach = {point.name for point in table.circuit.unit.points if point.reach}
    features = []
    for number, name in enumerate(table.points):
        if name in reach:
            features.append(Feature(number, DC))
            features += [Feature(number, RIPPLE)] if "ripple" in table.data else []
            features += [Feature(number, index, False, instrument.floor_level) for index in range(len(table.drives))]
    return features


def _noise(table: Table, features: list[Feature], instrument: Instrument) -> Values:
    """Instrument errors and allowances, the same under every hypothesis: array, (feature, feature)."""
    del instrument  # its own errors are small beside what is allowed for models
    channel = table.circuit.unit.channels[0].name
    return common_allowance(table, [(channel, feature) for feature in features]).always + 0.1**2 * np.eye(len(features))


def _unmarked(found: Hypotheses, noise: Values) -> tuple[str, ...]:
    names = []
    healthy = found.mean[0], found.cov(np.zeros(1, dtype=int))[0] + noise
    for number, fault in enumerate(found.suspects):
        ends = np.flatnonzero(found.fault == number)[[0, -1]]
        spread = found.cov(ends) + noise
        alike = [overlap(*healthy, found.mean[index], each) for index, each in zip(ends, spread, strict=True)]
        if min(alike) >= UNMARKED:
            names.append(f"{fault.part} {fault.mode}")
    return tuple(names)


def _inseparable(members: Sequence[Suspect], found: Hypotheses, noise: Values) -> list[tuple[str, ...]]:
    """Split a group by all readings there could be; return what stays together."""
    place = np.array([_nearest(suspect, found) for suspect in members])
    mean, spread = found.mean[place], found.cov(place) + noise
    kept: list[list[int]] = []
    for number in range(len(members)):
        for group in kept:
            first = group[0]
            if overlap(mean[first], spread[first], mean[number], spread[number]) >= ALIKE:
                group.append(number)
                break
        else:
            kept.append([number])
    return [tuple(f"{members[n].part} {members[n].mode}" for n in group) for group in kept if len(group) > 1]


def _nearest(suspect: Suspect, found: Hypotheses) -> int:
    """Return the hypothesis of a suspect whose severity is nearest its median."""
    number = next(
        index
        for index, fault in enumerate(found.suspects)
        if fault.part == suspect.fault.part and fault.mode == suspect.mode
    )
    mine = np.flatnonzero(found.fault == number)
    if suspect.severity is None:
        return int(mine[0])
    return int(mine[np.argmin(np.abs(np.log(found.severity[mine] / suspect.severity)))])
