"""A small unit searched completely: the policy with the fewest expected minutes, and what others cost beside it.

The world searched is lostgain's own model of the unit: each hypothesis stands for a few units drawn from it, with what
tolerances and instruments make their readings share, and every reading is cut into a few cells. In it, every policy's
expected minutes and readings are computed exactly, by following all that could be read. A model that is right for its
world is a perfect one: what separates the policies is foresight alone.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from lostgain.diagnosis.belief import HEALTHY, belief
from lostgain.diagnosis.candidates import Candidate, candidates
from lostgain.diagnosis.expected import together, units_drawn
from lostgain.diagnosis.features import unscaled
from lostgain.diagnosis.information import Told, edges, from_bins
from lostgain.diagnosis.moves import facts
from lostgain.diagnosis.next_model import NextReading
from lostgain.diagnosis.next_reading import next_reading
from lostgain.faults import rates
from lostgain.readings import Reading, Readings, instruments
from lostgain.readings.taken import what
from lostgain.signatures import Table

Values = NDArray[np.float64]
#: What was read so far, in order: numbers of readings and their cells.
Path = tuple[tuple[int, int], ...]
#: Expected minutes and readings until it stops, and how often the decision is right then.
Cost = tuple[float, float, float]
Policy = Callable[["World", Path, list[int]], int]

#: Cells a reading is cut into, and the least probability that is followed.
CELLS, LEAST = 5, 1e-4
#: Units drawn from each hypothesis (an even number), and their seed.
DRAWN, SEED = 30, 1


@dataclass(frozen=True)
class World:
    """A small unit in cells.

    Parameters
    ----------
    table : Table
    start : Readings
        What every policy is given.
    readings : tuple of Candidate
        With minutes for a probe that comes from elsewhere.
    decision : array of int, (hypothesis,)
        A hypothesis here is one of the units drawn.
    healthy : int
        The decision that nothing is wrong; -1 if none.
    weight : array, (hypothesis,)
    chance : tuple of array, (hypothesis, cell)
        For each reading.
    shown : tuple of array, (cell,)
        For each reading, a value in each cell [V rms] or [V].
    """

    table: Table
    start: Readings
    readings: tuple[Candidate, ...]
    decision: NDArray[np.int_]
    healthy: int
    weight: Values
    chance: tuple[Values, ...]
    shown: tuple[Values, ...]

    def after(self, path: Path) -> Values:
        """Return the weights once those cells were seen: array, (hypothesis,), adding up to the path's probability."""
        weight: Values = self.weight / float(self.weight.sum())
        for reading, cell in path:
            weight = weight * self.chance[reading][:, cell]
        return np.asarray(weight)

    def minutes(self, reading: int, path: Path) -> float:
        """Return what a reading costs from where the probe is."""
        one = self.readings[reading]
        last = self.readings[path[-1][0]].reading if path else self.start.rows[-1]
        if (last.point, last.channel) != (one.reading.point, one.reading.channel):
            return one.minutes
        times = facts().reading
        return min(one.minutes, times.stay if last.quantity == one.reading.quantity else times.switch)

    def right(self, path: Path) -> float:
        """Return the probability that those cells are seen and the most probable decision is then the right one."""
        return float(np.bincount(self.decision, self.after(path)).max())

    def told(self, path: Path, left: Sequence[int]) -> Told:
        """Return what the readings left are expected to tell."""
        return from_bins(self.decision, self.after(path), [self.chance[each] for each in left])

    def stops(self, path: Path, left: Sequence[int]) -> bool:
        """Tell whether another reading is not worth taking, by the rule of ``lostgain next``."""
        if not left:
            return True
        rule, gain, weight = facts().stop, self.told(path, left), self.after(path)
        share = np.bincount(self.decision, weight / weight.sum())
        best = int(share.argmax())
        alike = (gain.alike.min(axis=0) >= rule.alike) & (np.arange(len(share)) != self.healthy)
        alike[best] = True
        sure = share[best] if best == self.healthy else share[alike].sum()
        return bool(sure >= rule.sure or np.all((gain.bits < rule.idle_bits) & (gain.right < rule.idle_right)))


def world(
    table: Table, start: Sequence[Reading], points: Sequence[str], quantities: Sequence[tuple[str, int]]
) -> World:
    """Return the world of a unit with a few test points and quantities.

    Parameters
    ----------
    table : Table
    start : sequence of Reading
    points : sequence of str
    quantities : sequence of (str, int)
        ``("level", 0)`` is the level at the first frequency, ``("dc", -1)`` dc.
    """
    known = instruments(table.circuit.unit.folder)
    given = Readings(tuple(start))
    found = candidates(table, given, known, [start[0].channel])
    chosen = [each for each in found if each.reading.point in points
              and (each.reading.quantity, each.feature.frequency) in quantities]  # fmt: skip
    minutes = {point.name: point.minutes for point in table.circuit.unit.points}
    chosen = [replace(each, minutes=minutes[each.reading.point]) for each in chosen]
    believed = belief(table, list(start), "", rates("bench"))
    mean, sigma, drawn = units_drawn(*together(table, believed, chosen, known), DRAWN, SEED)
    weight, decision = believed.weight[drawn] / DRAWN, believed.decision[drawn]
    share = weight / weight.sum()
    chance, shown = [], []
    for column, each in enumerate(chosen):
        cuts = edges(share, mean[:, column], sigma[:, column], CELLS)
        below = ndtr((cuts[None] - mean[:, column, None]) / sigma[:, column, None])
        chance.append(np.maximum(np.diff(below, axis=1, prepend=0.0, append=1.0), 0.0))
        middle = [_middle(share * chance[-1][:, cell], mean[:, column]) for cell in range(len(cuts) + 1)]
        shown.append(np.array([unscaled(value, each.feature) for value in middle]))
    healthy = believed.lifted.index(HEALTHY) if HEALTHY in believed.lifted else -1
    return World(table, given, tuple(chosen), decision, healthy, weight, tuple(chance), tuple(shown))


def _middle(weight: Values, mean: Values) -> float:
    order = np.argsort(mean)
    return float(mean[order][np.searchsorted(np.cumsum(weight[order]), weight.sum() / 2)])


def cost(here: World, policy: Policy, path: Path = ()) -> Cost:
    """Return the expected minutes and readings of a policy and the share right, times the probability of the path."""
    left = [number for number in range(len(here.readings)) if number not in {reading for reading, _ in path}]
    total = float(here.after(path).sum())
    if total < LEAST or here.stops(path, left):
        return 0.0, 0.0, here.right(path)
    picked = policy(here, path, left)
    found = (total * here.minutes(picked, path), total, 0.0)
    for cell in range(here.chance[picked].shape[1]):
        found = _sum(found, cost(here, policy, (*path, (picked, cell))))
    return found


def _sum(one: Cost, other: Cost) -> Cost:
    return one[0] + other[0], one[1] + other[1], one[2] + other[2]


def optimum(here: World) -> Cost:
    """Return the fewest expected minutes of any policy, its expected readings and share right: by complete search."""
    known: dict[tuple[frozenset[tuple[int, int]], str], Cost] = {}

    def best(path: Path) -> Cost:
        place = here.readings[path[-1][0]].reading.point + here.readings[path[-1][0]].reading.quantity if path else ""
        key = (frozenset(path), place)
        if key not in known:
            known[key] = _best(path)
        return known[key]

    def _best(path: Path) -> Cost:
        left = [number for number in range(len(here.readings)) if number not in {reading for reading, _ in path}]
        total = float(here.after(path).sum())
        if total < LEAST or here.stops(path, left):
            return 0.0, 0.0, here.right(path)
        found = (np.inf, 0.0, 0.0)
        for reading in left:
            tried = (total * here.minutes(reading, path), total, 0.0)
            for cell in range(here.chance[reading].shape[1]):
                if tried[0] >= found[0]:
                    break
                tried = _sum(tried, best((*path, (reading, cell))))
            if tried[0] < found[0]:
                found = tried
        return found

    return best(())


def lookahead(here: World, path: Path, left: list[int]) -> int:
    """One step of foresight with a perfect model: the most expected information per minute."""
    bits = here.told(path, left).bits
    return max(left, key=lambda each: bits[left.index(each)] / here.minutes(each, path))


def by_lostgain(here: World, path: Path, left: list[int]) -> int:
    """What ``lostgain next`` asks for, given values that lie in the cells seen."""
    rows = [*here.start.rows]
    for reading, cell in path:
        one, value = here.readings[reading].reading, float(here.shown[reading][cell])
        nothing = one.quantity == "level" and value < here.readings[reading].feature.floor
        rows.append(replace(one, word="nothing") if nothing else replace(one, value=value))
    step = next_reading(here.table, Readings(tuple(rows)), most=10_000, others=False)
    places = {what(here.readings[each].reading): each for each in left}
    for each in step.ranked:
        if isinstance(each, NextReading) and what(each) in places:
            return places[what(each)]
    return left[0]


def in_order(here: World, path: Path, left: list[int]) -> int:
    """Along the signal, everything at one point before the next."""
    del here, path
    return left[0]
