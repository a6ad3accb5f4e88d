"""Two ways a bench works without a computer: stage by stage along the signal, and by halves.

Both judge a reading by the healthy unit's range, as a bench sheet shows it; look for the first stage whose output is
not as it should be; and then read everything in that stage before anything else, the probe moved as little as may be.
"""

from __future__ import annotations

import numpy as np

from benchmarks.follow import State
from lostgain.diagnosis.candidates import Candidate
from lostgain.diagnosis.features import feature_of, predicted, scaled
from lostgain.readings import Reading, instruments
from lostgain.signatures import Table

#: A reading is odd if it lies this many standard deviations from the healthy unit's, and by at least so much.
ODD, LEAST_DB, LEAST_DC = 3.0, 1.0, 0.5


def stage_by_stage(state: State) -> Candidate:
    """Read the level behind each stage in signal order until one is odd, then all in that stage, then the rest."""
    ends = _ends(state.table)
    for frequency in range(len(state.table.frequencies)):
        verdicts = [_odd_at(state, point, frequency) for point in ends]
        for number, odd in enumerate(verdicts):
            if odd is None and (each := _level(state, ends[number], frequency)) is not None:
                return each
            if odd:
                inside = _inside(state, number, ends)
                return inside if inside is not None else state.left[0]
    return _nearest(state)


def by_halves(state: State) -> Candidate:
    """Read the level at the middle of what may hold the fault; when one stage is left, all in it, then the rest."""
    ends = _ends(state.table)
    for frequency in range(len(state.table.frequencies)):
        verdicts = [_odd_at(state, point, frequency) for point in ends]
        bad = next((number for number, odd in enumerate(verdicts) if odd), None)
        last = len(ends) - 1 if bad is None else bad
        good = max((number for number, odd in enumerate(verdicts[: last + 1]) if odd is False), default=-1)
        if bad is None and verdicts[-1] is None and (each := _level(state, ends[-1], frequency)) is not None:
            return each
        if bad is None:
            continue
        middle = [number for number in range(good + 1, bad) if verdicts[number] is None]
        middle = [number for number in middle if _level(state, ends[number], frequency) is not None]
        if middle:
            each = _level(state, ends[middle[(len(middle) - 1) // 2]], frequency)
            assert each is not None
            return each
        inside = _inside(state, bad, ends)
        return inside if inside is not None else _nearest(state)
    return _nearest(state)


def _ends(table: Table) -> list[str]:
    """The test point at the end of each stage, in signal order, where there is one; then the output."""
    nodes = {node: name for name, node in reversed(list(table.circuit.points.items()))}
    return [nodes[node] for node in table.circuit.stage_ends.values() if node in nodes]


def _level(state: State, point: str, frequency: int) -> Candidate | None:
    for each in state.left:
        if each.reading.point == point and each.feature.frequency == frequency:
            return each
    return None


def _inside(state: State, stage: int, ends: list[str]) -> Candidate | None:
    """What is left to read in a stage, its input included; where the probe is first."""
    names = list(state.table.circuit.stage_ends)
    nodes = {node: name for name, node in state.table.circuit.stage_ends.items()}
    owner = nodes[state.table.circuit.points[ends[stage]]]
    points = {point.name for point in state.table.circuit.unit.points if point.stage == owner}
    points |= {ends[stage], *ends[max(0, stage - 1) : stage]}
    if owner == names[0]:
        points.add(state.table.points[0])
    found = [each for each in state.left if each.reading.point in points]
    return min(found, key=_last_at_other_levels) if found else None


def _nearest(state: State) -> Candidate:
    return min(state.left, key=_last_at_other_levels)


def _last_at_other_levels(each: Candidate) -> tuple[bool, float]:
    """Nobody who walks along a signal turns the generator down before all is read as it stands."""
    return each.reading.generator is not None, each.minutes


def _odd_at(state: State, point: str, frequency: int) -> bool | None:
    """Whether the level there is out of the healthy range; None if it was not read."""
    for row in state.readings.rows:
        if row.point == point and row.quantity == "level":
            judged = odd(state.table, row)
            if judged is not None and judged[0] == frequency:
                return judged[1]
    return None


def odd(table: Table, reading: Reading) -> tuple[int, bool] | None:
    """Return a reading's frequency, and whether it is out of the healthy unit's range; None where that is not known."""
    instrument = instruments(table.circuit.unit.folder)[reading.instrument]
    feature = feature_of(reading, table, instrument)
    if feature is None:
        return None
    draws = predicted(table, [feature])[0, :, 0]
    volts = 0.0 if reading.word or reading.value is None else reading.value
    off = abs(float(scaled(volts, feature)) - float(np.nanmean(draws)))
    return feature.frequency, off > max(ODD * float(np.nanstd(draws)), LEAST_DB if feature.is_level else LEAST_DC)
