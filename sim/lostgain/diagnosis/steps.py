"""The severities that are weighed: those of the table and some between them."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from lostgain.faults import Fault, Mode, Stray, modes_for
from lostgain.faults.severities import density
from lostgain.signatures import Table

Values = NDArray[np.float64]
Whole = NDArray[np.int_]

#: Severities put between two neighbouring ones of the catalogue; where the table has rows between them, so many in all.
BETWEEN = 6
#: A deviation from the nominal value by less than this factor is no fault.
WITHIN = 1.25


@dataclass(frozen=True)
class Steps:
    """Faults and their severities, the healthy unit first.

    Parameters
    ----------
    suspects : tuple of Fault
        Each part and mode once.
    fault : array of int, (step,)
        Which of `suspects` it belongs to; -1 for the healthy unit, and for a stray path.
    first, second : arrays of int, (step,)
        The rows of the table it lies between; both the same where there is nothing between.
    way : array, (step,)
        How far from the one to the other, 0 to 1.
    parts : array of int, (step,)
        Into how many parts the stretch between the two rows is cut.
    severity : array, (step,)
        NaN where the mode has none.
    prior : array, (step,)
        Share of the fault's probability; 1 in all for each fault.
    shared : array of bool, (step,)
        True for a fault that all channels have.
    makers_affair : array of bool, (step,)
        Whether what it shows depends on a device's maker.
    paths : tuple of Stray
        Each stray path once.
    stray : array of int, (step,)
        Which of `paths` it is; -1 where it is none. The prior shares of all stray paths add up to one together.
    """

    suspects: tuple[Fault, ...]
    fault: Whole
    first: Whole
    second: Whole
    way: Values
    parts: Whole
    severity: Values
    prior: Values
    shared: NDArray[np.bool_]
    makers_affair: NDArray[np.bool_]
    paths: tuple[Stray, ...]
    stray: Whole


def steps(table: Table) -> Steps:
    """Return the severities of a table's faults."""
    kinds = tuple(
        tuple(table.circuit.parts[member.part].part.kind for member in fault.members or (fault,))
        for fault in table.faults
    )
    return _steps(table.faults, kinds, table.strays)


def mode_of(table: Table, fault: Fault) -> Mode:
    """Return the catalogue's mode of a fault that is no cluster."""
    return _mode(table.circuit.parts[fault.part].part.kind, fault.mode)


@lru_cache(maxsize=1000)
def _mode(kind: str, name: str) -> Mode:
    return next(each for each in modes_for(kind) if each.name == name)


#: Suspect, rows before and after, way between them, parts, severity and prior share.
_Part = tuple[int, int, int, float, int, float, float]


@lru_cache(maxsize=8)
def _steps(faults: tuple[Fault, ...], kinds: tuple[tuple[str, ...], ...], strays: tuple[Stray, ...]) -> Steps:
    """Return the steps; kept, since a table is asked for them at every match."""
    rows_of: dict[tuple[str, str], list[int]] = {}
    for number, fault in enumerate(faults, 1):
        rows_of.setdefault((fault.part, fault.mode), []).append(number)
    suspects = tuple(faults[rows[0] - 1] for rows in rows_of.values())
    parts: list[_Part] = [(-1, 0, 0, 0.0, 1, np.nan, 1.0)]
    for number, rows in enumerate(rows_of.values()):
        levels = [faults[row - 1].severity for row in rows]
        if len(rows) == 1 or levels[0] is None:
            parts.append((number, rows[0], rows[0], 0.0, 1, np.nan if levels[0] is None else levels[0], 1.0))
        else:
            mode = _mode(kinds[rows[0] - 1][0], faults[rows[0] - 1].mode)
            parts += [(number, *step) for step in _between(mode, rows, [level or 0.0 for level in levels])]
    known = len(parts)
    paths, of_path, more = _stray_steps(strays, len(faults) + 1)
    parts += more
    of_paths = [-1] * known + of_path
    of_suspect, first, second = (np.array([part[place] for part in parts], dtype=int) for place in range(3))
    way, cut, severity, prior = (np.array([part[place] for part in parts]) for place in range(3, 7))
    makers = [_depends_on_maker(one, kinds[rows[0] - 1]) for one, rows in zip(suspects, rows_of.values(), strict=True)]
    return Steps(
        suspects, of_suspect, first, second, way, cut.astype(int), severity, prior,
        np.array([index >= 0 and suspects[index].shared for index in of_suspect]),
        # Where outputs are bridged, their current limits fight: what comes of it is their makers' affair.
        np.array([
            makers[one] if one >= 0 else path >= 0 and not paths[path].end
            for one, path in zip(of_suspect, of_paths, strict=True)
        ]),
        paths,
        np.array(of_paths, dtype=int),
    )  # fmt: skip


def _depends_on_maker(fault: Fault, kinds: tuple[str, ...]) -> bool:
    """Whether what a fault, or one of a cluster, shows depends on a device's maker."""
    return any(_mode(kind, one.mode).makers_affair for one, kind in zip(fault.members or (fault,), kinds, strict=True))


def _stray_steps(strays: tuple[Stray, ...], start: int) -> tuple[tuple[Stray, ...], list[int], list[_Part]]:
    """Stray paths, which of them each step is, and the steps; one path as likely as another."""
    rows_of: dict[tuple[str, str], list[int]] = {}
    for number, stray in enumerate(strays):
        rows_of.setdefault(stray.nodes, []).append(number)
    of_path: list[int] = []
    found: list[_Part] = []
    for path, rows in enumerate(rows_of.values()):
        at = sorted(rows, key=lambda row: strays[row].ohms)
        mine = [(start + at[0], start + at[0], 0.0, 1, strays[at[0]].ohms)] if len(at) == 1 else []
        for first, second in pairwise(at):
            low, high = np.log(strays[first].ohms), np.log(strays[second].ohms)
            ways = (np.arange(BETWEEN) + 0.5) / BETWEEN
            mine += [(start + first, start + second, way, BETWEEN, float(np.exp((1 - way) * low + way * high)))
                     for way in ways]  # fmt: skip
        of_path += [path] * len(mine)
        found += [(-1, *step, 1 / len(mine) / len(rows_of)) for step in mine]
    return tuple(strays[rows[0]] for rows in rows_of.values()), of_path, found


def _between(mode: Mode, rows: list[int], levels: list[float]) -> list[tuple[int, int, float, int, float, float]]:
    """Rows before and after, way between them, parts, severity and prior share of each step of one part and mode."""
    order = np.argsort(levels)
    places = [(rows[index], float(np.log(levels[index]))) for index in order]
    found = []
    for (first, low), (second, high) in pairwise(places):
        parts = max(1, round(BETWEEN * (high - low) / _stretch(mode, low, high)))
        for step in range(parts):
            way = (step + 0.5) / parts  # the middle of what it stands for
            at = (1 - way) * low + way * high
            if not (mode.severity == "times" and abs(at) < np.log(WITHIN)):
                found.append((first, second, way, parts, float(np.exp(at)), (high - low) / parts))
    weight = density(mode, np.array([step[4] for step in found])) * [step[5] for step in found]
    total = weight.sum() or 1.0
    return [(*step[:5], float(each / total)) for step, each in zip(found, weight, strict=True)]


def _stretch(mode: Mode, low: float, high: float) -> float:
    """Return how far apart the catalogue's severities about a stretch are, as a natural logarithm like its ends."""
    given = np.log(np.array(mode.levels))
    below, above = given[given < low + 1e-4], given[given > high - 1e-4]
    return float(above.min() - below.max()) if len(below) and len(above) else high - low
