"""The scale readings are compared on.

Levels are compared in decibels above a soft floor, ``10 lg(v² + floor²)``: a level below what the instrument tells from
nothing counts as that floor, which is how an instrument censors. DC is compared as ``asinh(v / v0)``: in volts near
zero, as a ratio far from it.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.allowances import allowances
from lostgain.readings.model import Instrument, Reading
from lostgain.signatures import Table

Values = NDArray[np.float64]

PP_PER_RMS = 2 * 2**0.5


@dataclass(frozen=True)
class Feature:
    """One number of a channel that a reading is about.

    Parameters
    ----------
    point : int
        Its place among the table's test points.
    frequency : int
        Its place among the table's frequencies; -1 for DC.
    swing : bool
        True where the peak-to-peak value was read; compared as the rms value of a sine of that size.
    floor : float
        The instrument's floor [V rms]; 0 for DC.
    """

    point: int
    frequency: int
    swing: bool
    floor: float

    @property
    def is_level(self) -> bool:
        """True for a level, False for DC."""
        return self.frequency >= 0


def feature_of(reading: Reading, table: Table, instrument: Instrument) -> Feature | None:
    """Return the feature a reading is about, or None where the table does not hold it."""
    if reading.point not in table.points:
        return None
    point = table.points.index(reading.point)
    if reading.quantity == "dc":
        return Feature(point, -1, False, 0.0)
    if reading.quantity != "level":
        return None
    wanted = table.frequencies[0] if reading.frequency is None else reading.frequency
    near = [index for index, each in enumerate(table.frequencies) if abs(each / wanted - 1) < 0.03]
    if not near:
        return None
    floor = instrument.floor_level
    if reading.below and reading.value:
        floor = max(floor, reading.value)
    return Feature(point, near[0], reading.given_as in ("pp", "peak"), floor)


def scaled(volts: Values | float, feature: Feature) -> Values:
    """Return volts on the comparison scale: decibels for a level, compressed volts for DC."""
    volts = np.asarray(volts, dtype=float)
    if feature.is_level:
        return np.asarray(10 * np.log10(volts**2 + feature.floor**2))
    return np.asarray(np.arcsinh(volts / allowances().scale_dc_volts))


def unscaled(value: float, feature: Feature) -> float:
    """Return volts from the comparison scale."""
    if feature.is_level:
        return float(np.sqrt(max(0.0, 10 ** (value / 10) - feature.floor**2)))
    return float(np.sinh(value) * allowances().scale_dc_volts)


def slope(volts: float, feature: Feature) -> float:
    """Return the scale's change for a relative change of a level, or for a volt of DC."""
    if feature.is_level:
        power = volts**2
        return 20 / np.log(10) * power / (power + feature.floor**2) if power else 0.0
    return 1 / float(np.hypot(volts, allowances().scale_dc_volts))


def predicted(table: Table, features: list[Feature]) -> Values:
    """Return what every row predicts for the features, on the comparison scale: array, (row, sample, feature)."""
    columns = []
    for feature in features:
        if feature.is_level:
            volts = table.values("swing")[:, :, feature.point, feature.frequency] / PP_PER_RMS if feature.swing else (
                table.values("level")[:, :, feature.point, feature.frequency]
            )  # fmt: skip
        else:
            volts = table.values("dc")[:, :, feature.point]
        columns.append(scaled(volts, feature))
    return np.stack(columns, axis=-1)
