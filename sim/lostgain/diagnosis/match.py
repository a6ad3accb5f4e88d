"""Matching readings to faults."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from lostgain.diagnosis.allowances import allowances
from lostgain.diagnosis.doubts import warnings
from lostgain.diagnosis.evidence import evidence
from lostgain.diagnosis.groups import grouped
from lostgain.diagnosis.hypotheses import Hypotheses, hypotheses, priors
from lostgain.diagnosis.likelihood import broad, latent_moments, log_likelihood
from lostgain.diagnosis.model import Group, Suspect, Verdict
from lostgain.diagnosis.observed import Observed, observed
from lostgain.diagnosis.severity import quantiles, sentence
from lostgain.faults import Rates, rates
from lostgain.problems import UserError
from lostgain.readings import Readings, instruments
from lostgain.signatures import Table
from lostgain.unit.model import Channel

Values = NDArray[np.float64]

#: Suspects less probable than this are counted, not shown with their evidence.
SHOWN = 2e-4
#: What part of a suspect's probability its severity range holds.
RANGE = 0.9


@dataclass(frozen=True)
class _Case:
    """The hypotheses that place the fault in one channel, or in all."""

    channel: str
    shared: NDArray[np.bool_]
    log: Values
    mean: Values
    cov: Values


def match(table: Table, readings: Readings, rate_set: str | Rates = "bench") -> Verdict:
    """Return the suspects that explain a set of readings.

    Parameters
    ----------
    table : Table
        The unit's signature table.
    readings : Readings
    rate_set : str or Rates
        Which failure rates to start from.

    Returns
    -------
    Verdict

    Raises
    ------
    UserError
        If no reading can be used.
    """
    chosen = rates(rate_set) if isinstance(rate_set, str) else rate_set
    seen = observed(table, readings.rows, instruments(table.circuit.unit.folder), readings.good)
    if not seen.latent:
        raise UserError(f"{readings.path}: no reading in it can be compared. {' '.join(seen.left_out)}")
    found = hypotheses(table, seen.features)
    channels = _candidates(table, seen, readings.good)
    cases = [_case(table, found, seen, channel) for channel in channels]
    probability, healthy, unexplained = _posterior(table, found, seen, cases, chosen)
    suspects = _suspects(table, found, seen, cases, probability, chosen)
    groups = _groups(suspects)
    notes = warnings(table, found, seen, readings, unexplained)
    source = f"{chosen.title} ({chosen.source})"
    used = len(seen.value) + len(seen.low) + len(seen.shapes)
    return Verdict(tuple(suspects), healthy, unexplained, groups, tuple(notes), table.key, source, used)


def _candidates(table: Table, seen: Observed, good: str) -> list[str]:
    """Channels that may hold the fault: those with readings, but for the one known to be good."""
    read = {channel for channel, _ in seen.latent}
    names = [channel.name for channel in table.circuit.unit.channels if channel.name in read and channel.name != good]
    return names or [channel.name for channel in table.circuit.unit.channels if channel.name in read]


def _case(table: Table, found: Hypotheses, seen: Observed, channel: str) -> _Case:
    shared = found.shared
    mean, cov = latent_moments(found, seen, channel, shared)
    return _Case(channel, shared, log_likelihood(table, found, seen, channel, shared), mean, cov)


def _posterior(
    table: Table, found: Hypotheses, seen: Observed, cases: list[_Case], chosen: Rates
) -> tuple[list[Values], float, float]:
    """Probabilities: of each hypothesis for each case, of the healthy unit, and of a fault that is not in the table."""
    allow = allowances()
    part = priors(table, found, chosen, len(cases)) * (1 - allow.prior_healthy - allow.prior_unexplained)
    logs = []
    for number, case in enumerate(cases):
        prior = np.where(found.fault >= 0, part[found.fault] * found.prior, 0.0)
        if number:  # a fault that all channels share is counted once
            prior = np.where(case.shared, 0.0, prior)
        with np.errstate(divide="ignore"):
            logs.append(np.log(prior) + case.log)
    healthy = np.log(allow.prior_healthy) + cases[0].log[0]
    unexplained = np.log(allow.prior_unexplained) + broad(found, seen)
    total = logsumexp(np.concatenate([*logs, [healthy, unexplained]]))
    return [np.exp(log - total) for log in logs], float(np.exp(healthy - total)), float(np.exp(unexplained - total))


def _suspects(
    table: Table, found: Hypotheses, seen: Observed, cases: list[_Case], probability: list[Values], chosen: Rates
) -> list[Suspect]:
    prior = priors(table, found, chosen, len(cases))
    names = {channel.name: channel for channel in table.circuit.unit.channels}
    listed: list[tuple[float, Suspect, Values, Values]] = []
    for case, share in zip(cases, probability, strict=True):
        for index, fault in enumerate(found.suspects):
            mine = np.flatnonzero(found.fault == index)
            total = float(share[mine].sum())
            if fault.shared and case is not cases[0]:
                continue
            best = mine[np.argmax(share[mine])] if total > 0 else mine[0]
            suspect = _suspect(table, found, case, index, mine, share, total, float(prior[index]), names, int(best))
            middle, spread = seen.operator @ case.mean[best], seen.operator @ case.cov[best] @ seen.operator.T
            if total > SHOWN:
                suspect = replace(
                    suspect, evidence=evidence(seen, found, case.mean[best], case.cov[best], case.channel)
                )
            listed.append((total, suspect, middle, spread + seen.noise))
    listed.sort(key=lambda each: (-each[0], each[1].part, each[1].mode))
    leading = [each for each in listed if each[0] > SHOWN] or listed[:1]
    numbers = grouped(np.array([each[2] for each in leading]), np.array([each[3] for each in leading]))
    return [replace(each[1], group=number) for each, number in zip(leading, numbers, strict=True)] + [
        each[1] for each in listed[len(leading) :]
    ]


def _suspect(
    table: Table, found: Hypotheses, case: _Case, index: int, mine: NDArray[np.int_], share: Values, total: float,
    prior: float, names: dict[str, Channel], best: int,
) -> Suspect:  # fmt: skip
    fault = found.suspects[index]
    severity, spread = None, None
    levels = found.severity[mine]
    if np.isfinite(levels).all():
        weight = share[mine] if total > 0 else found.prior[mine]
        ends = (0.5 - RANGE / 2, 0.5, 0.5 + RANGE / 2)
        low, severity, high = quantiles(levels, weight, ends)
        spread = (low, high)
    channel = names[case.channel]
    called = fault.part if fault.shared else channel.called(fault.part)
    text = sentence(fault, severity, spread, table.circuit, channel)
    place = "all" if fault.shared and len(names) > 1 else case.channel
    row = table.faults[found.row[best] - 1]
    return Suspect(called, fault.mode, severity, spread, text, fault.stage, place, total, prior, 0, row)


def _groups(suspects: list[Suspect]) -> tuple[Group, ...]:
    numbers = sorted({suspect.group for suspect in suspects if suspect.group})
    return tuple(
        Group(
            number,
            tuple(f"{each.part} {each.mode}" for each in suspects if each.group == number),
            sum(each.probability for each in suspects if each.group == number),
        )
        for number in numbers
    )
