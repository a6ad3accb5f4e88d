"""Probabilities of all hypotheses, given the readings."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from lostgain.diagnosis.allowances import allowances
from lostgain.diagnosis.apart import Step, allowed_for, steps_apart
from lostgain.diagnosis.hypotheses import Hypotheses, hypotheses, priors
from lostgain.diagnosis.knowledge import Knowledge, factors
from lostgain.diagnosis.likelihood import (
    broad,
    fit,
    latent_cov,
    latent_mean,
    others_likelihood,
    readings_likelihood,
    rough_likelihood,
)
from lostgain.diagnosis.makers import BOTH
from lostgain.diagnosis.observed import Observed, observed
from lostgain.faults import Rates
from lostgain.problems import Problem, UserError, nearest
from lostgain.readings import instruments
from lostgain.readings.model import Reading
from lostgain.signatures import Table

Values = NDArray[np.float64]

#: Hypotheses that a rough look finds less likely than the best by more than this (natural logarithm) are not looked at
#: again; as many as these are, in any case.
FAR = 25.0
FEW = 200
#: So many readings are compared at once: memory grows with their square, and a whole sheet of two channels has half.
MOST = 300


@dataclass(frozen=True)
class Case:
    """The hypotheses that place the fault in one channel, or in all.

    Parameters
    ----------
    channel : str
    seen : Observed
    found : Hypotheses
    log : array, (hypothesis,)
        Logarithm of the readings' likelihood; a rough one for those that are far from likely.
    prior : array, (hypothesis,)
        Probability before any reading.
    share : array, (hypothesis,)
        Probability given the readings; the healthy one's is kept in `Posterior.healthy`, once for all cases.
    """

    channel: str
    seen: Observed
    found: Hypotheses
    log: Values
    prior: Values
    share: Values

    @cached_property
    def mean(self) -> Values:
        """What each predicts for the features of all channels: array, (hypothesis, latent); see `observed.Observed`."""
        return latent_mean(self.found, self.seen, self.channel)

    def covs(self, which: Sequence[int], kind: str = BOTH) -> Values:
        """Return the spreads of what hypotheses predict: array, (which, latent, latent); `kind` as for `predicted`."""
        return latent_cov(self.found, self.seen, self.channel, np.array(which, dtype=int), kind)

    def cov(self, which: int, kind: str = BOTH) -> Values:
        """Return the spread of what a hypothesis predicts: array, (latent, latent)."""
        return np.asarray(self.covs([which], kind)[0])

    def predicted(self, which: int, kind: str = BOTH) -> tuple[Values, Values]:
        """Return what a hypothesis predicts for the readings, errors included: arrays, (reading,), (reading, reading).

        Parameters
        ----------
        which : int
            The hypothesis.
        kind : str
            As for `hypotheses.Hypotheses.cov`.
        """
        means, spreads = self.all_predicted([which], self.covs([which], kind))
        return means[0], spreads[0]

    def all_predicted(self, which: Sequence[int], covs: Values) -> tuple[Values, Values]:
        """Return the same of several: arrays, (which, reading), (which, reading, reading).

        Parameters
        ----------
        which : sequence of int
            The hypotheses.
        covs : array, (which, latent, latent)
            From `covs`.
        """
        operator = self.seen.operator
        return self.mean[list(which)] @ operator.T, operator @ covs @ operator.T + self.seen.noise


@dataclass(frozen=True)
class Posterior:
    """Probabilities given the readings.

    Parameters
    ----------
    seen : Observed
    found : Hypotheses
    cases : tuple of Case
    healthy, unexplained : float
        Stray paths count as unexplained.
    evidence : float
        Logarithm of the readings' likelihood over all hypotheses: how well they agree with anything that is known.
    apart : tuple of Step
        From where on the good channel is not as described, which is allowed for.
    """

    seen: Observed
    found: Hypotheses
    cases: tuple[Case, ...]
    healthy: float
    unexplained: float
    evidence: float
    apart: tuple[Step, ...] = ()

    def fit(self, kind: str = BOTH) -> float:
        """Return how often readings this far from the best hypothesis would come about, were it true: 0 to 1.

        Parameters
        ----------
        kind : str
            As for `hypotheses.Hypotheses.cov`.
        """
        case = max(self.cases, key=lambda each: float(each.share.max()))
        best = int(np.argmax(case.share))
        if self.healthy > case.share[best]:
            best = 0
        return fit(self.seen.value, *case.predicted(best, kind))


def weigh(
    table: Table, rows: Sequence[Reading], good: str, rates: Rates, knowledge: Knowledge | None = None,
    as_described: bool = False,
) -> Posterior:  # fmt: skip
    """Return the probability of every hypothesis.

    Parameters
    ----------
    table : Table
    rows : sequence of Reading
    good : str
        The channel known to be good, or empty.
    rates : Rates
    knowledge : Knowledge or None
    as_described : bool
        True to take a good channel that is not as described for a reading gone wrong: nothing is allowed for.

    Raises
    ------
    UserError
        If no reading can be used, or one is of a channel that the unit does not have.
    """
    _known_channels(table, rows, good)
    seen = observed(table, rows, instruments(table.circuit.unit.folder), good)
    if len(seen.readings) > MOST:
        many = f"{len(seen.readings)} readings are more than can be compared at once"
        raise UserError(f"{many} ({MOST}): keep one of each kind and place.")
    if not seen.latent:
        why = " ".join(seen.left_out) or "A sign such as hum counts beside a level or DC: read one of those as well."
        raise UserError(f"no reading can be compared. {why}")
    found = hypotheses(table, seen.features)
    apart = () if as_described else steps_apart(seen, found, good)
    if apart:
        seen = allowed_for(seen, apart)
    channels = _candidates(table, seen, good)
    before = _priors(table, found, rates, channels, knowledge)
    drafts = [
        (channel, _log_likelihood(table, found, seen, channel, prior), prior)
        for channel, prior in zip(channels, before, strict=True)
    ]
    allow = allowances()
    with np.errstate(divide="ignore"):
        logs = [np.log(prior) + log for _, log, prior in drafts]
    healthy = np.log(allow.prior_healthy) + drafts[0][1][0]
    strays = found.stray >= 0
    anything = allow.prior_unexplained * (1 - allow.prior_stray * strays.any())
    unexplained = np.log(anything) + broad(found, seen)
    total = float(logsumexp(np.concatenate([*logs, [healthy, unexplained]])))
    cases = tuple(
        Case(channel, seen, found, own, prior, np.exp(log - total))
        for (channel, own, prior), log in zip(drafts, logs, strict=True)
    )
    stray = sum(float(case.share[strays].sum()) for case in cases)
    other = float(np.exp(unexplained - total)) + stray
    return Posterior(seen, found, cases, float(np.exp(healthy - total)), other, total, apart)


def _log_likelihood(table: Table, found: Hypotheses, seen: Observed, channel: str, prior: Values) -> Values:
    """Logarithm of how likely the readings are: array, (hypothesis,).

    A rough look first, and the exact one only at what may matter: a table has thousands of hypotheses.
    """
    every = np.arange(len(found.fault))
    others = others_likelihood(table, found, seen, channel)
    if len(every) < FEW:
        return readings_likelihood(found, seen, channel, every) + others
    log = rough_likelihood(found, seen, channel)
    with np.errstate(divide="ignore"):
        worth = log + others + np.log(prior)
    near = np.flatnonzero(worth > max(worth.max(), log[0] + others[0]) - FAR)
    many = np.argsort(-worth, kind="stable")[:FEW]
    which = np.unique([0, *near, *many])
    log[which] = readings_likelihood(found, seen, channel, which)
    return log + others


def _candidates(table: Table, seen: Observed, good: str) -> list[str]:
    """Channels that may hold the fault: those with readings, but for the one known to be good.

    Any of them, but for that one, where it alone was read or only the whole unit: a rail's current, the mains watts.
    """
    read = {channel for channel, _ in seen.latent}
    every = [channel.name for channel in table.circuit.unit.channels]
    names = [name for name in every if name in read] or every
    return [name for name in names if name != good] or [name for name in every if name != good] or names


def _known_channels(table: Table, rows: Sequence[Reading], good: str) -> None:
    names = [channel.name for channel in table.circuit.unit.channels]
    for row in rows:
        if row.channel and row.channel not in (*names, good):
            said = f"'{row.channel}' is no channel of {table.circuit.unit.title}."
            raise UserError(Problem(said, row.where, nearest(row.channel, names)))


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
    known = 1 - allow.prior_healthy - allow.prior_unexplained
    stray = np.where(found.stray >= 0, found.prior, 0.0) * allow.prior_unexplained * allow.prior_stray / len(channels)
    return [prior / total * known + stray for prior in each]
