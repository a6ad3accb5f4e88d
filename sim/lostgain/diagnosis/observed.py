"""Readings as numbers on the comparison scale, with what all of them have in common.

What is compared is ``A y``, where ``y`` are the features of all channels on the comparison scale (`features`): one row
of ``A`` a reading, a one where it was taken; for "same as good" a one and a minus one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.allowances import Allowances, allowances
from lostgain.diagnosis.features import Feature, feature_of, scaled, slope
from lostgain.diagnosis.shapes import PICTURES
from lostgain.readings.model import Instrument, Reading
from lostgain.signatures import Table

Values = NDArray[np.float64]

DB = 20 / np.log(10)  # decibels for a relative change of one


@dataclass
class Observed:
    """What was read.

    Parameters
    ----------
    features : list of Feature
        Each once.
    latent : list of (str, int)
        Channel and feature of each column of `operator`.
    operator : array, (reading, latent)
    value : array, (reading,)
        On the comparison scale.
    noise : array, (reading, reading)
        Instrument errors.
    common : array, (latent, latent)
        Generator, controls and model: what all hypotheses allow for.
    readings : list of Reading
        The reading of each row.
    words : list of (Reading, int)
        Readings in words that are no numbers, and the feature each is about.
    left_out : list of str
        Readings that could not be used, with the reason.
    """

    features: list[Feature] = field(default_factory=list)
    latent: list[tuple[str, int]] = field(default_factory=list)
    operator: Values = field(default_factory=lambda: np.zeros((0, 0)))
    value: Values = field(default_factory=lambda: np.zeros(0))
    noise: Values = field(default_factory=lambda: np.zeros((0, 0)))
    common: Values = field(default_factory=lambda: np.zeros((0, 0)))
    readings: list[Reading] = field(default_factory=list)
    words: list[tuple[Reading, int]] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)


@dataclass(frozen=True)
class _Row:
    reading: Reading
    entries: tuple[tuple[tuple[str, Feature], float], ...]
    value: float
    own: float
    scale: float
    zero: float


def observed(table: Table, readings: Sequence[Reading], instruments: Mapping[str, Instrument], good: str) -> Observed:
    """Return readings as numbers.

    Parameters
    ----------
    table : Table
    readings : sequence of Reading
    instruments : mapping
        Name to Instrument.
    good : str
        The channel known to be good, or empty.
    """
    out = Observed()
    rows: list[_Row] = []
    words: list[tuple[Reading, Feature]] = []
    for reading in readings:
        instrument = instruments[reading.instrument]
        feature = feature_of(reading, table, instrument)
        if feature is None:
            out.left_out.append(_why_not(reading, table))
        elif reading.word in PICTURES or reading.word == "low":
            words.append((reading, feature))
        elif reading.word == "hum":
            out.left_out.append(f"{_called(reading)}: hum says nothing here yet; the table holds no ripple.")
        elif reading.word == "same as good":
            rows.append(_same(reading, feature, good))
        else:
            rows.append(_numeric(reading, feature, instrument))
    keys = list(dict.fromkeys(key for row in rows for key, _ in row.entries))
    keys += [key for key in dict.fromkeys((r.channel, f) for r, f in words) if key not in keys]
    out.features = list(dict.fromkeys(feature for _, feature in keys))
    out.latent = [(channel, out.features.index(feature)) for channel, feature in keys]
    out.words = [(reading, out.features.index(feature)) for reading, feature in words]
    out.readings = [row.reading for row in rows]
    out.value = np.array([row.value for row in rows])
    out.operator = np.zeros((len(rows), len(keys)))
    for number, row in enumerate(rows):
        for key, weight in row.entries:
            out.operator[number, keys.index(key)] += weight
    out.noise = _noise(rows)
    out.common = common_allowance(table, keys)
    return out


def _called(reading: Reading) -> str:
    return f"{reading.point} ({reading.channel})"


def _why_not(reading: Reading, table: Table) -> str:
    if reading.quantity not in ("level", "dc"):
        return f"{_called(reading)}: the table holds no {reading.quantity}; this reading was left out."
    if reading.point not in table.points:
        return f"{_called(reading)}: the table does not know this test point; this reading was left out."
    held = ", ".join(f"{each:g} Hz" for each in table.frequencies)
    return f"{_called(reading)}: the table holds {held}, not {reading.frequency:g} Hz; this reading was left out."


def _numeric(reading: Reading, feature: Feature, instrument: Instrument) -> _Row:
    allow = allowances()
    nothing = reading.word == "nothing" or reading.below
    volts = 0.0 if nothing or reading.value is None else reading.value
    at = slope(volts, feature)
    if feature.is_level:
        own = allow.words_nothing_db if nothing else np.hypot(at * instrument.read_error, _near_floor(volts, feature))
        scale, zero = at * instrument.scale_error, 0.0
    else:
        own = at * (
            instrument.floor_dc if nothing else np.hypot(volts * instrument.read_error, instrument.floor_dc / 4)
        )
        scale, zero = at * volts * instrument.scale_error, at * instrument.zero_error
    entries = (((reading.channel, feature), 1.0),)
    return _Row(reading, entries, float(scaled(volts, feature)), float(own), float(scale), float(zero))


def _near_floor(volts: float, feature: Feature) -> float:
    """Noise of a reading close to the floor [dB]."""
    return float(DB * 0.25 * feature.floor / np.hypot(volts, feature.floor))


def _same(reading: Reading, feature: Feature, good: str) -> _Row:
    allow = allowances()
    own = allow.words_same_db if feature.is_level else allow.words_same_dc_volts / allow.scale_dc_volts
    entries = (((reading.channel, feature), 1.0), ((good, feature), -1.0))
    return _Row(reading, entries, 0.0, own, 0.0, 0.0)


def _noise(rows: list[_Row]) -> Values:
    """Instrument errors: each reading's own, and what all readings of one instrument share."""
    noise = np.diag([row.own**2 for row in rows]) if rows else np.zeros((0, 0))
    for name in {row.reading.instrument for row in rows}:
        for part in ("scale", "zero"):
            shared = np.array([getattr(row, part) if row.reading.instrument == name else 0.0 for row in rows])
            noise = noise + np.outer(shared, shared)
    return noise


def common_allowance(table: Table, keys: list[tuple[str, Feature]]) -> Values:
    """Generator level, control positions, and how far models may be off: array, (latent, latent)."""
    allow = allowances()
    size = len(keys)
    channel = np.array([key[0] for key in keys], dtype=object)
    level = np.array([key[1].is_level for key in keys], dtype=bool)
    same_channel = channel[:, None] == channel[None, :]
    both = np.outer(level, level)
    common = both * allow.generator_level_db**2
    for behind in _behind_controls(table, [key[1] for key in keys]):
        pair = np.outer(behind, behind) & both
        common = common + pair * (allow.control_setting_db**2 + same_channel * allow.control_tracking_db**2)
    return np.asarray(common + _model_error(table, keys, same_channel, allow)).reshape(size, size)


def _behind_controls(table: Table, features: list[Feature]) -> list[NDArray[np.bool_]]:
    """For each level control, which features lie behind it in the chain."""
    unit = table.circuit.unit
    order = {stage.name: number for number, stage in enumerate(unit.stages)}
    place = {point.name: order.get(point.stage, -1) for point in unit.points}
    nodes = table.circuit.points
    found = []
    for part in unit.parts.values():
        if part.kind != "potentiometer" or part.stage not in order:
            continue
        at = order[part.stage]
        end = table.circuit.stage_ends.get(part.stage)
        names = [table.points[feature.point] for feature in features]
        found.append(np.array([place[name] > at or nodes[name] == end for name in names], dtype=bool))
    return found


def _model_error(
    table: Table, keys: list[tuple[str, Feature]], same_channel: NDArray[np.bool_], allow: Allowances
) -> Values:
    size = len(keys)
    error = np.zeros((size, size))
    share = np.where(same_channel, 1.0, allow.model_shared)
    healthy_dc = table.values("dc")[0, 0]
    for i, (_, one) in enumerate(keys):
        for j, (_, other) in enumerate(keys):
            if one.is_level != other.is_level or one.point != other.point:
                continue
            if one.is_level:
                alike = allow.model_level_point_db**2
                alike += allow.model_level_each_db**2 if one.frequency == other.frequency else 0.0
            else:
                volts = float(healthy_dc[one.point])
                alike = ((allow.model_dc_share * abs(volts) + allow.model_dc_volts) * slope(volts, one)) ** 2
            error[i, j] = alike * share[i, j]
    return error
