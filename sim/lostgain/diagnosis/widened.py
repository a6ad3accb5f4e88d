"""Where a table's rows are known less well than their draws say, and what is not known at all."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.allowances import allowances
from lostgain.diagnosis.common import dc_volts
from lostgain.diagnosis.features import Feature, by_place, off_unsure, scaled, slope
from lostgain.signatures import Table

Values = NDArray[np.float64]

#: How far a level that does not settle may be from the one taken, one standard deviation [dB].
UNSETTLED_DB = 3.0
#: More distortion than this counts as this: there is hardly a signal left.
MOST_DISTORTION = 1.0


def widen(table: Table, features: list[Feature], cov: Values) -> None:
    """Add to a table's covariances, in place, what the draws do not show.

    Parameters
    ----------
    table : Table
    features : list of Feature
    cov : array, (row, feature, feature)
    """
    for same in by_place(features):
        here = [features[number] for number in same]
        more = _levels(table, here) if here[0].is_level else _both(_dc(table, here))
        cov[:, np.array(same)[:, None], np.array(same)] += more
    for number, feature in enumerate(features):
        if feature.is_off:
            cov[:, number, number] += np.nan_to_num(off_unsure(table, feature)) ** 2


def _levels(table: Table, features: list[Feature]) -> Values:
    """Return what is not known of the levels of one place [dB²]: array, (row, level, level).

    Read with another instrument, a level of one frequency is off as before: two meters are no two witnesses of it.
    """
    allow = allowances(table.circuit.unit.folder)
    at = np.array([each.frequency for each in features])
    alike = at[:, None] == at[None, :]
    more = alike * (_both(_unsettled(table, at)) + _both(_residue(table, features, allow.model_residue)))
    if not features[0].common:  # which is a sine of a small signal
        each, point = allow.model_distorted_each_db**2, allow.model_distorted_point_db**2
        more += _both(_distorted(table, features)) * (point + alike * each)
    return np.asarray(more)


def _both(off: Values) -> Values:
    """Return what two are off together: array, (row, level, level)."""
    return off[:, :, None] * off[:, None, :]


def _unsettled(table: Table, at: NDArray[np.int_]) -> Values:
    """Return how far levels that had not settled may be from those taken [dB]: array, (row, level).

    What was taken is what a meter showed at that moment.
    """
    return np.where(np.asarray(table.data.settled.values)[:, at], 0.0, UNSETTLED_DB)


def _distorted(table: Table, features: list[Feature]) -> Values:
    """Return how distorted the levels' waves are, of a pair the worse one, as a fraction: array, (row, level).

    What a gain set by resistors does is known well; how much a transistor lets through that is cut off for half a cycle
    is in its curve.
    """
    at = [each.frequency for each in features]
    shares = [table.distortion[:, point][:, at] for point in (features[0].point, features[0].against) if point >= 0]
    return np.asarray(np.minimum(np.maximum.reduce(shares), MOST_DISTORTION))


def _residue(table: Table, features: list[Feature], share: float) -> Values:
    """Return what is left where feedback holds a point down, or a dead device lets through [dB]: array, (row, level).

    At a virtual earth a meter shows what the chip's gain leaves of its output, and that is its maker's; a track's
    resistance and stray coupling do as much. It is a share of the largest level in that stage. Nothing is said of pairs
    and of common mode.
    """
    levels = np.nan_to_num(table.values("level")[:, 0].astype(float))
    off = np.zeros((len(levels), len(features)))
    if features[0].common or features[0].against >= 0:
        return off
    point, stage = features[0].point, {each.name: each.stage for each in table.circuit.unit.points}
    mates = [number for number, name in enumerate(table.points) if stage[name] == stage[table.points[point]]]
    for number, each in enumerate(features):
        mine = levels[:, point, each.frequency]
        most = levels[:, mates, each.frequency].max(axis=1)
        off[:, number] = scaled(mine + share * most, each) - scaled(mine, each)
    return off


def _dc(table: Table, features: list[Feature]) -> Values:
    """Return how far DC may be off where a fault has moved it, on the comparison scale: array, (row, reading).

    What sets it there is another thing: an amplifier's offset is known from the healthy unit's as long as its feedback
    is what it was. All are of one place.
    """
    allow, place = allowances(table.circuit.unit.folder), features[0]
    dc = table.values("dc")[:, 0]
    volts = dc[:, place.point] - (dc[:, place.against] if place.against >= 0 else 0.0)
    moved = np.nan_to_num(np.abs(volts - volts[0]), nan=np.inf) / allow.model_dc_volts
    more = allow.model_dc_volts**2 - dc_volts(table, place, allow) ** 2
    off = np.sqrt((1 - np.exp(-(moved**4))) * more)
    return np.asarray(off[:, None] * np.array([slope(float(volts[0]), each) for each in features]))


def fill_blind(features: list[Feature], mean: Values, cov: Values) -> NDArray[np.bool_]:
    """Let what could not be simulated be anything about the healthy value, in place, and return what that is.

    Parameters
    ----------
    features : list of Feature
    mean : array, (row, feature)
        NaN for what is not known.
    cov : array, (row, feature, feature)

    Returns
    -------
    array of bool, (row, feature)
    """
    allow = allowances()
    lost = ~np.isfinite(mean)
    for number, feature in enumerate(features):
        rows = lost[:, number]
        mean[rows, number] = mean[0, number]
        cov[rows, number, :] = 0.0
        cov[rows, :, number] = 0.0
        cov[rows, number, number] = (allow.prior_broad_db if feature.is_level else allow.prior_broad_dc) ** 2
    return lost
