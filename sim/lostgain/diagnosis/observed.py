"""Readings as numbers on the comparison scale, with what all of them have in common.

What is compared is ``A y``, where ``y`` are the features of all channels on the comparison scale (`features`): one row
of ``A`` a reading, a one where it was taken; for "same as good" a one and a minus one.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.allowances import allowances
from lostgain.diagnosis.common import Common, common_allowance
from lostgain.diagnosis.features import RIPPLE, Feature, feature_of, scaled, slope
from lostgain.diagnosis.shapes import PICTURES
from lostgain.diagnosis.signs import SIGNS
from lostgain.quantities import show
from lostgain.readings.model import COMMON, OFF, Instrument, Reading
from lostgain.readings.taken import placed
from lostgain.signatures import Table

Values = NDArray[np.float64]

DB = 20 / np.log(10)  # decibels for a relative change of one
#: Outside its band an instrument is further off by about this much, one standard deviation [dB].
OUT_OF_BAND_DB = 3.0
#: With the power off, "same as good" is meant to this share.
SAME_SHARE = 0.05


@dataclass
class Observed:
    """What was read.

    Parameters
    ----------
    features : list of Feature
        Each once.
    latent : list of (str, int)
        Channel and feature of each column of `operator`; the channel is empty for what is read of the whole unit.
    operator : array, (reading, latent)
    value : array, (reading,)
        On the comparison scale.
    noise : array, (reading, reading)
        Instrument errors.
    common : Common
        Generator, controls and model: what all hypotheses allow for.
    readings : list of Reading
        The reading of each row.
    words : list of (Reading, int)
        Readings in words that are no numbers, and limits ("more than 10 V"), with the feature each is about.
    signs : list of Reading
        Noise, oscillation, hum: seen or not.
    left_out : list of str
        Readings that could not be used, with the reason.
    """

    features: list[Feature] = field(default_factory=list)
    latent: list[tuple[str, int]] = field(default_factory=list)
    operator: Values = field(default_factory=lambda: np.zeros((0, 0)))
    value: Values = field(default_factory=lambda: np.zeros(0))
    noise: Values = field(default_factory=lambda: np.zeros((0, 0)))
    common: Common = field(default_factory=Common)
    readings: list[Reading] = field(default_factory=list)
    words: list[tuple[Reading, int]] = field(default_factory=list)
    signs: list[Reading] = field(default_factory=list)
    left_out: list[str] = field(default_factory=list)

    @property
    def used(self) -> int:
        """How many readings enter the likelihood."""
        return len(self.readings) + len(self.words) + len(self.signs)

    @cached_property
    def about(self) -> list[Feature]:
        """What each reading is about; of one compared with the good channel, what it is about in its own."""
        return [self.features[self.latent[int(np.argmax(row))][1]] for row in self.operator]

    @cached_property
    def columns(self) -> NDArray[np.int_]:
        """The feature of each latent number: array, (latent,)."""
        return np.array([feature for _, feature in self.latent], dtype=int)

    @cached_property
    def channels(self) -> NDArray[np.object_]:
        """The channel of each latent number: array, (latent,)."""
        return np.array([channel for channel, _ in self.latent], dtype=object)

    @cached_property
    def same_channel(self) -> NDArray[np.bool_]:
        """Which latent numbers are of one channel: array, (latent, latent)."""
        return np.asarray(self.channels[:, None] == self.channels[None, :], dtype=bool)

    def here(self, faulty: str) -> NDArray[np.bool_]:
        """Return which latent numbers a fault in a channel may move: array, (latent,)."""
        return np.asarray((self.channels == faulty) | (self.channels == ""), dtype=bool)

    def projected(self, cov: Values) -> Values:
        """Return covariances of the readings from those of the latent numbers: array, (…, reading, reading)."""
        at = np.argmax(self.operator, axis=1)
        if not np.array_equal(self.operator, np.eye(self.operator.shape[1])[at]):
            return np.asarray(self.operator @ cov @ self.operator.T)
        if len(at) == cov.shape[-1] and bool(np.all(at == np.arange(len(at)))):
            return cov
        return cov[..., at[:, None], at[None, :]]


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
        if reading.quantity in SIGNS:
            out.signs.append(reading)
            continue
        feature = feature_of(reading, table, instrument)
        if feature is None:
            out.left_out.append(_why_not(reading, table))
        elif reading.word in PICTURES or reading.word == "low" or reading.above:
            words.append((reading, feature))
        elif reading.word == "same as good":
            rows.append(_same(reading, feature, good))
        else:
            rows.append(_numeric(reading, feature, instrument, table))
    keys = list(dict.fromkeys(key for row in rows for key, _ in row.entries))
    keys += [key for key in dict.fromkeys((_channel(r, f), f) for r, f in words) if key not in keys]
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


def _channel(reading: Reading, feature: Feature) -> str:
    return "" if feature.whole_unit else reading.channel


def _called(reading: Reading, table: Table) -> str:
    line = f"line {reading.where.line}, " if reading.where.line is not None else ""
    return line + placed(reading, table.circuit.unit)


def _why_not(reading: Reading, table: Table) -> str:
    if reading.quantity in OFF:
        return f"{_called(reading, table)}: no power-off part of the table holds this place; this reading was left out."
    if reading.quantity == "ripple" and "ripple" not in table.data:
        said = "ripple is known where the unit file describes the supply"
        return f"{_called(reading, table)}: {said}; this reading was left out."
    if reading.quantity == COMMON and "common" not in table.data:
        return (
            f"{_called(reading, table)}: the unit's input has no cold leg, so that there is no common mode; left out."
        )
    if reading.quantity not in ("level", "dc", "ripple", "current", COMMON):
        return f"{_called(reading, table)}: the table holds no {reading.quantity}; this reading was left out."
    if reading.quantity == "current":
        return f"{_called(reading, table)}: the table knows no such rail; this reading was left out."
    if reading.point not in table.points or (reading.against and reading.against not in table.points):
        return f"{_called(reading, table)}: the table does not know this test point; this reading was left out."
    held = [show(each, "Hz") for each in table.frequencies]
    if reading.quantity == COMMON:
        return f"{_called(reading, table)}: common mode is held at {held[0]}; this reading was left out."
    if reading.generator is not None:
        setup = table.circuit.unit.setup
        levels = [show(each, "V rms") for each in (setup.generator, *setup.levels)]
        given = f"{show(reading.frequency or 0.0, 'Hz')} with the generator at {show(reading.generator, 'V rms')}"
        known = f"the generator at {', '.join(levels)}, further levels at {held[0]}"
        return f"{_called(reading, table)}: the table holds {known}, not {given}; this reading was left out."
    other = show(reading.frequency or 0.0, "Hz")
    return f"{_called(reading, table)}: the table holds {', '.join(held)}, not {other}; this reading was left out."


def _numeric(reading: Reading, feature: Feature, instrument: Instrument, table: Table) -> _Row:
    allow = allowances()
    nothing = reading.word == "nothing" or reading.below
    number = 0.0 if nothing or reading.value is None else reading.value
    if feature.is_off and reading.below:
        number, nothing = (reading.value or 0.0) / 2, False
    at = slope(number, feature)
    zero = 0.0
    if feature.is_level:
        own = allow.words_nothing_db if nothing else np.hypot(at * instrument.read_error, _near_floor(number, feature))
        scale = at * instrument.scale_error
        low, high = instrument.bandwidth
        if not low <= table.drives[feature.frequency].frequency <= high:
            own = float(np.hypot(own, OUT_OF_BAND_DB))
    else:
        floor = feature.unit_size if feature.whole_unit else instrument.floor(reading.quantity)
        own = at * (floor if nothing else np.hypot(number * instrument.read_error, floor / 4))
        own = np.hypot(own, at * number) if feature.is_off and reading.below else own
        scale = at * number * instrument.scale_error
        zero = 0.0 if feature.whole_unit or feature.frequency == RIPPLE else at * instrument.zero_error
    entries = (((_channel(reading, feature), feature), 1.0),)
    return _Row(reading, entries, float(scaled(number, feature)), float(own), float(scale), float(zero))


def _near_floor(volts: float, feature: Feature) -> float:
    """Noise of a reading close to the floor [dB]."""
    return float(DB * 0.25 * feature.floor / np.hypot(volts, feature.floor))


def _same(reading: Reading, feature: Feature, good: str) -> _Row:
    allow = allowances()
    own = allow.words_same_db if feature.is_level else allow.words_same_dc_volts / allow.scale_dc_volts
    own = SAME_SHARE if feature.is_off else own
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
