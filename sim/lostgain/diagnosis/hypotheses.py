"""The hypotheses: the healthy unit, and every fault at severities between those the table holds."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.features import Feature, predicted
from lostgain.faults import Fault, Rates, modes_for
from lostgain.signatures import Table

Values = NDArray[np.float64]

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
    unknown : list of Fault
        Faults whose circuit could not be simulated.
    """

    fault: NDArray[np.int_]
    row: NDArray[np.int_]
    severity: Values
    mean: Values
    cov: Values
    prior: Values
    suspects: list[Fault]
    unknown: list[Fault]


def hypotheses(table: Table, features: list[Feature]) -> Hypotheses:
    """Return every hypothesis's predictions of some features.

    Parameters
    ----------
    table : Table
    features : list of Feature
    """
    predictions = predicted(table, features)
    mean, cov = moments(predictions)
    _widen_unsettled(table, features, cov)
    known = np.isfinite(mean).all(axis=1)
    parts: list[tuple[int, int, float, Values, Values, float]] = [(-1, 0, np.nan, mean[0], cov[0], 1.0)]
    suspects: list[Fault] = []
    unknown: list[Fault] = []
    rows_of: dict[tuple[str, str], list[int]] = {}
    for number, fault in enumerate(table.faults, 1):
        rows_of.setdefault((fault.part, fault.mode), []).append(number)
    for rows in rows_of.values():
        first = table.faults[rows[0] - 1]
        usable = [row for row in rows if known[row]]
        if not usable:
            unknown.append(first)
            continue
        suspects.append(first)
        for row, severity, middle, spread, prior in _severities(table, usable, mean, cov):
            parts.append((len(suspects) - 1, row, severity, middle, spread, prior))
    fault, row, severity, means, covs, priors = zip(*parts, strict=True)
    return Hypotheses(
        np.array(fault), np.array(row), np.array(severity, dtype=float), np.array(means), np.array(covs),
        np.array(priors), suspects, unknown,
    )  # fmt: skip


def _widen_unsettled(table: Table, features: list[Feature], cov: Values) -> None:
    """Allow for a level that had not settled when it was taken: it is what a meter showed at that moment."""
    settled = np.asarray(table.data.settled.values)
    for number, feature in enumerate(features):
        if feature.is_level:
            cov[~settled[:, feature.frequency], number, number] += UNSETTLED_DB**2


def moments(predictions: Values) -> tuple[Values, Values]:
    """Return mean and covariance over the draws: arrays (row, feature), (row, feature, feature).

    Where a row has fewer draws for one feature than for another, each pair counts with the draws both have.
    """
    draws = predictions[:, 1:]
    there = np.isfinite(draws)
    count = there.sum(axis=1)
    sums = np.where(there, draws, 0.0).sum(axis=1)
    mean = np.where(count >= 3, sums / np.maximum(count, 1), predictions[:, 0])
    deviation = np.where(there, draws - mean[:, None, :], 0.0)
    pairs = np.einsum("rsi,rsj->rij", there.astype(float), there.astype(float))
    squares = np.einsum("rsi,rsj->rij", deviation, deviation)
    # A handful of draws says little about a spread: it is pulled to the healthy unit's, the less the more there are.
    own = squares / np.maximum(pairs - 1, 1)
    healthy = np.diag(np.diag(own[0]))
    few = FEW / (FEW + np.maximum(pairs - 1, 0))
    cov = np.where(pairs < ENOUGH, (1 - few) * own + few * healthy, own)
    size = cov.shape[1]
    return mean, cov * np.where(np.eye(size, dtype=bool), 1.0, pairs / (pairs + TRUST))


def _severities(
    table: Table, rows: list[int], mean: Values, cov: Values
) -> list[tuple[int, float, Values, Values, float]]:
    """Rows of one fault, and steps between them: (row, severity, mean, cov, prior share)."""
    first = table.faults[rows[0] - 1]
    severities = [table.faults[row - 1].severity for row in rows]
    if first.severity is None or len(rows) == 1:
        return [(row, np.nan if severity is None else severity, mean[row], cov[row], 1.0 / len(rows))
                for row, severity in zip(rows, severities, strict=True)]  # fmt: skip
    mode = next(
        each for each in modes_for(table.circuit.parts[first.part].part.kind) if each.name == first.mode
    )
    order = sorted(range(len(rows)), key=lambda index: severities[index] or 0.0)
    rows = [rows[index] for index in order]
    level = np.log([severities[index] for index in order])
    weight = np.array([mode.weights[mode.levels.index(severities[index])] for index in order])  # type: ignore[arg-type]
    # Severities are logarithmic in kind; the weight of a level is spread over the stretch it stands for.
    edges = np.concatenate([[1.5 * level[0] - 0.5 * level[1]], (level[1:] + level[:-1]) / 2,
                            [1.5 * level[-1] - 0.5 * level[-2]]])  # fmt: skip
    density = weight / np.diff(edges)
    found = []
    for left in range(len(rows) - 1):
        last = left == len(rows) - 2
        for step in range(BETWEEN + (1 if last else 0)):
            share = step / BETWEEN
            at = (1 - share) * level[left] + share * level[left + 1]
            if mode.severity == "times" and abs(at) < np.log(WITHIN):
                continue
            a, b = rows[left], rows[left + 1]
            middle = (1 - share) * mean[a] + share * mean[b]
            spread = (1 - share) * cov[a] + share * cov[b]
            width = np.abs(mean[b] - mean[a]) / BETWEEN
            spread = spread + np.outer(width, width) / 12
            nearest = a if share < 0.5 else b
            prior = (1 - share) * density[left] + share * density[left + 1]
            found.append((nearest, float(np.exp(at)), middle, spread, float(prior * (level[left + 1] - level[left]))))
    total = sum(each[4] for each in found)
    return [(*each[:4], each[4] / total) for each in found]


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
