"""The hypotheses: the healthy unit, and every fault at severities between those the table holds."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.allowances import allowances
from lostgain.diagnosis.features import Feature, predicted
from lostgain.diagnosis.makers import BOTH, MakersAffair, far_from_healthy, makers_affair
from lostgain.diagnosis.moments import Moments, Pairs, moments, pairs_of
from lostgain.diagnosis.steps import steps
from lostgain.diagnosis.widened import fill_blind, widen
from lostgain.faults import Fault, Rates, Stray
from lostgain.signatures import Table

Values = NDArray[np.float64]
Whole = NDArray[np.int_]


@dataclass(frozen=True)
class Hypotheses:
    """Predictions of one channel.

    Parameters
    ----------
    fault : array of int, (hypothesis,)
        Which of `suspects` it belongs to; -1 for the healthy unit, which comes first, and for stray paths.
    first, second : arrays of int, (hypothesis,)
        The rows of the table it lies between; both the same where there is nothing between.
    way : array, (hypothesis,)
        How far from the one to the other, 0 to 1.
    parts : array of int, (hypothesis,)
        Into how many parts the stretch between the two rows is cut.
    severity : array, (hypothesis,)
        NaN where the mode has none.
    mean : array, (hypothesis, feature)
        On the comparison scale.
    prior : array, (hypothesis,)
        Share of the fault's probability; 1 in all for each fault.
    suspects : tuple of Fault
        Each part and mode once.
    shared : array of bool, (hypothesis,)
        True for a fault that all channels have.
    lost : array of bool, (hypothesis, feature)
        What the table lacks: there, the fault may show anything.
    blind : list of Fault
        Faults of which the table lacks something that was read.
    rows : Moments
        Means and covariances of the table's rows.
    far : array, (hypothesis, feature)
        How far from healthy the prediction is where it is a maker's affair, else 0.
    off : MakersAffair
        What models may be off by there.
    paths : tuple of Stray
        Each stray path once.
    stray : array of int, (hypothesis,)
        Which of `paths` it is; -1 where it is none.
    """

    fault: Whole
    first: Whole
    second: Whole
    way: Values
    parts: Whole
    severity: Values
    mean: Values
    prior: Values
    suspects: tuple[Fault, ...]
    shared: NDArray[np.bool_]
    lost: NDArray[np.bool_]
    blind: list[Fault]
    rows: Moments
    far: Values
    off: MakersAffair
    paths: tuple[Stray, ...]
    stray: Whole

    @cached_property
    def row(self) -> Whole:
        """The nearest row of the table: array, (hypothesis,)."""
        return np.where(self.way < 0.5, self.first, self.second)

    @cached_property
    def makers_affair(self) -> NDArray[np.bool_]:
        """Which hypotheses depend on a device's maker: array, (hypothesis,)."""
        return np.asarray(self.far.any(axis=1))

    def cov(self, which: Whole, columns: Whole | None = None, kind: str = BOTH) -> Values:
        """Return the spread over tolerances and over the step between severities: array, (which, column, column).

        Parameters
        ----------
        which : array of int, (which,)
            Hypotheses.
        columns : array of int or None
            Features, some more than once if need be; all if None.
        kind : str
            `NEAR` where a device does about what its model does, `LOOSE` where the description is only about right as
            well, `WILD` where the device does something else, or `BOTH` as one spread.
        """
        at = np.arange(self.mean.shape[1]) if columns is None else columns
        return self._spread(which, pairs_of(at, at), kind)

    def variance(self, which: Whole, columns: Whole) -> Values:
        """Return the diagonal of `cov` alone: array, (which, column)."""
        return self._spread(which, (columns, columns), BOTH)

    def between(self, which: Whole, columns: Whole, others: Whole) -> Values:
        """Return what `cov` says of some features with some others: array, (which, column, other)."""
        return self._spread(which, pairs_of(columns, others), BOTH)

    def _spread(self, which: Whole, pairs: Pairs, kind: str) -> Values:
        first, second = self.first[which], self.second[which]
        spread = _between_rows(self.rows, first, second, self.way[which], pairs)
        _add_steps(spread, self.rows, first, second, pairs, self.parts[which])
        self.off.add(spread, self.far[which], pairs, kind)
        self.off.add_size(spread, self.mean[which] - self.mean[0], pairs)
        self.off.add_loose(spread, pairs, kind)
        return spread

    def segments(self, which: Whole, columns: Whole, kind: str = BOTH) -> tuple[Values, Values, Whole]:
        """Return means and covariances of whole stretches between two rows of the table, severity and all.

        A rough look at many hypotheses at once.

        Parameters
        ----------
        which : array of int, (which,)
            Hypotheses.
        columns : array of int, (column,)
        kind : str
            As for `cov`.

        Returns
        -------
        mean, cov : arrays, (segment, column), (segment, column, column)
        segment : array of int, (which,)
            Which one each hypothesis lies in.
        """
        ends, segment = np.unique(np.stack([self.first[which], self.second[which]]), axis=1, return_inverse=True)
        first, second = ends
        mean = (self.rows.mean[first] + self.rows.mean[second])[:, columns] / 2
        half = np.full(len(first), 0.5)
        far = np.zeros((len(first), self.mean.shape[1]))
        far[segment.ravel()] = self.far[which]
        pairs = pairs_of(columns, columns)
        spread = _between_rows(self.rows, first, second, half, pairs)
        _add_steps(spread, self.rows, first, second, pairs, np.ones(len(first), dtype=int))
        self.off.add(spread, far, pairs, kind)
        self.off.add_size(spread, (self.rows.mean[first] + self.rows.mean[second]) / 2 - self.mean[0], pairs)
        self.off.add_loose(spread, pairs, kind)
        return mean, spread, segment.ravel()


def _between_rows(rows: Moments, first: Whole, second: Whole, way: Values, pairs: Pairs) -> Values:
    """Covariance part of the way from one row to another: array, (hypothesis, *pairs)."""
    spread = rows.part(first, pairs)
    moved = np.flatnonzero(first != second)
    if len(moved):
        share = way[moved].reshape(-1, *(1,) * (spread.ndim - 1))
        spread[moved] = (1 - share) * spread[moved] + share * rows.part(second[moved], pairs)
    return spread


def _add_steps(spread: Values, rows: Moments, first: Whole, second: Whole, pairs: Pairs, parts: Whole) -> None:
    """Add to a covariance, in place, the width of a step between two rows: of one of so many parts."""
    moved = np.flatnonzero(first != second)
    if len(moved):
        width = (rows.mean[second[moved]] - rows.mean[first[moved]]) / (parts[moved, None] * 12**0.5)
        spread[moved] += width[:, pairs[0]] * width[:, pairs[1]]


def hypotheses(table: Table, features: list[Feature]) -> Hypotheses:
    """Return every hypothesis's predictions of some features.

    Parameters
    ----------
    table : Table
    features : list of Feature
    """
    allow = allowances(table.circuit.unit.folder)
    rows = moments(predicted(table, features))
    widen(table, features, rows.cov)
    lost = fill_blind(features, rows.mean, rows.cov)
    each = steps(table)
    first, second, way = each.first, each.second, each.way[:, None]
    mean = (1 - way) * rows.mean[first] + way * rows.mean[second]
    return Hypotheses(
        fault=each.fault,
        first=first,
        second=second,
        way=each.way,
        parts=each.parts,
        severity=each.severity,
        mean=mean,
        prior=each.prior,
        suspects=each.suspects,
        shared=each.shared,
        lost=lost[first] | lost[second],
        blind=[table.faults[row - 1] for row in np.flatnonzero(lost.any(axis=1)) if 0 < row <= len(table.faults)],
        rows=rows,
        far=far_from_healthy(features, mean, allow.model_far_share) * each.makers_affair[:, None],
        off=makers_affair(allow, features),
        paths=each.paths,
        stray=each.stray,
    )


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
        return rates.of_cluster(fault.mode)
    kind = table.circuit.parts[fault.part].part.kind
    return rates.of_kind(kind) * rates.of_mode(kind, fault.mode)
