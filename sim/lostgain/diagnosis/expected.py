"""What each hypothesis predicts for readings not taken yet, given those that were.

Readings taken and readings to come share the generator's level, the controls, the part tolerances, how far the models
are off, and the gain of an instrument: what was read tells about all of these, and so about what will be read. Each
hypothesis's prediction is therefore the conditional normal distribution, not the one it had before.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import astuple

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.belief import Belief
from lostgain.diagnosis.candidates import Candidate
from lostgain.diagnosis.common import Common, common_allowance
from lostgain.diagnosis.features import QUANTITY, RIPPLE, Feature, unscaled_array
from lostgain.diagnosis.hypotheses import Hypotheses, hypotheses
from lostgain.diagnosis.observed import DB, Observed
from lostgain.readings.model import Instrument
from lostgain.signatures import Table

Values = NDArray[np.float64]

#: Predictions of so many tables are kept between one reading and the next.
KEPT = 3
_kept: dict[tuple[str, tuple[Feature, ...]], Hypotheses] = {}


def expected(
    table: Table, belief: Belief, wanted: Sequence[Candidate], instruments: Mapping[str, Instrument]
) -> tuple[Values, Values]:
    """Return what each hypothesis predicts for readings to come.

    Parameters
    ----------
    table : Table
    belief : Belief
    wanted : sequence of Candidate
    instruments : mapping
        Name to Instrument.

    Returns
    -------
    mean, sigma : arrays, (row, candidate)
        On the comparison scale, instrument errors included.
    """
    mean, own, single, white = _known(table, belief, wanted, instruments)
    if white is not None:
        own = own - np.sum(white**2, axis=1)
    # However well the rest is known, a reading keeps its own error.
    return mean, np.sqrt(np.maximum(own, single**2 + 1e-6))


def together(
    table: Table, belief: Belief, wanted: Sequence[Candidate], instruments: Mapping[str, Instrument]
) -> tuple[Values, Values, Values]:
    """Return the same as `expected` with how readings to come go together, for a few of them.

    Returns
    -------
    mean : array, (row, candidate)
    cov : array, (row, candidate, candidate)
        Of what the readings share and of what they would show without an error of their own.
    single : array, (row, candidate)
        The error that each reading has by itself; not in `cov`.
    """
    mean, _, single, white = _known(table, belief, wanted, instruments)
    place = {feature: number for number, feature in enumerate(_features(belief, wanted, table)[0])}
    new = [(each.reading.channel, each.feature) for each in wanted]
    _, cov = _moments(_features(belief, wanted, table)[1], belief, place, new, new)
    cov = cov + common_allowance(table, new).always
    _, scale, zero = errors(wanted, mean, instruments)
    names = np.array([each.reading.instrument for each in wanted])
    same = names[:, None] == names[None, :]
    cov = cov + same * (scale[:, :, None] * scale[:, None, :] + zero[:, :, None] * zero[:, None, :])
    return mean, cov - (np.swapaxes(white, 1, 2) @ white if white is not None else 0.0), single


def units_drawn(
    mean: Values, cov: Values, single: Values, count: int, seed: int
) -> tuple[Values, Values, NDArray[np.int_]]:
    """Return units drawn from what `together` gives.

    Parameters
    ----------
    mean, cov, single : arrays
    count : int
        Units of each row: an even number, each drawn with its mirror image.
    seed : int

    Returns
    -------
    shown : array, (unit, candidate)
        What the readings would show without errors of their own, on the comparison scale.
    error : array, (unit, candidate)
    row : array of int, (unit,)
        Whose unit it is.
    """
    size, vector = np.linalg.eigh(cov)
    root = vector * np.sqrt(np.maximum(size, 0.0))[:, None, :]
    z = np.random.default_rng(seed).standard_normal((count // 2, mean.shape[1]))
    z = np.concatenate([z, -z])
    shown = mean[:, None, :] + np.einsum("rij,kj->rki", root, z)
    row = np.repeat(np.arange(len(mean)), count)
    return shown.reshape(len(row), -1), np.sqrt(single[row] ** 2 + 1e-6), row


def _features(belief: Belief, wanted: Sequence[Candidate], table: Table) -> tuple[tuple[Feature, ...], Hypotheses]:
    return _predictions(table, [*belief.seen.features, *(each.feature for each in wanted)])


def _known(
    table: Table, belief: Belief, wanted: Sequence[Candidate], instruments: Mapping[str, Instrument]
) -> tuple[Values, Values, Values, Values | None]:
    """Mean given what was read, variance without it, each reading's own error, and what the readings took off."""
    seen = belief.seen
    found = _features(belief, wanted, table)
    place = {feature: number for number, feature in enumerate(found[0])}
    new = [(each.reading.channel, each.feature) for each in wanted]
    old = [(channel, seen.features[index]) for channel, index in seen.latent]
    common = common_allowance(table, [*old, *new])
    mean, own = _moments(found[1], belief, place, new, new, diagonal=True)
    own = own + np.diag(common.always)[len(old) :]
    single, scale, zero = errors(wanted, mean, instruments)
    own = own + single**2 + scale**2 + zero**2
    if not len(seen.value):
        return mean, own, single, None
    before = (mean, scale, zero)
    mean, white = _conditioned(found[1], belief, place, (old, new), common, before, instruments, wanted)
    return mean, own, single, white


def _predictions(table: Table, wanted: Sequence[Feature]) -> tuple[tuple[Feature, ...], Hypotheses]:
    """Return predictions of these features and those of other steps: their order never changes what is kept."""
    features = tuple(sorted(set(wanted), key=astuple))
    for (key, held), hypotheses_held in _kept.items():
        if key == table.key and set(features) <= set(held):
            return held, hypotheses_held
    result = hypotheses(table, list(features))
    while len(_kept) >= KEPT:
        _kept.pop(next(iter(_kept)))
    _kept[(table.key, features)] = result
    return features, result


def _moments(
    found: Hypotheses, belief: Belief, place: Mapping[Feature, int], one: Sequence[tuple[str, Feature]],
    other: Sequence[tuple[str, Feature]], diagonal: bool = False,
) -> tuple[Values, Values]:  # fmt: skip
    """Means of `one` and covariances with `other`, over part tolerances: (row, one), (row, one, other).

    A channel that does not hold the fault behaves like the healthy unit, and its parts are others.
    """
    first = np.array([place[feature] for _, feature in one], dtype=int)
    here = _here(found, belief, [channel for channel, _ in one])
    rows = belief.hypothesis
    mean = np.where(here, found.mean[rows][:, first], found.mean[0, first])
    if diagonal:
        own = found.variance(np.append(0, rows), first)
        return mean, np.where(here, own[1:], own[0])
    second = np.array([place[feature] for _, feature in other], dtype=int)
    there = _here(found, belief, [channel for channel, _ in other])
    same = np.array([[a == b for b, _ in other] for a, _ in one], dtype=float).reshape(len(one), len(other))
    both = here[:, :, None] & there[:, None, :]
    own = found.between(np.append(0, rows), first, second)
    return mean, np.where(both, own[1:], own[0]) * same


def _here(found: Hypotheses, belief: Belief, channels: Sequence[str]) -> NDArray[np.bool_]:
    faulty = np.array(belief.faulty, dtype=object)[:, None] == np.array(channels, dtype=object)[None, :]
    whole = np.array([not channel for channel in channels], dtype=bool)  # what is read of the whole unit
    shared = found.shared[belief.hypothesis][:, None]
    return np.asarray(faulty | whole[None, :] | shared, dtype=bool).reshape(len(belief.faulty), -1)


def _conditioned(
    found: Hypotheses, belief: Belief, place: Mapping[Feature, int],
    keys: tuple[list[tuple[str, Feature]], list[tuple[str, Feature]]], common: Common,
    before: tuple[Values, Values, Values], instruments: Mapping[str, Instrument], wanted: Sequence[Candidate],
) -> tuple[Values, Values]:  # fmt: skip
    """Mean of the readings to come given those taken, and the root of what that takes off their covariance."""
    old, new = keys
    seen, count = belief.seen, len(old)
    old_mean, old_cov = _moments(found, belief, place, old, old)
    _, cross = _moments(found, belief, place, new, old)
    mean, scale, zero = before
    healthy = found.mean[0, [place[feature] for _, feature in (*old, *new)]]
    kept = common.kept(np.concatenate([old_mean, mean], axis=1), healthy)
    of_old, of_new = kept[:, :count], kept[:, count:]
    old_cov = old_cov + common.always[:count, :count]
    old_cov = old_cov + common.alike[:count, :count] * of_old[:, :, None] * of_old[:, None, :]
    cross = cross + common.always[count:, :count]
    cross = cross + common.alike[count:, :count] * of_new[:, :, None] * of_old[:, None, :]
    pick = seen.operator
    taken = pick @ old_cov @ pick.T + seen.noise
    between = cross @ pick.T
    old_scale, old_zero = _shared(seen, instruments)
    names = np.array([row.instrument for row in seen.readings])
    same = np.array([each.reading.instrument for each in wanted])[:, None] == names[None, :]
    between = between + same * (scale[:, :, None] * old_scale + zero[:, :, None] * old_zero)
    lower = np.linalg.cholesky(taken + 1e-9 * np.eye(len(seen.value)))
    white = np.linalg.solve(lower, np.swapaxes(between, 1, 2))
    off = np.linalg.solve(lower, (seen.value - old_mean @ pick.T)[..., None])
    return mean + np.sum(white * off, axis=1), white


def errors(
    wanted: Sequence[Candidate], mean: Values, instruments: Mapping[str, Instrument]
) -> tuple[Values, Values, Values]:
    """Return instrument errors of readings to come, on the comparison scale: each its own, and those it shares.

    Parameters
    ----------
    wanted : sequence of Candidate
    mean : array, (row, candidate)
        Where each hypothesis expects the reading.
    instruments : mapping

    Returns
    -------
    own, scale, zero : arrays, (row, candidate)
    """
    parts = [
        error_parts(unscaled_array(mean[:, number], each.feature), each.feature, instruments[each.reading.instrument])
        for number, each in enumerate(wanted)
    ]
    own, scale, zero = (np.stack([part[kind] for part in parts], axis=1) for kind in range(3))
    return own, scale, zero


def error_parts(volts: Values, feature: Feature, instrument: Instrument) -> tuple[Values, Values, Values]:
    """Return an instrument's errors at some voltages: its own, its gain's and its zero's, on the comparison scale.

    The same errors as `lostgain.diagnosis.observed` gives a reading once it is taken.
    """
    if feature.is_level:
        root = np.hypot(volts, feature.floor) + 1e-12
        at = DB * (volts / root) ** 2
        own = np.hypot(at * instrument.read_error, DB * 0.25 * feature.floor / root)
        return own, at * instrument.scale_error, np.zeros_like(at)
    at = 1 / np.hypot(volts, feature.unit_size)
    own = at * np.hypot(volts * instrument.read_error, instrument.floor(QUANTITY[feature.frequency]) / 4)
    zero = 0.0 if feature.whole_unit or feature.frequency == RIPPLE else instrument.zero_error
    return own, at * volts * instrument.scale_error, at * zero


def _shared(seen: Observed, instruments: Mapping[str, Instrument]) -> tuple[Values, Values]:
    """What a unit error of an instrument's gain and zero adds to each reading taken: arrays, (reading,)."""
    scale, zero = np.zeros(len(seen.value)), np.zeros(len(seen.value))
    for number, reading in enumerate(seen.readings):
        single = np.flatnonzero(seen.operator[number])
        if len(single) != 1 or reading.word or reading.below or reading.value is None:
            continue
        feature = seen.features[seen.latent[int(single[0])][1]]
        parts = error_parts(np.array([reading.value]), feature, instruments[reading.instrument])
        scale[number], zero[number] = parts[1][0], parts[2][0]
    return scale, zero
