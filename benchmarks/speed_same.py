"""How far a row's means and spreads over the tolerance draws are from those of the plain build."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from benchmarks.speed_plain import Plain, decibels
from lostgain.signatures.row import RowResult

Values = NDArray[np.float64]

#: A spread counts as this much at least: what a settled transient leaves open [dB], and a thousandth of a volt.
LEAST_DB, LEAST_VOLTS = 0.1, 1e-3
#: Draws both must have for means and spreads to be compared.
ENOUGH = 8


@dataclass(frozen=True)
class Compared:
    """One row beside the plain build.

    Parameters
    ----------
    row : str
    mean, spread : array
        Differences in units of the plain build's spread, one a number: DC, then level and swing at every point and
        frequency.
    lacking : int
        Numbers that the plain build has and the table has with too few draws to tell.
    unsettled : int
        Frequencies at which the plain build found no steady state in most samples: left out.
    """

    row: str
    mean: Values
    spread: Values
    lacking: int
    unsettled: int


def compared(row: str, ours: RowResult, plain: list[Plain]) -> Compared:
    """Compare a row's numbers with the plain build's answers for the same samples.

    Parameters
    ----------
    row : str
        Its name.
    ours : RowResult
    plain : list of Plain
        One a sample, the nominal one first.
    """
    settled = np.array([each.settled for each in plain[1:]])
    known = settled.sum(axis=0) >= ENOUGH
    pairs = [(ours.dc[1:], np.array([each.dc for each in plain[1:]]), LEAST_VOLTS)]
    levels = ours.level, [each.level for each in plain]
    swings = ours.swing / 8**0.5, [each.swing / 8**0.5 for each in plain]
    for kept, theirs in (levels, swings):
        there = np.where(settled[:, None, :], np.array(theirs[1:]), np.nan)[:, :, known]
        pairs.append((_db(kept[1:][:, :, known]), _db(there), LEAST_DB))
    means, spreads, lacking = [], [], 0
    for fast, slow, least in pairs:
        both = np.isfinite(fast) & np.isfinite(slow)
        enough = both.sum(axis=0) >= ENOUGH
        lacking += int(((np.isfinite(slow).sum(axis=0) >= ENOUGH) & ~enough).sum())
        if not enough.any():
            continue
        one, other = (np.where(both, each, np.nan)[:, enough] for each in (fast, slow))
        sigma = np.nanstd(other, axis=0, ddof=1)
        unit = np.maximum(sigma, least)
        means.append(np.abs(np.nanmean(one, axis=0) - np.nanmean(other, axis=0)) / unit)
        spreads.append(np.abs(np.nanstd(one, axis=0, ddof=1) - sigma) / unit)
    return Compared(row, _joined(means), _joined(spreads), lacking, int((~known).sum()))


def _db(level: Values) -> Values:
    return np.where(np.isfinite(level), decibels(np.nan_to_num(level)), np.nan)


def _joined(parts: list[Values]) -> Values:
    return np.concatenate(parts) if parts else np.zeros(0)


def same_answer(rows: list[Compared]) -> dict[str, object]:
    """Return the figures: the largest difference, and how differences are spread over numbers and rows."""
    if not rows:
        return {}
    worst = np.array([max(float(each.mean.max(initial=0)), float(each.spread.max(initial=0))) for each in rows])
    every = np.concatenate([np.concatenate([each.mean, each.spread]) for each in rows])
    order = np.argsort(-worst)[:10]
    return {
        "largest": float(worst.max()),
        "of_mean": float(max(each.mean.max(initial=0) for each in rows)),
        "of_spread": float(max(each.spread.max(initial=0) for each in rows)),
        "within_goal": float(np.mean(every <= 0.1)),
        "quantile_95": float(np.quantile(every, 0.95)),
        "quantile_99": float(np.quantile(every, 0.99)),
        "rows": len(rows),
        "rows_within_goal": float(np.mean(worst <= 0.1)),
        "numbers": len(every),
        "lacking": sum(each.lacking for each in rows),
        "unsettled_frequencies": sum(each.unsettled for each in rows),
        "worst_rows": [[rows[at].row, round(float(worst[at]), 3)] for at in order],
    }
