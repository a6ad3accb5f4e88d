"""Two failures at once, for readings that no single one explains."""

from __future__ import annotations

import time
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import combinations

import numpy as np
from numpy.typing import NDArray
from scipy.special import logsumexp

from lostgain.diagnosis.allowances import allowances
from lostgain.diagnosis.doubts import none_explains
from lostgain.diagnosis.driven import Drives, drives_of, predicted_again
from lostgain.diagnosis.likelihood import gaussian, latent_cov
from lostgain.diagnosis.model import Verdict
from lostgain.diagnosis.posterior import Case, Posterior, weigh
from lostgain.diagnosis.severity import sentence
from lostgain.engine import Pool
from lostgain.faults import Fault, Rates, rates
from lostgain.readings import Readings
from lostgain.signatures import Table
from lostgain.signatures.row import RowResult, RowTask
from lostgain.signatures.rows import run_row

Values = NDArray[np.float64]
Progress = Callable[[int, int], None]

#: Single faults whose pairs are tried: those that explain most of the readings.
SINGLES = 14
#: A fault moves a reading with the power off where it changes it by more than this, on the comparison scale.
MOVED = 0.05
#: Longest time to spend on it [s].
SECONDS = 20.0


@dataclass(frozen=True)
class Two:
    """Two failures that together explain the readings.

    Parameters
    ----------
    faults : tuple of Fault
    parts : tuple of str
        Designators in the suspected channel.
    text : str
        What is wrong, for people.
    channel : str
    probability : float
        Among the pairs tried and "something else altogether".
    """

    faults: tuple[Fault, ...]
    parts: tuple[str, ...]
    text: str
    channel: str
    probability: float


@dataclass(frozen=True)
class Tried:
    """What became of trying pairs.

    Parameters
    ----------
    pairs : tuple of Two
        Most probable first; those below one in a hundred are left out.
    tried, possible : int
        How many of the pairs that could matter were simulated within the time.
    seconds : float
        The time they were given [s].
    """

    pairs: tuple[Two, ...]
    tried: int
    possible: int
    seconds: float = SECONDS


def unexplained_alone(verdict: Verdict) -> bool:
    """Tell whether a verdict says that no single failure explains the readings, or only by leaving one of them out."""
    left_out = verdict.contradiction is not None and not verdict.by_slip
    return left_out or none_explains(verdict.unexplained, verdict.fit)


def two_at_once(
    table: Table,
    readings: Readings,
    pool: Pool,
    rate_set: str | Rates = "bench",
    seconds: float = SECONDS,
    progress: Progress | None = None,
) -> Tried:
    """Try two failures at once.

    Parameters
    ----------
    table : Table
    readings : Readings
        That no single failure explains.
    pool : Pool
    rate_set : str or Rates
    seconds : float
        Longest time to spend [s].
    progress : callable or None
        Called with pairs simulated and pairs in all.

    Returns
    -------
    Tried
        Only pairs in the same channel are tried, at severities the table holds and at nominal values.
    """
    chosen = rates(rate_set) if isinstance(rate_set, str) else rate_set
    posterior = weigh(table, readings.rows, readings.good, chosen)
    if not len(posterior.seen.value):
        return Tried((), 0, 0, seconds)
    jobs = [(case, pair) for case in posterior.cases for pair in combinations(_singles(table, posterior, case), 2)]
    jobs = [job for job in jobs if table.faults[job[1][0] - 1].part != table.faults[job[1][1] - 1].part]
    jobs.sort(key=lambda job: -_promise(posterior, job))
    drives = drives_of(table.circuit, posterior.seen.features)
    rows = _simulated(table, jobs, drives, pool, seconds, progress)
    logs = np.array([_log(table, posterior, *jobs[number], drives, each) for number, each in rows])
    broad = np.log(max(posterior.unexplained, 1e-300)) + posterior.evidence
    total = logsumexp([*logs, broad])
    found = [
        _named(table, jobs[number], float(np.exp(log - total))) for (number, _), log in zip(rows, logs, strict=True)
    ]
    kept = sorted((each for each in found if each.probability > 0.01), key=lambda each: -each.probability)
    return Tried(tuple(kept), len(rows), len(jobs), seconds)


def _singles(table: Table, posterior: Posterior, case: Case) -> list[int]:
    """Rows of the faults that explain most readings, each part and mode once."""
    score = _partial(posterior, case)
    kept: dict[tuple[str, str], int] = {}
    for index in np.argsort(-score):
        row = int(posterior.found.row[index])
        if row == 0 or row > len(table.faults):
            continue
        fault = table.faults[row - 1]
        if not fault.members:
            kept.setdefault((fault.part, fault.mode), row)
        if len(kept) == SINGLES:
            break
    return list(kept.values())


def _partial(posterior: Posterior, case: Case) -> Values:
    """How many readings a hypothesis explains: each by itself, and no worse than a reading that may be anything."""
    seen = posterior.seen
    middle = case.mean @ seen.operator.T
    every = np.arange(len(middle))
    cov = latent_cov(posterior.found, seen, case.channel, every)
    spread = np.diagonal(seen.projected(cov), axis1=1, axis2=2) + np.diag(seen.noise)
    fits = -0.5 * ((seen.value - middle) ** 2 / spread + np.log(spread))
    allow = allowances()
    level = np.array([seen.features[seen.latent[int(np.argmax(np.abs(row)))][1]].is_level for row in seen.operator])
    anything = -np.log(np.where(level, allow.prior_broad_db, allow.prior_broad_dc))
    with np.errstate(divide="ignore"):
        return np.asarray(np.maximum(fits, anything).sum(axis=1) + 0.5 * np.log(case.prior + 1e-12))


def _promise(posterior: Posterior, job: tuple[Case, tuple[int, ...]]) -> float:
    """Pairs whose members together leave fewest readings unexplained come first."""
    case, pair = job
    score = _partial(posterior, case)
    return float(sum(score[posterior.found.row == row].max() for row in pair))


def _simulated(
    table: Table,
    jobs: Sequence[tuple[Case, tuple[int, ...]]],
    drives: Sequence[Drives],
    pool: Pool,
    seconds: float,
    progress: Progress | None,
) -> list[tuple[int, list[RowResult]]]:
    """Return which jobs were done in the time, with the rows of both failures at each of the drives."""
    end = time.monotonic() + seconds
    # One row for each pair, whatever the channel: channels are the same circuit.
    pairs = list(dict.fromkeys(pair for _, pair in jobs))
    wanted = [(pair, each) for pair in pairs for each in drives]
    tasks = [
        RowTask(each.circuit, tuple(table.faults[row - 1] for row in pair), [], np.zeros((0, 0)), 0)
        for pair, each in wanted
    ]
    found: dict[tuple[int, ...], dict[int, RowResult]] = {}
    for count, (index, outcome) in enumerate(pool.imap(run_row, tasks), 1):
        pair, each = wanted[index]
        if outcome.error is None:
            found.setdefault(pair, {})[each.first] = outcome.value
        if progress is not None:
            progress(count // len(drives), len(pairs))
        if time.monotonic() > end:
            break
    whole = {pair: [rows[each.first] for each in drives] for pair, rows in found.items() if len(rows) == len(drives)}
    return [(number, whole[pair]) for number, (_, pair) in enumerate(jobs) if pair in whole]


def _log(
    table: Table, posterior: Posterior, case: Case, pair: tuple[int, ...], drives: Sequence[Drives],
    rows: Sequence[RowResult],
) -> float:  # fmt: skip
    """Log probability of a pair and the readings, up to what all pairs have in common."""
    seen, found = posterior.seen, posterior.found
    mean = _predicted_of_both(table, posterior, case, pair, drives, rows)
    if not np.isfinite(mean).all():
        return -np.inf
    columns = np.array([feature for _, feature in seen.latent], dtype=int)
    channels = np.array([channel for channel, _ in seen.latent], dtype=object)
    here = (channels == case.channel) | (channels == "")
    middle = np.where(here, mean[columns], found.mean[0, columns])
    # The spread of the wider of both, which is mostly the healthy unit's.
    spreads = [case.cov(int(np.flatnonzero(found.row == each)[0])) for each in pair]
    cov = max(spreads, key=lambda each: float(np.trace(each)))
    log = gaussian(
        seen.value, (seen.operator @ middle)[None], (seen.operator @ cov @ seen.operator.T + seen.noise)[None]
    )[0]
    prior = [float(case.prior[found.row == each].sum()) for each in pair]
    return float(log + np.log(prior[0] + 1e-15) + np.log(prior[1] + 1e-15))


def _predicted_of_both(
    table: Table, posterior: Posterior, case: Case, pair: tuple[int, ...], drives: Sequence[Drives],
    rows: Sequence[RowResult],
) -> Values:  # fmt: skip
    """Return what a pair predicts: array, (feature,).

    With the power off, what is read across a part is mostly its own affair: of both, the one that moves it counts, and
    at the severity that fits best, since an ohmmeter is too exact for the severities of a table.
    """
    found, features = posterior.found, posterior.seen.features
    off = np.array([number for number, each in enumerate(features) if each.is_off], dtype=int)
    powered = [number for number, each in enumerate(features) if not each.is_off]
    mean = found.mean[0].copy()
    if powered:
        mean[powered] = predicted_again(drives, rows, [features[number] for number in powered], table.key)
    if len(off):
        each = np.stack([found.mean[_fitting(posterior, case, row, off)][off] for row in pair])
        mean[off] = each[np.argmax(np.abs(each - found.mean[0, off]), axis=0), np.arange(len(off))]
    return np.asarray(mean)


def _fitting(posterior: Posterior, case: Case, row: int, off: NDArray[np.int_]) -> int:
    """Return the hypothesis of a row's fault that agrees best with the readings that it moves with the power off."""
    found, seen = posterior.found, posterior.seen
    at = int(np.flatnonzero(found.row == row)[0])
    mine = np.flatnonzero(found.fault == found.fault[at]) if found.fault[at] >= 0 else np.array([at])
    miss = np.zeros(len(mine))
    for number, reading in enumerate(seen.operator):
        latent = int(np.argmax(np.abs(reading)))
        channel, feature = seen.latent[latent]
        if feature in off and channel == case.channel and np.count_nonzero(reading) == 1:
            most = float(np.abs(found.mean[mine, feature] - found.mean[0, feature]).max())
            if most > MOVED:
                miss += np.minimum(np.abs(found.mean[mine, feature] - seen.value[number]), most)
    return int(mine[np.argmin(miss)])


def _named(table: Table, job: tuple[Case, tuple[int, ...]], probability: float) -> Two:
    case, pair = job
    faults = tuple(table.faults[row - 1] for row in pair)
    channel = next(each for each in table.circuit.unit.channels if each.name == case.channel)
    says = [sentence(fault, fault.severity, None, table.circuit, channel) for fault in faults]
    parts = tuple(fault.part if fault.shared else channel.called(fault.part) for fault in faults)
    return Two(faults, parts, " and ".join(says), case.channel, probability)
