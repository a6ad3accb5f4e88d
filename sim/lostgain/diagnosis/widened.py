"""Where a table's rows are known less well than their draws say, and what is not known at all."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.allowances import allowances
from lostgain.diagnosis.common import dc_volts
from lostgain.diagnosis.features import DC, Feature, off_unsure, scaled, slope
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
    _unsettled(table, features, cov)
    _distorted(table, features, cov)
    _residue(table, features, cov)
    _dc(table, features, cov)


def _unsettled(table: Table, features: list[Feature], cov: Values) -> None:
    """Allow for what had not settled when it was taken: it is what a meter showed at that moment. In place."""
    settled = np.asarray(table.data.settled.values)
    for number, feature in enumerate(features):
        if feature.is_level:
            cov[np.flatnonzero(~settled[:, feature.frequency]), number, number] += UNSETTLED_DB**2
        elif feature.is_off:
            cov[:, number, number] += np.nan_to_num(off_unsure(table, feature)) ** 2


def _distorted(table: Table, features: list[Feature], cov: Values) -> None:
    """Allow for more where a wave is distorted: a device's curve says how much gets through. In place.

    What a gain set by resistors does is known well; what a transistor does that is cut off for half a cycle is not.
    """
    allow = allowances(table.circuit.unit.folder)
    places: dict[tuple[int, int], list[int]] = {}
    for number, each in enumerate(features):
        if each.is_level and not each.common:
            places.setdefault((each.point, each.against), []).append(number)
    for place, same in places.items():
        at = [features[number].frequency for number in same]
        shares = [table.distortion[:, point][:, at] for point in place if point >= 0]
        off = np.minimum(np.maximum.reduce(shares), MOST_DISTORTION)
        alike, own = allow.model_distorted_point_db**2, allow.model_distorted_each_db**2
        both = alike + own * np.eye(len(same))
        cov[:, np.array(same)[:, None], np.array(same)] += off[:, :, None] * off[:, None, :] * both


def _residue(table: Table, features: list[Feature], cov: Values) -> None:
    """Allow for what is left where feedback holds a point down, or a dead device lets through. In place.

    At a virtual earth a meter shows what the chip's gain leaves of its output, and that is its maker's; a track's
    resistance and stray coupling do as much. It is a share of the largest level in that stage.
    """
    share = allowances(table.circuit.unit.folder).model_residue
    stage = np.array([each.stage for name in table.points for each in table.circuit.unit.points if each.name == name])
    levels = np.nan_to_num(table.values("level")[:, 0].astype(float))
    for number, each in enumerate(features):
        if each.is_level and not each.common and each.against < 0:
            mine = levels[:, each.point, each.frequency]
            most = levels[:, stage == stage[each.point], each.frequency].max(axis=1)
            cov[:, number, number] += (scaled(mine + share * most, each) - scaled(mine, each)) ** 2


def _dc(table: Table, features: list[Feature], cov: Values) -> None:
    """Allow for more DC where a fault has moved it: what sets it there is another thing. In place.

    An amplifier's offset is known from the healthy unit's as long as its feedback is what it was.
    """
    allow = allowances(table.circuit.unit.folder)
    concerned = [number for number, each in enumerate(features) if each.frequency == DC]
    if not concerned:
        return
    dc = table.values("dc")[:, 0]
    for number in concerned:
        feature = features[number]
        volts = dc[:, feature.point] - (dc[:, feature.against] if feature.against >= 0 else 0.0)
        moved = np.nan_to_num(np.abs(volts - volts[0]), nan=np.inf)
        away = moved / allow.model_dc_volts
        more = allow.model_dc_volts**2 - dc_volts(table, feature, allow) ** 2
        cov[:, number, number] += (1 - np.exp(-(away**4))) * more * slope(float(volts[0]), feature) ** 2


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
