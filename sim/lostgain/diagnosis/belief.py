"""What is believed once some readings are taken: every hypothesis that still counts, as a row with its probability."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.allowances import allowances
from lostgain.diagnosis.features import Feature
from lostgain.diagnosis.hypotheses import Hypotheses, hypotheses, priors
from lostgain.diagnosis.knowledge import Knowledge, factors
from lostgain.diagnosis.observed import Observed, observed
from lostgain.diagnosis.posterior import weigh
from lostgain.faults import Fault, Rates
from lostgain.problems import UserError
from lostgain.readings import instruments
from lostgain.readings.model import Reading
from lostgain.signatures import Table
from lostgain.unit.channels import package

Values = NDArray[np.float64]
Whole = NDArray[np.int_]

#: Hypotheses are kept, the most probable first, until they hold this much of the probability, and no more than so many.
HELD, MOST = 0.995, 700
#: What stands for a part where nothing is wrong.
HEALTHY = ("", "")


@dataclass(frozen=True)
class Named:
    """A suspect: the healthy unit has no fault.

    Parameters
    ----------
    fault : Fault or None
    part, channel : str
        As the verdict calls them.
    lifted : (str, str)
        What one would lift, and in which channel: a package counts as one whichever section is at fault.
    """

    fault: Fault | None
    part: str
    channel: str
    lifted: tuple[str, str]


@dataclass(frozen=True)
class Belief:
    """The hypotheses that still count.

    Parameters
    ----------
    named : tuple of Named
    lifted : tuple of (str, str)
        What one could do, each once; `HEALTHY` for nothing.
    suspect, decision : arrays of int, (row,)
        Places in `named` and in `lifted`.
    hypothesis : array of int, (row,)
        Its place among `lostgain.diagnosis.hypotheses.hypotheses`, the same for any features.
    faulty : tuple of str, (row,)
        The channel that holds the fault.
    weight : array, (row,)
        Probabilities; what is missing from one is `unexplained`, and what was too improbable to keep.
    unexplained : float
    seen : Observed
        The readings taken.
    """

    named: tuple[Named, ...]
    lifted: tuple[tuple[str, str], ...]
    suspect: Whole
    decision: Whole
    hypothesis: Whole
    faulty: tuple[str, ...]
    weight: Values
    unexplained: float
    seen: Observed

    def of_decision(self) -> Values:
        """Return the probability of each decision: array, (decision,)."""
        return np.asarray(np.bincount(self.decision, self.weight, len(self.lifted)), dtype=float)

    def of_suspect(self) -> Values:
        """Return the probability of each suspect: array, (suspect,)."""
        return np.asarray(np.bincount(self.suspect, self.weight, len(self.named)), dtype=float)


def belief(
    table: Table,
    rows: list[Reading],
    good: str,
    rates: Rates,
    knowledge: Knowledge | None = None,
    most: int | None = MOST,
) -> Belief:
    """Return what is believed, before any reading too.

    Parameters
    ----------
    table : Table
    rows : list of Reading
    good : str
        The channel known to be good, or empty.
    rates : Rates
    knowledge : Knowledge or None
    most : int
        Hypotheses to keep, at most; None for all there are, however improbable.
    """
    try:
        posterior = weigh(table, rows, good, rates, knowledge)
    except UserError:  # nothing that could be compared was read yet
        return _before(table, rows, good, rates, knowledge, most)
    cases = [(case.channel, case.share) for case in posterior.cases]
    return _kept(table, posterior.found, cases, posterior.healthy, posterior.unexplained, posterior.seen, most)


def _before(
    table: Table, rows: list[Reading], good: str, rates: Rates, knowledge: Knowledge | None, most: int | None
) -> Belief:
    seen = observed(table, rows, instruments(table.circuit.unit.folder), good)
    found = hypotheses(table, [Feature(0, -1, False, 0.0)])
    channels = [channel for channel in table.circuit.unit.channels if channel.name != good] or list(
        table.circuit.unit.channels
    )
    prior = priors(table, found, rates, len(channels))
    cases = []
    for number, channel in enumerate(channels):
        weight = prior if knowledge is None else prior * factors(table, found.suspects, channel, knowledge)
        share = np.where(found.fault >= 0, weight[found.fault] * found.prior, 0.0)
        cases.append((channel.name, np.where(found.shared & (number > 0), 0.0, share)))
    allow = allowances()
    left = (1 - allow.prior_healthy - allow.prior_unexplained) / sum(float(share.sum()) for _, share in cases)
    cases = [(name, share * left) for name, share in cases]
    return _kept(table, found, cases, allow.prior_healthy, allow.prior_unexplained, seen, most)


def _kept(
    table: Table, found: Hypotheses, cases: list[tuple[str, Values]], healthy: float, unexplained: float,
    seen: Observed, most: int | None,
) -> Belief:  # fmt: skip
    """Name the hypotheses and keep those that count; the healthy unit is always one of them."""
    count = len(found.fault)
    weight = np.concatenate([np.where(found.fault >= 0, share, 0.0) for _, share in cases])
    weight[0] = healthy
    order = np.argsort(-weight, kind="stable")
    enough = int(np.searchsorted(np.cumsum(weight[order]), HELD * weight.sum())) + 1
    kept = int((weight > 0).sum()) if most is None else min(enough, most)
    keep = np.unique(np.append(order[:kept], 0))
    named: dict[Named, int] = {}
    lifted: dict[tuple[str, str], int] = {}
    suspect, decision = [], []
    for row in keep:
        one = _named(table, found, int(row) % count, cases[int(row) // count][0])
        suspect.append(named.setdefault(one, len(named)))
        decision.append(lifted.setdefault(one.lifted, len(lifted)))
    faulty = tuple(cases[int(row) // count][0] for row in keep)
    return Belief(tuple(named), tuple(lifted), np.array(suspect), np.array(decision), keep % count, faulty,
                  weight[keep], unexplained, seen)  # fmt: skip


def _named(table: Table, found: Hypotheses, hypothesis: int, channel: str) -> Named:
    index = int(found.fault[hypothesis])
    if index < 0:
        return Named(None, *HEALTHY, HEALTHY)
    fault = found.suspects[index]
    channels = table.circuit.unit.channels
    if fault.shared:
        where = "all" if len(channels) > 1 else channel
        return Named(fault, fault.part, where, (fault.part, where))
    part = next(each for each in channels if each.name == channel).called(fault.part)
    return Named(fault, part, channel, (package(part), channel))
