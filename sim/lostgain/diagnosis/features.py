"""What a reading is about, and the scale it is compared on.

Levels are compared in decibels above a soft floor, ``10 lg(v² + floor²)``: a level below what the instrument tells from
nothing counts as that floor, which is how an instrument censors. DC, currents and watts are compared as
``asinh(x / x0)``: as they are near zero, as a ratio far from it.
"""

from __future__ import annotations

from dataclasses import dataclass
from math import inf

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.allowances import allowances
from lostgain.readings.model import COMMON, PEAKS, Instrument, Reading
from lostgain.signatures import Table
from lostgain.signatures.poweroff_table import Spot
from lostgain.signatures.probes import PROBES, loading

Values = NDArray[np.float64]

PP_PER_RMS = 2 * 2**0.5
#: What an average-responding meter shows over the rectified average: right for a sine only.
FORM_FACTOR = float(np.pi / (2 * 2**0.5))
#: `Feature.frequency` of what is no level.
DC, CURRENT, WATTS, OHMS, JUNCTION, ESR, RIPPLE = -1, -2, -3, -4, -5, -6, -7
_OFF = {"resistance": OHMS, "diode test": JUNCTION, "esr": ESR}
#: What quantity each is; anything else is a level.
QUANTITY = {DC: "dc", CURRENT: "current", WATTS: "mains watts", RIPPLE: "ripple"} | {
    kind: name for name, kind in _OFF.items()
}
#: What reads above the largest that an instrument shows counts as this many times as much.
OVER = 1.5
#: How much of the difference that a maker's affair makes counts as one standard deviation; and of a reading that has
#: still far to go, how well the moment it was taken at is known, as a natural logarithm.
MAKER, CHARGING = 0.7, 0.5


#: Frequencies and generator levels nearer to one another than this are the same.
NEAR = 0.03

#: Below this, ripple is compared as it is; well above it, as a ratio [V peak to peak].
RIPPLE_SIZE = 10e-3


@dataclass(frozen=True)
class Feature:
    """One number that a reading is about.

    Parameters
    ----------
    point : int
        Its place among the table's test points; for a current, the rail's place among the unit's rails. -1 with the
        power off.
    frequency : int
        Its place among the table's drives; `DC`, `CURRENT`, `WATTS`, `OHMS`, `JUNCTION`, `ESR` or `RIPPLE` for
        what is no level.
    swing : bool
        True where the peak-to-peak value was read; compared as the rms value of a sine of that size.
    floor : float
        The instrument's floor [V rms]; 0 for what is no level.
    against : int
        Test point of the other lead; -1 for ground.
    average : bool
        True for an average-responding meter.
    ohms, farads : float
        How the instrument loads the point.
    lead, other : str
        With the power off, what the leads are on; see `lostgain.signatures.poweroff_table.PowerOff`.
    lifted : bool
        Of a part out of circuit.
    meter : str
        With the power off, the instrument; else empty.
    most : float
        The largest that it shows.
    common : bool
        True for a level with both legs of a balanced input driven alike.
    """

    point: int
    frequency: int
    swing: bool = False
    floor: float = 0.0
    against: int = -1
    average: bool = False
    ohms: float = inf
    farads: float = 0.0
    lead: str = ""
    other: str = ""
    lifted: bool = False
    meter: str = ""
    most: float = inf
    common: bool = False

    @property
    def is_level(self) -> bool:
        """True for a level."""
        return self.frequency >= 0

    @property
    def is_off(self) -> bool:
        """True for what is read with the power off."""
        return self.frequency in (OHMS, JUNCTION, ESR)

    @property
    def whole_unit(self) -> bool:
        """True for what is read of the whole unit and not of a channel."""
        return self.frequency in (CURRENT, WATTS)

    @property
    def unit_size(self) -> float:
        """Below this, the number is compared as it is; well above it, as a ratio [V, A, W or ohm]."""
        allow = allowances()
        if self.frequency == RIPPLE:
            return RIPPLE_SIZE
        sizes = {CURRENT: allow.scale_amperes, WATTS: allow.scale_watts, OHMS: allow.scale_ohms, ESR: allow.scale_esr}
        return sizes.get(self.frequency, allow.scale_dc_volts)


def feature_of(reading: Reading, table: Table, instrument: Instrument) -> Feature | None:
    """Return the feature a reading is about, or None where the table does not hold it."""
    rails = [rail.name for rail in table.circuit.unit.rails]
    if reading.quantity == "current":
        return Feature(rails.index(reading.point), CURRENT) if reading.point in rails else None
    if reading.quantity == "mains watts":
        return Feature(0, WATTS)
    if reading.quantity in _OFF:
        if table.off.spot(instrument.name, reading.point, reading.against, reading.lifted) is None:
            return None
        return Feature(
            -1, _OFF[reading.quantity], lead=reading.point, other=reading.against, lifted=reading.lifted,
            meter=instrument.name, most=instrument.largest(reading.quantity),
        )  # fmt: skip
    places = {name: number for number, name in enumerate(table.points)}
    against = places.get(reading.against, -1)
    if reading.point not in places or (reading.against and against < 0):
        return None
    point, ohms, farads = places[reading.point], instrument.resistance, instrument.capacitance
    if reading.quantity == "dc":
        return Feature(point, DC, against=against, ohms=ohms)
    if reading.quantity == "ripple" and "ripple" in table.data and against < 0:
        return Feature(point, RIPPLE)
    common = reading.quantity == COMMON
    if reading.quantity != "level" and not common:
        return None
    near = drive_of(reading, table)
    if near is None or (common and (near != 0 or "common" not in table.data)):
        return None
    floor = instrument.floor_level
    if reading.below and reading.value:
        floor = max(floor, reading.value)
    swing = reading.given_as in PEAKS
    average = instrument.responds == "average" and not swing
    return Feature(point, near, swing, floor, against, average, ohms, farads, common=common)


def drive_of(reading: Reading, table: Table) -> int | None:
    """Return the place of what a level was driven with among the table's drives; None where it is not there."""
    frequency = table.frequencies[0] if reading.frequency is None else reading.frequency
    own = table.circuit.unit.setup.generator
    level = own if reading.generator is None else reading.generator
    for index, each in enumerate(table.drives):
        if abs(each.frequency / frequency - 1) < NEAR and abs(each.generator / level - 1) < NEAR:
            return index
    return None


def scaled(number: Values | float, feature: Feature) -> Values:
    """Return volts, amperes or watts on the comparison scale: decibels for a level, compressed for the rest."""
    number = np.asarray(number, dtype=float)
    if feature.is_level:
        return np.asarray(10 * np.log10(number**2 + feature.floor**2))
    return np.asarray(np.arcsinh(number / feature.unit_size))


def unscaled(value: float, feature: Feature) -> float:
    """Return volts, amperes or watts from the comparison scale."""
    return float(unscaled_array(np.asarray(value, dtype=float), feature))


def unscaled_array(values: Values, feature: Feature) -> Values:
    """Return the same for an array."""
    if feature.is_level:
        return np.asarray(np.sqrt(np.maximum(0.0, 10 ** (values / 10) - feature.floor**2)))
    return np.asarray(np.sinh(values) * feature.unit_size)


def by_place(features: list[Feature]) -> list[list[int]]:
    """Return the numbers of the levels of each place, and of its DC: at all frequencies, with all instruments."""
    places: dict[tuple[int, int, bool, bool], list[int]] = {}
    for number, each in enumerate(features):
        if each.is_level or each.frequency == DC:
            places.setdefault((each.point, each.against, each.common, each.is_level), []).append(number)
    return list(places.values())


def slope(number: float, feature: Feature) -> float:
    """Return the scale's change for a relative change of a level, or for one volt, ampere or watt of the rest."""
    if feature.is_level:
        power = number**2
        return 20 / np.log(10) * power / (power + feature.floor**2) if power else 0.0
    return 1 / float(np.hypot(number, feature.unit_size))


def predicted(table: Table, features: list[Feature]) -> Values:
    """Return what every row predicts for the features, on the comparison scale: array, (row, sample, feature)."""
    return np.stack([scaled(_numbers(table, feature), feature) for feature in features], axis=-1)


def _numbers(table: Table, feature: Feature) -> Values:
    """What an instrument shows under every row and draw: array, (row, sample)."""
    if feature.is_off:
        return off_numbers(table, feature)
    if feature.frequency == CURRENT:
        return np.abs(_whole_unit(table, table.values("current")[:, :, feature.point]))
    if feature.frequency == WATTS:
        watts = np.abs(table.values("current") * rail_volts(table)).sum(axis=2)
        return _whole_unit(table, watts) / allowances().model_mains_efficiency
    if feature.frequency == RIPPLE:
        return np.asarray(table.values("ripple")[:, :, feature.point])
    if feature.frequency == DC:
        dc = table.values("dc")
        volts = dc[:, :, feature.point]
        if feature.against >= 0:
            volts = volts - dc[:, :, feature.against]
        return np.asarray(volts * _dc_left(table, feature))
    return _level(table, feature) * np.abs(_loading(table, feature))


def rail_volts(table: Table) -> Values:
    """Return the voltage at which each rail takes watts from the mains; 0 for one that is taken from another rail."""
    unit = table.circuit.unit
    taken = {
        rail for stage in unit.supplies if "in" in stage.rails for port, rail in stage.rails.items() if port != "in"
    }
    return np.array([0.0 if rail.name in taken else rail.volts for rail in unit.rails])


def off_spot(table: Table, feature: Feature) -> Spot:
    """Return where a reading with the power off stands in the table's power-off part."""
    spot = table.off.spot(feature.meter, feature.lead, feature.other, feature.lifted)
    if spot is None:
        raise KeyError(f"{feature.lead} {feature.other}: not in the power-off part")
    return spot


def off_numbers(table: Table, feature: Feature) -> Values:
    """What a meter shows with the power off under every row and draw [ohm or V]: array, (row, sample)."""
    spot = off_spot(table, feature)
    samples = table.values("dc").shape[1]
    return np.asarray(np.minimum(spot.part.numbers(spot, samples), OVER * feature.most))


def off_unsure(table: Table, feature: Feature) -> Values:
    """Return how far such a number may be off, one standard deviation on the comparison scale: array, (row,).

    Three things add up. What is a chip's maker's affair may be so or otherwise. What is still charging when it is read
    depends on how long somebody waits. Where the leads were put either way and junctions lie between, it may be either.
    """
    spot = off_spot(table, feature)
    most = OVER * feature.most

    def shown(numbers: Values) -> Values:
        return scaled(np.minimum(numbers, most), feature)

    both = slice(None) if spot.polarity < 0 else slice(spot.polarity, spot.polarity + 1)
    value, settled = spot.part.value[:, 0, spot.place], spot.part.settled[:, spot.place]
    maker = np.abs(shown(value) - shown(spot.part.other[:, spot.place]))[:, both].max(axis=1)
    charging = np.minimum(np.abs(shown(settled) - shown(value)), 1.0)[:, both].max(axis=1)
    ways = np.abs(shown(value[:, 0]) - shown(value[:, 1])) / 2 if spot.polarity < 0 else np.zeros(len(value))
    return np.asarray(np.sqrt((MAKER * maker) ** 2 + (CHARGING * charging) ** 2 + ways**2))


def _whole_unit(table: Table, one: Values) -> Values:
    """Add what the other channels draw: as a healthy one does, or as this one where they share the fault."""
    shared = np.array([False, *(fault.shared for fault in table.faults), *(False for _ in table.strays)])
    others = np.where(shared[:, None], one, one[0])
    return np.asarray(one + (len(table.circuit.unit.channels) - 1) * others)


def _level(table: Table, feature: Feature) -> Values:
    point, frequency = feature.point, feature.frequency
    if feature.common:  # a sine, whatever the instrument responds to
        return table.values("common")[:, :, point]
    if feature.against < 0:
        volts = table.values("swing" if feature.swing else "level")[:, :, point, frequency]
        volts = volts / PP_PER_RMS if feature.swing else volts
        waves = table.values("wave")[:, point, frequency]
    else:
        phasor = table.complex_values("phasor")[:, :, :, frequency]
        volts = np.abs(phasor[:, :, point] - phasor[:, :, feature.against])
        waves = table.values("wave")[:, point, frequency] - table.values("wave")[:, feature.against, frequency]
        # Phasors are fundamentals; what a distorted difference shows beyond them is taken from the nominal wave.
        shown = np.ptp(waves, axis=1) / PP_PER_RMS if feature.swing else np.std(waves, axis=1)
        volts = volts * _ratio(shown, volts[:, 0])[:, None]
    if feature.average:
        rectified = FORM_FACTOR * np.mean(np.abs(waves), axis=1)
        volts = volts * _ratio(rectified, np.std(waves, axis=1))[:, None]
    return np.asarray(volts)


def _ratio(one: Values, other: Values) -> Values:
    """Return one over the other, 1 where there is next to nothing."""
    heard = np.nan_to_num(other) > 1e-4
    return np.divide(one, other, out=np.ones(len(one)), where=heard)


def _dc_left(table: Table, feature: Feature) -> Values:
    """Share of the DC that the meter leaves: array, (row, 1)."""
    if not np.isfinite(feature.ohms) or feature.against >= 0:
        return np.asarray(_loading(table, feature).real)
    probe = int(np.argmin(np.abs(np.log(np.array(PROBES) / feature.ohms))))
    free, probed = table.values("dc")[:, 0, feature.point], table.values("probed")[:, feature.point, probe]
    there = np.abs(np.nan_to_num(free)) > 1e-3
    return np.divide(probed, free, out=np.ones(len(free)), where=there)[:, None]


def _loading(table: Table, feature: Feature) -> NDArray[np.complex128]:
    """Share of the voltage that the instrument leaves: array, (row, 1)."""
    if not np.isfinite(feature.ohms):
        return np.ones((1, 1), dtype=complex)
    impedance = table.complex_values("impedance")
    ends = impedance[:, feature.point]
    if feature.against >= 0:
        ends = ends + impedance[:, feature.against]
    at = table.drives[feature.frequency].frequency if feature.is_level else None
    share = loading(ends, at, feature.ohms, feature.farads)
    return np.nan_to_num(share, nan=1.0)[:, None]
