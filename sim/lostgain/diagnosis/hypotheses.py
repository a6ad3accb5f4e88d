"""The hypotheses: the healthy unit, and every fault at severities between those the table holds."""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.allowances import allowances
from lostgain.diagnosis.features import Feature, predicted
from lostgain.faults import Fault, Mode, Rates, modes_for
from lostgain.faults.severities import density
from lostgain.signatures import Table

Values = NDArray[np.float64]
Whole = NDArray[np.int_]

#: Severities put between two neighbouring ones of the table.
BETWEEN = 6
#: A draw's covariance counts fully only with many draws; with few, the off-diagonal part is distrusted.
TRUST = 8.0
#: Below this many draws a spread is pulled to the healthy unit's, which counts as this many more.
ENOUGH = 8
FEW = 3.0
#: How far a level that does not settle may be from the one taken, one standard deviation [dB].
UNSETTLED_DB = 3.0
#: A deviation from the nominal value by less than this factor is no fault.
WITHIN = 1.25


@dataclass(frozen=True)
class Hypotheses:
    """Predictions of one channel.

    Parameters
    ----------
    fault : array of int, (hypothesis,)
        Which of `suspects` it belongs to; -1 for the healthy unit, which comes first.
    row : array of int, (hypothesis,)
        The nearest row of the table.
    severity : array, (hypothesis,)
        NaN where the mode has none.
    mean : array, (hypothesis, feature)
        On the comparison scale.
    cov : array, (hypothesis, feature, feature)
        Spread over tolerances, and over the step between severities.
    prior : array, (hypothesis,)
        Share of the fault's probability; 1 in all for each fault.
    suspects : list of Fault
        Each part and mode once.
    shared : array of bool, (hypothesis,)
        True for a fault that all channels have.
    blind : list of Fault
        Faults of which the table lacks something that was read: there, they may show anything.
    """

    fault: Whole
    row: Whole
    severity: Values
    mean: Values
    cov: Values
    prior: Values
    suspects: list[Fault]
    shared: NDArray[np.bool_]
    blind: list[Fault]


@dataclass(frozen=True)
class _Step:
    """A severity on the way from one row of the table to the next."""

    suspect: int
    first: int
    second: int
    share: float
    severity: float
    prior: float


def hypotheses(table: Table, features: list[Feature]) -> Hypotheses:
    """Return every hypothesis's predictions of some features.

    Parameters
    ----------
    table : Table
    features : list of Feature
    """
    mean, cov = moments(predicted(table, features))
    _widen_unsettled(table, features, cov)
    blind = _fill_blind(features, mean, cov)
    suspects, steps = _steps(table)
    fault = np.array([step.suspect for step in steps])
    first = np.array([step.first for step in steps])
    second = np.array([step.second for step in steps])
    share = np.array([step.share for step in steps])
    middle = (1 - share)[:, None] * mean[first] + share[:, None] * mean[second]
    spread = (1 - share)[:, None, None] * cov[first] + share[:, None, None] * cov[second]
    width = (mean[second] - mean[first]) / BETWEEN
    spread += width[:, :, None] * width[:, None, :] / 12
    spread += _far(table, features, middle, _makers_affair(table)[first])
    return Hypotheses(
        fault=fault,
        row=np.where(share < 0.5, first, second),
        severity=np.array([step.severity for step in steps]),
        mean=middle,
        cov=spread,
        prior=np.array([step.prior for step in steps]),
        suspects=suspects,
        shared=np.array([index >= 0 and suspects[index].shared for index in fault]),
        blind=[table.faults[row - 1] for row in blind],
    )


def _far(table: Table, features: list[Feature], mean: Values, concerned: NDArray[np.bool_]) -> Values:
    """Covariance of what models may be off by where it is the maker's affair: array, (hypothesis, feature, feature).

    It grows with the distance from healthy.
    """
    allow = allowances(table.circuit.unit.folder)
    share = np.array([allow.model_far_level if each.is_level else allow.model_far_dc for each in features])
    off = share * np.abs(mean - mean[0]) * concerned[:, None]
    places = [(each.point, each.against, each.frequency) for each in features]
    same = np.array([[one == other for other in places] for one in places])
    return np.asarray(off[:, :, None] * off[:, None, :] * same)


def _makers_affair(table: Table) -> NDArray[np.bool_]:
    """Tell for each row whether what it shows depends on a device's maker: array, (row,)."""
    return np.array([False, *(not fault.members and mode_of(table, fault).makers_affair for fault in table.faults)])


def _steps(table: Table) -> tuple[list[Fault], list[_Step]]:
    suspects: list[Fault] = []
    steps = [_Step(-1, 0, 0, 0.0, np.nan, 1.0)]
    rows_of: dict[tuple[str, str], list[int]] = {}
    for number, fault in enumerate(table.faults, 1):
        rows_of.setdefault((fault.part, fault.mode), []).append(number)
    for rows in rows_of.values():
        fault = table.faults[rows[0] - 1]
        if fault.severity is None or len(rows) == 1:
            severity = np.nan if fault.severity is None else fault.severity
            steps.append(_Step(len(suspects), rows[0], rows[0], 0.0, severity, 1.0))
        else:
            steps += _between(table, rows, len(suspects))
        suspects.append(fault)
    return suspects, steps


def _between(table: Table, rows: list[int], suspect: int) -> list[_Step]:
    """Severities between the table's, with their prior shares."""
    levels = {row: table.faults[row - 1].severity or 0.0 for row in rows}
    rows = sorted(rows, key=lambda row: levels[row])
    mode = mode_of(table, table.faults[rows[0] - 1])
    found: list[_Step] = []
    for first, second in pairwise(rows):
        low, high = np.log(levels[first]), np.log(levels[second])
        last = second == rows[-1]
        for step in range(BETWEEN + (1 if last else 0)):
            share = step / BETWEEN
            at = (1 - share) * low + share * high
            if mode.severity == "times" and abs(at) < np.log(WITHIN):
                continue
            found.append(_Step(suspect, first, second, share, float(np.exp(at)), float(high - low)))
    weight = density(mode, np.array([step.severity for step in found])) * [step.prior for step in found]
    total = weight.sum() or 1.0
    return [
        _Step(step.suspect, step.first, step.second, step.share, step.severity, float(each / total))
        for step, each in zip(found, weight, strict=True)
    ]


def mode_of(table: Table, fault: Fault) -> Mode:
    """Return the catalogue's mode of a fault that is no cluster."""
    kind = table.circuit.parts[fault.part].part.kind
    return next(each for each in modes_for(kind) if each.name == fault.mode)


def _widen_unsettled(table: Table, features: list[Feature], cov: Values) -> None:
    """Allow for a level that had not settled when it was taken: it is what a meter showed at that moment."""
    settled = np.asarray(table.data.settled.values)
    for number, feature in enumerate(features):
        if feature.is_level:
            cov[np.flatnonzero(~settled[:, feature.frequency]), number, number] += UNSETTLED_DB**2


def _fill_blind(features: list[Feature], mean: Values, cov: Values) -> list[int]:
    """Let what could not be simulated be anything about the healthy value; return the rows concerned."""
    allow = allowances()
    for number, feature in enumerate(features):
        lost = ~np.isfinite(mean[:, number])
        mean[lost, number] = mean[0, number]
        cov[lost, number, :] = 0.0
        cov[lost, :, number] = 0.0
        cov[lost, number, number] = (allow.prior_broad_db if feature.is_level else allow.prior_broad_dc) ** 2
        if number == 0:
            rows = lost.copy()
        rows |= lost
    return [int(row) for row in np.flatnonzero(rows)] if features else []


def moments(predictions: Values) -> tuple[Values, Values]:
    """Return mean and covariance over the draws: arrays (row, feature), (row, feature, feature).

    Where a row has fewer draws for one feature than for another, each pair counts with the draws both have.

    Parameters
    ----------
    predictions : array, (row, sample, feature)
        From `features.predicted`; sample 0 is at nominal values.
    """
    draws = predictions[:, 1:]
    there = np.isfinite(draws)
    count = there.sum(axis=1)
    sums = np.where(there, draws, 0.0).sum(axis=1)
    mean = np.where(count >= 3, sums / np.maximum(count, 1), predictions[:, 0])
    deviation = np.where(there, draws - mean[:, None, :], 0.0)
    both = there.astype(float)
    pairs = np.swapaxes(both, 1, 2) @ both
    squares = np.swapaxes(deviation, 1, 2) @ deviation
    # A handful of draws says little about a spread: it is pulled to the healthy unit's, the less the more there are.
    own = squares / np.maximum(pairs - 1, 1)
    healthy = np.diag(np.diag(own[0]))
    few = FEW / (FEW + np.maximum(pairs - 1, 0))
    cov = np.where(pairs < ENOUGH, (1 - few) * own + few * healthy, own)
    size = cov.shape[1]
    return mean, cov * np.where(np.eye(size, dtype=bool), 1.0, pairs / (pairs + TRUST))


def priors(table: Table, found: Hypotheses, rates: Rates, channels: int) -> Values:
    """Return the prior of each suspect: array, (suspect,), adding up to one over all suspects and channels.

    Parameters
    ----------
    table : Table
    found : Hypotheses
    rates : Rates
    channels : int
        How many channels may hold the fault; a part that all share counts once.
    """
    weights = np.array([_weight(table, fault, rates) for fault in found.suspects])
    shared = np.array([fault.shared for fault in found.suspects])
    total = weights[shared].sum() + channels * weights[~shared].sum()
    return np.asarray(weights / total)


def _weight(table: Table, fault: Fault, rates: Rates) -> float:
    if fault.members:
        return rates.of_kind("cluster")
    kind = table.circuit.parts[fault.part].part.kind
    return rates.of_kind(kind) * rates.of_mode(kind, fault.mode)
