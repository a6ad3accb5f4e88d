"""A route: which reading to take first, and which after each thing it may show, until one part or group is left.

On a unit with few readings every order is tried and the route is the best there is. On a larger one a reading is chosen
by how much it tells per minute, and near the start, where it matters most, by the minutes that the whole rest of the
route then takes (a rollout: never worse than choosing by information alone).

References
----------
D. P. Bertsekas, J. N. Tsitsiklis, C. Wu, "Rollout algorithms for combinatorial optimization", J. Heuristics 3 (1997):
a rollout is no worse than the rule it rolls out. From memory, to be verified.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field

import numpy as np

from lostgain.diagnosis.candidates import SHORTEST
from lostgain.diagnosis.moves import facts
from lostgain.teach.outlook import Outlook, Values
from lostgain.teach.route_model import Branch, Leaf, Route, Step
from lostgain.teach.telling import Telling, telling

#: What was read, in order: numbers of readings and their ranges.
Path = tuple[tuple[int, int], ...]
Chosen = Callable[["Routing", Path, Values, Telling], int]
Progress = Callable[[int, int], None]

#: With no more readings than this, every order is tried.
FEW = 5
#: Branches less probable than this end in "ask again with these readings".
LEAST = 0.01
#: Steps from the start at which a rollout chooses, and among how many readings.
ROLLED, TRIED = 2, 5
#: Parts named in a leaf, and the least share of one.
NAMED, SHARE = 6, 0.03


@dataclass
class Routing:
    """The search for a route.

    Parameters
    ----------
    outlook : Outlook
    known : dict
        Expected minutes of the rest, by what was read and how the next reading is chosen.
    """

    outlook: Outlook
    known: dict[tuple[frozenset[tuple[int, int]], tuple[int, ...], str], float] = field(default_factory=dict)

    def weight(self, path: Path) -> Values:
        """Return the weight of each unit drawn once those ranges were seen; adds up to the path's probability."""
        found = self.outlook.weight
        for reading, cell in path:
            found = found * self.outlook.chance[:, reading, cell]
        return found

    def left(self, path: Path) -> list[int]:
        """Return the readings that were not taken."""
        taken = {reading for reading, _ in path}
        return [number for number in range(len(self.outlook.readings)) if number not in taken]

    def minutes(self, reading: int, path: Path) -> float:
        """Return what a reading takes from where the probe is."""
        one = self.outlook.readings[reading]
        if not path:
            return one.minutes
        last = self.outlook.readings[path[-1][0]].reading
        if last.point != one.reading.point:
            return one.minutes
        times = facts().reading
        stay = times.stay if last.quantity == one.reading.quantity else times.switch
        return max(SHORTEST, min(one.minutes, stay))

    def cells(self, reading: int) -> range:
        """Return the ranges of a reading."""
        return range(len(self.outlook.ranges[reading]))

    def told(self, path: Path, weight: Values) -> Telling | None:
        """Return what the readings left are expected to tell; None where the route ends here."""
        left = self.left(path)
        if not left or float(weight.sum()) < LEAST:
            return None
        found = telling(self.outlook, weight, left)
        return None if found.ends else found

    def cost(self, path: Path, choose: Chosen, name: str) -> float:
        """Return the expected minutes of the rest of a route, times the probability of getting here."""
        place = (path[-1][0],) if path else ()
        key = (frozenset(path), place, name)
        if key not in self.known:
            weight = self.weight(path)
            told = self.told(path, weight)
            self.known[key] = 0.0 if told is None else self.after(choose(self, path, weight, told), path, choose, name)
        return self.known[key]

    def after(self, reading: int, path: Path, choose: Chosen, name: str) -> float:
        """Return the same, where it goes on with a reading."""
        total = float(self.weight(path).sum()) * self.minutes(reading, path)
        return total + sum(self.cost((*path, (reading, cell)), choose, name) for cell in self.cells(reading))


def by_information(routing: Routing, path: Path, weight: Values, told: Telling) -> int:
    """Choose the reading with the most information per minute."""
    del weight
    rate = [bits / routing.minutes(each, path) for bits, each in zip(told.bits, told.left, strict=True)]
    return told.left[int(np.argmax(rate))]


def in_order(routing: Routing, path: Path, weight: Values, told: Telling) -> int:
    """Choose the next reading along the signal path: the walk from input to output, everything at one point in turn."""
    del routing, path, weight
    return told.left[0]


def by_every_order(routing: Routing, path: Path, weight: Values, told: Telling) -> int:
    """Choose the reading after which the rest takes least, by trying all."""
    del weight
    return min(told.left, key=lambda each: routing.after(each, path, by_every_order, "every"))


def by_rollout(routing: Routing, path: Path, weight: Values, told: Telling) -> int:
    """Choose among the most telling readings the one after which the rest takes least, if chosen by information."""
    if len(path) > ROLLED:
        return by_information(routing, path, weight, told)
    rate = np.array([bits / routing.minutes(each, path) for bits, each in zip(told.bits, told.left, strict=True)])
    tried = np.unique([*np.argsort(-rate, kind="stable")[:TRIED], *np.argsort(-told.bits, kind="stable")[:2]])
    return min(
        (told.left[int(each)] for each in tried), key=lambda each: routing.after(each, path, by_information, "bits")
    )


def route(outlook: Outlook, progress: Progress | None = None) -> Route:
    """Return the best route through what can be read.

    Parameters
    ----------
    outlook : Outlook
    progress : callable or None
        Called with the share of cases that are dealt with, in thousandths, and 1000.
    """
    routing = Routing(outlook)
    every = len(outlook.readings) <= FEW
    choose = by_every_order if every else by_rollout
    done = [0.0]

    def grown(path: Path, first: int | None = None) -> Step | Leaf:
        weight = routing.weight(path)
        told = routing.told(path, weight)
        if told is None and first is None:
            done[0] += float(weight.sum())
            if progress is not None:
                progress(min(1000, round(1000 * done[0])), 1000)
            return _leaf(outlook, path, weight, routing.left(path))
        if first is None:
            assert told is not None
            first = choose(routing, path, weight, told)
        branches = [
            Branch(outlook.ranges[first][cell], share, grown((*path, (first, cell))))
            for cell in routing.cells(first)
            if (share := float(routing.weight((*path, (first, cell))).sum())) > 1e-9
        ]
        one = outlook.readings[first].reading
        return Step(one.point, one.quantity, one.frequency, routing.minutes(first, path), float(weight.sum()),
                    _merged(branches), one.generator)  # fmt: skip

    root = grown((), outlook.first)
    assert isinstance(root, Step)
    start = outlook.readings[outlook.first].minutes
    walked = start + sum(
        routing.cost(((outlook.first, cell),), in_order, "order") for cell in routing.cells(outlook.first)
    )
    return Route(outlook.channel, root, _minutes(root), walked, every)


def _minutes(node: Step | Leaf) -> float:
    """Expected minutes of a route, times the probability of getting to its start."""
    if isinstance(node, Leaf):
        return 0.0
    return node.minutes * node.share + sum(_minutes(each.then) for each in node.branches)


def _leaf(outlook: Outlook, path: Path, weight: Values, left: Sequence[int]) -> Leaf:
    total = max(float(weight.sum()), 1e-300)
    share = np.bincount(outlook.decision, weight, len(outlook.lifted)) / total
    order = [int(each) for each in np.argsort(-share, kind="stable") if share[each] >= SHARE][:NAMED]
    parts = tuple((outlook.lifted[each][0], float(share[each])) for each in order)
    held = sum(each for _, each in parts)
    rare = total < LEAST
    ends = "rare" if rare else "" if not left else telling(outlook, weight, left).ends
    return Leaf(parts, 1.0 - held, float(weight.sum()), ends or "all read")


def _merged(branches: list[Branch]) -> tuple[Branch, ...]:
    """Put neighbouring ranges together that lead to the same end: the same parts, the same one first."""
    found: list[Branch] = []
    for each in branches:
        before = found[-1] if found else None
        if before is not None and isinstance(before.then, Leaf) and isinstance(each.then, Leaf):
            ends = (before.then, each.then)
            names = [{part for part, _ in leaf.parts} for leaf in ends]
            lifted_first = [leaf.parts[:1] and leaf.parts[0][0] for leaf in ends]
            if names[0] == names[1] and lifted_first[0] == lifted_first[1] and before.then.ends == each.then.ends:
                found[-1] = Branch(f"{before.shows}, or {each.shows}", before.share + each.share,
                                   before.then.with_other(each.then))  # fmt: skip
                continue
        found.append(each)
    return tuple(found)
