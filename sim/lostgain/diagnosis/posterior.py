"""Probabilities of all hypotheses, given the readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from lostgain.diagnosis.allowances import allowances
from lostgain.diagnosis.hypotheses import Hypotheses, hypotheses, priors
from lostgain.diagnosis.knowledge import Knowledge, factors
from lostgain.diagnosis.likelihood import broad, fit, latent_moments, log_likelihood
from lostgain.diagnosis.observed import Observed, observed
from lostgain.faults import Rates
from lostgain.problems import UserError
from lostgain.readings import instruments
from lostgain.readings.model import Reading
from lostgain.signatures import Table

Values = NDArray[np.float64]


@dataclass(frozen=True)
class Case:
    """The hypotheses that place the fault in one channel, or in all.

    Parameters
    ----------
    channel : str
    mean, cov : arrays, (hypothesis, latent), (hypothesis, latent, latent)
        What each predicts for the features of all channels; see `observed.Observed`.
    log : array, (hypothesis,)
        Logarithm of the readings' likelihood.
    prior : array, (hypothesis,)
        Probability before any reading.
    share : array, (hypothesis,)
        Probability given the readings; the healthy one's is kept in `Posterior.healthy`, once for all cases.
    """

    channel: str
    mean: Values
    cov: Values
    log: Values
    prior: Values
    share: Values


@dataclass(frozen=True)
class Posterior:
    """Probabilities given the readings.

    Parameters
    ----------
    seen : Observed
    found : Hypotheses
    cases : tuple of Case
    healthy, unexplained : float
    evidence : float
        Logarithm of the readings' likelihood over all hypotheses: how well they agree with anything that is known.
    """

    seen: Observed
    found: Hypotheses
    cases: tuple[Case, ...]
    healthy: float
    unexplained: float
    evidence: float

    def fit(self) -> float:
        """Return how often readings this far from the best hypothesis would come about, were it true: 0 to 1."""
        case = max(self.cases, key=lambda each: float(each.share.max()))
        best = int(np.argmax(case.share))
        if self.healthy > case.share[best]:
            best = 0
        operator = self.seen.operator
        return fit(
            self.seen.value, operator @ case.mean[best], operator @ case.cov[best] @ operator.T + self.seen.noise
        )


def weigh(
    table: Table, rows: Sequence[Reading], good: str, rates: Rates, knowledge: Knowledge | None = None
) -> Posterior:
    """Return the probability of every hypothesis.

    Parameters
    ----------
    table : Table
    rows : sequence of Reading
    good : str
        The channel known to be good, or empty.
    rates : Rates
    knowledge : Knowledge or None

    Raises
    ------
    UserError
        If no reading can be used.
    """
    seen = observed(table, rows, instruments(table.circuit.unit.folder), good)
    if not seen.latent:
        raise UserError(f"no reading can be compared. {' '.join(seen.left_out)}")
    found = hypotheses(table, seen.features)
    channels = _candidates(table, seen, good)
    before = _priors(table, found, rates, channels, knowledge)
    drafts = []
    for channel, prior in zip(channels, before, strict=True):
        mean, cov = latent_moments(found, seen, channel, found.shared)
        drafts.append((channel, mean, cov, log_likelihood(table, found, seen, channel, found.shared), prior))
    allow = allowances()
    with np.errstate(divide="ignore"):
        logs = [np.log(prior) + log for _, _, _, log, prior in drafts]
    healthy = np.log(allow.prior_healthy) + drafts[0][3][0]
    unexplained = np.log(allow.prior_unexplained) + broad(found, seen)
    total = float(logsumexp(np.concatenate([*logs, [healthy, unexplained]])))
    cases = tuple(Case(*draft, np.exp(log - total)) for draft, log in zip(drafts, logs, strict=True))
    return Posterior(seen, found, cases, float(np.exp(healthy - total)), float(np.exp(unexplained - total)), total)


def _candidates(table: Table, seen: Observed, good: str) -> list[str]:
    """Channels that may hold the fault: those with readings, but for the one known to be good."""
    read = {channel for channel, _ in seen.latent}
    names = [channel.name for channel in table.circuit.unit.channels if channel.name in read]
    return [name for name in names if name != good] or names


def _priors(
    table: Table, found: Hypotheses, rates: Rates, channels: list[str], knowledge: Knowledge | None
) -> list[Values]:
    """Prior of each hypothesis for a fault in each channel; a fault that all share is counted in the first."""
    allow = allowances()
    part = priors(table, found, rates, len(channels))
    by_name = {channel.name: channel for channel in table.circuit.unit.channels}
    each = []
    for number, name in enumerate(channels):
        weight = part if knowledge is None else part * factors(table, found.suspects, by_name[name], knowledge)
        prior = np.where(found.fault >= 0, weight[found.fault] * found.prior, 0.0)
        each.append(np.where(found.shared & (number > 0), 0.0, prior))
    total = sum(float(prior.sum()) for prior in each)
    return [prior / total * (1 - allow.prior_healthy - allow.prior_unexplained) for prior in each]
