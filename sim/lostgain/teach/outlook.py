"""What can be read in a unit nobody has looked at yet, each reading cut into a few ranges that a person can tell apart.

A chart for the wall has no probabilities and no decibels: it says "nothing", "low", "as healthy". The ranges are
therefore those of the healthy unit's reading, rounded to figures a meter shows. Every hypothesis stands for a few units
drawn from it, with what tolerances and instruments make their readings share, so that two readings which say the same
are not counted twice.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from lostgain.bench.healthy import output_point
from lostgain.diagnosis.belief import HEALTHY, Belief, Named, belief
from lostgain.diagnosis.candidates import Candidate, candidates
from lostgain.diagnosis.expected import together, units_drawn
from lostgain.diagnosis.features import DC, Feature, scaled, unscaled
from lostgain.diagnosis.hypotheses import hypotheses
from lostgain.diagnosis.knowledge import Knowledge
from lostgain.faults import Fault, Rates
from lostgain.quantities import show, show_level
from lostgain.readings import Readings, instruments
from lostgain.signatures import Table

Values = NDArray[np.float64]
Whole = NDArray[np.int_]

#: Units drawn from each hypothesis (even numbers), of many and of one for each failure, and their seed. A few draws of
#: one failure may all be odd at some point or other by chance.
DRAWN, DRAWN_OF_ONE, SEED = 4, 32, 20_260
#: Hypotheses that are followed, the most probable.
MOST = 2500
#: Healthy readings lie this many standard deviations about their middle: 19 of 20.
HEALTHY_RANGE = 1.96
#: A level below this share of the healthy one is "far too low"; DC further off than this [V] and share is "far off".
FAR_LEVEL, FAR_VOLTS, FAR_SHARE = 0.25, 1.0, 0.5
QUANTITIES = ("level", "dc")
#: What the name of the range holds in which a healthy unit reads.
HEALTHY_WORDS = "as healthy"


@dataclass(frozen=True)
class Outlook:
    """What can be read, before anything was.

    Parameters
    ----------
    channel : str
        The first: a chart is for one channel.
    readings : tuple of Candidate
        With minutes for a probe that comes from elsewhere.
    ranges : tuple of tuple of str
        For each reading, what each of its ranges is called: ``as healthy, 2.1 to 2.9 V rms``.
    first : int
        The reading that stands for the symptom: level at the output, or the last point in reach.
    named : tuple of Named
        Suspects, each part and mode once.
    suspect : array of int, (unit,)
        Place in `named` for each unit drawn.
    lifted : tuple of (str, str)
        What one could do in the end: part and channel; `HEALTHY` for nothing.
    decision : array of int, (unit,)
        Place in `lifted` for each unit drawn.
    weight : array, (unit,)
        Adding up to one.
    chance : array, (unit, reading, range)
        How likely each range is; zero for ranges that a reading does not have.
    """

    channel: str
    readings: tuple[Candidate, ...]
    ranges: tuple[tuple[str, ...], ...]
    first: int
    named: tuple[Named, ...]
    suspect: Whole
    lifted: tuple[tuple[str, str], ...]
    decision: Whole
    weight: Values
    chance: Values

    @property
    def healthy(self) -> int:
        """The decision that nothing is wrong."""
        return self.lifted.index(HEALTHY)


def outlook(
    table: Table, rates: Rates, knowledge: Knowledge | None = None, points: Sequence[str] = (),
    shown: Mapping[tuple[str, str], Fault] | None = None,
) -> Outlook:  # fmt: skip
    """Return what can be read in the first channel of a unit.

    Parameters
    ----------
    table : Table
    rates : Rates
    knowledge : Knowledge or None
    points : sequence of str
        Test points to use; all in reach if empty.
    shown : mapping or None
        By part and mode. Where it is given, each failure is followed at the severity of the one given here only,
        however improbable it is.
    """
    unit = table.circuit.unit
    known = instruments(unit.folder)
    channel = unit.channels[0].name
    believed = belief(table, [], "", rates, knowledge, MOST if shown is None else None)
    each_drawn = DRAWN if shown is None else DRAWN_OF_ONE
    if shown is not None:
        severity = hypotheses(table, [Feature(0, DC)]).severity
        believed = _one_each(believed, severity, channel, shown)
    minutes = {point.name: point.minutes for point in unit.points}
    wanted = [
        Candidate(each.reading, each.feature, max(each.away, minutes[each.reading.point]), each.away)
        for each in candidates(table, Readings(()), known, [channel])
        if each.reading.quantity in QUANTITIES and each.reading.point in (points or table.points)
    ]
    mine = np.flatnonzero(np.array([where == channel for where in believed.faulty]))
    mean, cov, single = together(table, believed, wanted, known)
    drawn, error, rows = units_drawn(mean[mine], cov[mine], single[mine], each_drawn, SEED)
    cuts, names = _ranges(believed, wanted, mean, cov, single)
    most = max(len(each) for each in names)
    chance = np.zeros((len(rows), len(wanted), most))
    for number, cut in enumerate(cuts):
        below = ndtr((cut[None] - drawn[:, number, None]) / error[:, number, None])
        chance[:, number, : len(cut) + 1] = np.diff(below, axis=1, prepend=0.0, append=1.0)
    weight = believed.weight[mine][rows]
    return Outlook(channel, tuple(wanted), tuple(names), _first(table, wanted), believed.named,
                   believed.suspect[mine][rows], believed.lifted, believed.decision[mine][rows],
                   weight / weight.sum(), np.maximum(chance, 0.0))  # fmt: skip


def _one_each(believed: Belief, severity: Values, channel: str, shown: Mapping[tuple[str, str], Fault]) -> Belief:
    """Keep of each part and mode of a channel the hypothesis nearest in severity, with the weight of them all."""
    keep, weight = [], []
    here = np.array([where == channel for where in believed.faulty])
    for number, named in enumerate(believed.named):
        mine = np.flatnonzero(here & (believed.suspect == number))
        if not len(mine):
            continue
        wanted = shown.get((named.fault.part, named.fault.mode)) if named.fault is not None else None
        best = int(mine[np.argmax(believed.weight[mine])])
        if wanted is not None and wanted.severity is not None:
            best = int(mine[np.argmin(np.abs(np.log(severity[believed.hypothesis[mine]] / wanted.severity)))])
        keep.append(best)
        weight.append(float(believed.weight[mine].sum()))
    return replace(
        believed, suspect=believed.suspect[keep], decision=believed.decision[keep],
        hypothesis=believed.hypothesis[keep], faulty=tuple(believed.faulty[each] for each in keep),
        weight=np.array(weight),
    )  # fmt: skip


def _first(table: Table, wanted: Sequence[Candidate]) -> int:
    """The level at the output, at the middle frequency; at the last point in reach where the output is not."""
    output = output_point(table)
    levels = [number for number, each in enumerate(wanted) if each.feature.frequency == 0]
    at_output = [number for number in levels if wanted[number].reading.point == output]
    return (at_output or levels or [len(wanted) - 1])[-1]


def _ranges(
    believed: Belief, wanted: Sequence[Candidate], mean: Values, cov: Values, single: Values
) -> tuple[list[Values], list[tuple[str, ...]]]:
    """Where each reading is cut, on the comparison scale, and what its ranges are called."""
    well = int(np.flatnonzero(believed.decision == believed.lifted.index(HEALTHY))[0])
    sigma = np.sqrt(np.diagonal(cov[well]) + single[well] ** 2)
    cuts, names = [], []
    for number, each in enumerate(wanted):
        ends = [unscaled(float(mean[well, number] + side * sigma[number]), each.feature)
                for side in (-HEALTHY_RANGE, HEALTHY_RANGE)]  # fmt: skip
        middle = unscaled(float(mean[well, number]), each.feature)
        volts, called = (_of_level if each.feature.is_level else _of_dc)(each, middle, *ends)
        cuts.append(scaled(np.array(volts), each.feature))
        names.append(called)
    return cuts, names


def _of_level(each: Candidate, middle: float, low: float, high: float) -> tuple[list[float], tuple[str, ...]]:
    """Ranges of a level: nothing, far too low, low, as healthy, high."""
    form = each.reading.given_as
    nothing = 2 * each.feature.floor
    if low <= nothing:  # hardly anything there in a healthy unit
        high = _round(max(high, 2 * nothing))
        return [high], (f"next to nothing, {HEALTHY_WORDS} (below {show_level(high, form, 2)})",
                        f"more than healthy (above {show_level(high, form, 2)})")  # fmt: skip
    factor = 2 * 2**0.5 if form == "pp" else 1.0
    low, high, far = (_round(value * factor) / factor for value in (low, high, FAR_LEVEL * middle))
    said = [show_level(value, form, 2) for value in (far, low, high)]
    cuts = [nothing, far, low, high]
    names = ["nothing", f"far too low (below {said[0]})", f"low ({said[0]} to {said[1]})",
             f"{HEALTHY_WORDS} ({said[1]} to {said[2]})", f"high (above {said[2]})"]  # fmt: skip
    if far <= 1.5 * nothing or far >= low:
        del cuts[1]
        names[1:3] = [f"low (below {said[1]})"]
    return cuts, tuple(names)


def _of_dc(each: Candidate, middle: float, low: float, high: float) -> tuple[list[float], tuple[str, ...]]:
    """Ranges of DC: far below, below, as healthy, above, far above."""
    low, high = _round(low), _round(high)
    off = max(FAR_VOLTS, FAR_SHARE * abs(middle), 1.5 * (high - low))
    far_low, far_high = _round(middle - off), _round(middle + off)
    said = [show(value, "V", 2) for value in (far_low, low, high, far_high)]
    names = (f"far below (under {said[0]})", f"below ({said[0]} to {said[1]})",
             f"{HEALTHY_WORDS} ({said[1]} to {said[2]})", f"above ({said[2]} to {said[3]})",
             f"far above (over {said[3]})")  # fmt: skip
    return [far_low, low, high, far_high], names


def _round(value: float) -> float:
    """Return a number to two figures, as it will be printed."""
    return float(f"{value:.1e}")
