"""What all hypotheses allow for alike: generator level, positions of controls, and how far models may be off."""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.allowances import Allowances, allowances
from lostgain.diagnosis.features import (
    CURRENT,
    ESR,
    JUNCTION,
    OHMS,
    RIPPLE,
    RIPPLE_SIZE,
    WATTS,
    Feature,
    off_numbers,
    rail_volts,
    scaled,
    slope,
)
from lostgain.signatures import Table
from lostgain.signatures.controls import per_decibel

#: How far predicted ripple may be off, as a share: diodes, a transformer's leakage and the mains' shape are not known
#: well. Common practice, no source.
MODEL_RIPPLE = 0.15
#: What a device does when it has lost gain.
LOST_GAIN = ("low-gain", "low-emission")
#: Nor is DC known better than this [V].
LEAST_VOLTS = 1e-3

Values = NDArray[np.float64]


@dataclass(frozen=True)
class Common:
    """Covariances on the comparison scale.

    Parameters
    ----------
    always : array, (latent, latent)
        Whatever the fault.
    alike : array, (latent, latent)
        Errors of the models that channels share as far as they behave alike; see `shared`.
    reach : array, (latent,)
        How far a channel may be from the healthy one before it no longer shares them.
    block : array of int, (latent,)
        Numbers whose errors are correlated in one channel have the same one: they are shared alike, or what comes out
        would be no covariance.
    """

    always: Values = field(default_factory=lambda: np.zeros((0, 0)))
    alike: Values = field(default_factory=lambda: np.zeros((0, 0)))
    reach: Values = field(default_factory=lambda: np.ones(0))
    block: NDArray[np.int_] = field(default_factory=lambda: np.zeros(0, dtype=int))

    def kept(self, mean: Values, healthy: Values) -> Values:
        """Return how much of a model error is still shared with the healthy unit: array, (hypothesis, latent).

        Parameters
        ----------
        mean : array, (hypothesis, latent)
        healthy : array, (latent,)
        """
        each = np.exp(-np.abs(mean - healthy) / self.reach)
        kept = each.copy()
        for number in np.unique(self.block):
            mine = np.flatnonzero(self.block == number)
            kept[:, mine] = each[:, mine].min(axis=1, keepdims=True)
        return kept

    def shared(self, mean: Values, healthy: Values) -> Values:
        """Return the covariance to add under each hypothesis: array, (hypothesis or 1, latent, latent).

        Parameters
        ----------
        mean : array, (hypothesis, latent)
            What each hypothesis predicts.
        healthy : array, (latent,)
            What the healthy unit shows there.
        """
        if not self.alike.any():
            return self.always[None]
        kept = self.kept(mean, healthy)
        return np.asarray(self.always + self.alike * kept[:, :, None] * kept[:, None, :])


def common_allowance(table: Table, keys: list[tuple[str, Feature]]) -> Common:
    """Return what all hypotheses allow for.

    Parameters
    ----------
    table : Table
    keys : list of (str, Feature)
        Channel and feature of each latent number.
    """
    allow = allowances(table.circuit.unit.folder)
    channel = np.array([key[0] for key in keys], dtype=object)
    level = np.array([key[1].is_level for key in keys], dtype=bool)
    same_channel = channel[:, None] == channel[None, :]
    both = np.outer(level, level)
    always = both * allow.generator_level_db**2
    for step in _steps(table, [key[1] for key in keys]):
        always = always + np.outer(step, step) * allow.generator_step_db**2
    for controlled in _by_control(table, [key[1] for key in keys]):
        pair = np.outer(controlled, controlled)
        always = always + pair * (allow.control_setting_db**2 + same_channel * allow.control_tracking_db**2)
    error = _model_error(table, [key[1] for key in keys], allow)
    reach = np.where(level, allow.model_shared_db, 1.0)
    linked = (error > 0) & same_channel
    block = np.array([int(row.argmax()) if row.any() else number for number, row in enumerate(linked)], dtype=int)
    return Common(always + error * same_channel, error * allow.model_shared * ~same_channel, reach, block)


def _steps(table: Table, features: list[Feature]) -> list[Values]:
    """For each further level of the generator, which features are read at it: arrays, (latent,)."""
    own = table.circuit.unit.setup.generator
    given = np.array([table.drives[each.frequency].generator if each.is_level else own for each in features])
    return [(given == level).astype(float) for level in table.circuit.unit.setup.levels]


def _by_control(table: Table, features: list[Feature]) -> list[Values]:
    """For each control, by how much it turns the features [dB per dB of the share of its track]: array, (latent,).

    A level control takes all that lies behind it along; a tone control some frequencies; one in a feedback loop what it
    sets the gain of.
    """
    if "turned" not in table.data:
        return []
    names = [str(name) for name in table.data["control"].values]
    phasors = np.concatenate([table.complex_values("phasor")[:1, 0], table.complex_values("turned")])
    return list(per_decibel(_levels(phasors, features), names, table.values("decibels")).values())


def _levels(phasors: NDArray[np.complex128], features: list[Feature]) -> Values:
    """Levels on the comparison scale, 0 for what is none: array, (row, feature); of phasors (row, point, drive)."""
    levels = np.zeros((len(phasors), len(features)))
    for number, feature in enumerate(features):
        if feature.is_level:
            at = phasors[:, :, feature.frequency]
            volts = at[:, feature.point] - (at[:, feature.against] if feature.against >= 0 else 0.0)
            levels[:, number] = scaled(np.abs(np.nan_to_num(volts)), feature)
    return levels


def _devices(table: Table, features: list[Feature], allow: Allowances) -> Values:
    """How far each level may be off because devices have another gain than their models [dB]: array, (latent,).

    The table has what the mildest loss of a device's gain does there. A smaller one does less in proportion to what it
    adds to the reciprocal of the gain, as in any loop: G = A / (1 + Ab), so that dG/G is G/A times dA/A.
    """
    mildest: dict[str, tuple[float, int]] = {}
    for row, fault in enumerate(table.faults, 1):
        if fault.mode in LOST_GAIN and fault.severity is not None:
            mildest[fault.part] = max(mildest.get(fault.part, (0.0, 0)), (fault.severity, row))
    if not mildest:
        return np.zeros(len(features))
    severity, rows = (np.array(column) for column in zip(*mildest.values(), strict=True))
    levels = _levels(table.complex_values("phasor")[np.concatenate([[0], rows]), 0], features)
    each = (levels[1:] - levels[0]) * allow.model_device_gain / (1 / severity[:, None] - 1)
    return np.asarray(np.minimum(np.sqrt(np.sum(each**2, axis=0)), allow.model_device_db))


def _model_error(table: Table, features: list[Feature], allow: Allowances) -> Values:
    """How far the description may be off where it is read, as if all were one channel: array, (latent, latent)."""
    size = len(features)
    error = np.zeros((size, size))
    devices = _devices(table, features, allow)
    for i, one in enumerate(features):
        for j, other in enumerate(features):
            alike = _place(one) == _place(other)
            if not alike or (one.frequency < 0 and one.frequency != other.frequency):
                continue
            if one.is_level:
                error[i, j] = allow.model_level_point_db**2 + devices[i] * devices[j]
                error[i, j] += allow.model_level_each_db**2 if one.frequency == other.frequency else 0.0
            else:
                error[i, j] = (_amount(table, one, allow) * slope(_healthy(table, one), one)) ** 2
    return error


def _place(feature: Feature) -> tuple[object, ...]:
    return (feature.point, feature.against, feature.lead, feature.other, feature.frequency < 0)


def _healthy(table: Table, feature: Feature) -> float:
    """Healthy number of what is no level, at nominal values [V, A, W or ohm]."""
    if feature.is_off:
        return float(np.nan_to_num(off_numbers(table, feature)[0, 0]))
    currents = np.abs(table.values("current")[0, 0])
    if feature.frequency == CURRENT:
        return float(currents[feature.point])
    if feature.frequency == WATTS:
        return float(np.abs(rail_volts(table)) @ currents)
    if feature.frequency == RIPPLE:
        return float(table.values("ripple")[0, 0, feature.point])
    dc = table.values("dc")[0, 0]
    return float(dc[feature.point] - (dc[feature.against] if feature.against >= 0 else 0.0))


def _amount(table: Table, feature: Feature, allow: Allowances) -> float:
    number = abs(_healthy(table, feature))
    if feature.frequency == CURRENT:
        return allow.model_current_share * number
    if feature.frequency == RIPPLE:
        return MODEL_RIPPLE * number + RIPPLE_SIZE / 4
    if feature.is_off:
        shares = {OHMS: allow.model_ohms_share, JUNCTION: allow.model_junction_share, ESR: allow.model_esr_share}
        return shares[feature.frequency] * number
    if feature.frequency == WATTS:
        return allow.model_watts_share * number + allow.model_watts
    return allow.model_dc_share * number + dc_volts(table, feature, allow)


def dc_volts(table: Table, feature: Feature, allow: Allowances) -> float:
    """Return how far DC may be off where the unit behaves like the healthy one, beside a share of it [V].

    Parameters
    ----------
    table : Table
    feature : Feature
        DC at a point, or across two.
    allow : Allowances
    """
    draws = table.values("dc")[0, 1:]
    across = draws[:, feature.point] - (draws[:, feature.against] if feature.against >= 0 else 0.0)
    across = across[np.isfinite(across)]
    # What the mean is by itself counts too: a few millivolts come from bias currents, which are their maker's.
    spread = float(np.hypot(across.std(), across.mean())) if len(across) else np.inf
    return float(np.clip(allow.model_dc_like * spread, min(LEAST_VOLTS, allow.model_dc_volts), allow.model_dc_volts))
