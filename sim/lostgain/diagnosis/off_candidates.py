"""Readings with the power off that could be taken next: those that a quick look finds to tell most.

A unit has a hundred places to put an ohmmeter on, and most of them tell nothing about the suspects at hand. Each is
looked at with a few bins and the most probable hypotheses; only the best are weighed as exactly as other readings are.
"""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray
from scipy.special import ndtr

from lostgain.diagnosis.belief import Belief
from lostgain.diagnosis.candidates import SHORTEST, Candidate, in_reach, minutes_between
from lostgain.diagnosis.expected import error_parts
from lostgain.diagnosis.features import Feature, feature_of, off_numbers, off_unsure, scaled, unscaled_array
from lostgain.diagnosis.information import edges, from_bins
from lostgain.diagnosis.moves import facts
from lostgain.diagnosis.steps import steps
from lostgain.readings.model import Instrument, Reading, Readings
from lostgain.signatures import Table
from lostgain.signatures.poweroff_table import OffTable

Values = NDArray[np.float64]

#: Readings that are weighed exactly, at most; bins and hypotheses of the quick look.
MOST, BINS, LOOKED_AT = 8, 6, 120
#: A reading that has this far to go yet when it is taken is not asked for, on the comparison scale.
RESTLESS = 0.1
#: What a part's places read is kept, for so many parts of tables.
KEPT = 8


@dataclass(frozen=True)
class _Looks:
    """What each row predicts at the places of one part of a table: arrays, (row, reading)."""

    readings: tuple[Reading, ...]
    features: tuple[Feature, ...]
    mean: Values
    sigma: Values


_kept: dict[tuple[str, str], _Looks] = {}


def off_candidates(
    table: Table, readings: Readings, instruments: Mapping[str, Instrument], channels: Sequence[str], believed: Belief
) -> list[Candidate]:
    """Return the readings with the power off that tell most, of those in reach that were not taken yet.

    Parameters
    ----------
    table : Table
        With the power-off parts that were built; without any there is no candidate.
    readings : Readings
    instruments : mapping
        Name to Instrument.
    channels : sequence of str
        Where to read.
    believed : Belief
    """
    taken = {(row.quantity, row.point, row.against, row.channel) for row in readings.rows if not row.lifted}
    taken |= {(row.quantity, row.against, row.point, row.channel) for row in readings.rows if not row.lifted}
    last = readings.rows[-1] if readings.rows else None
    scored: list[tuple[float, Candidate]] = []
    for part in table.off.parts:
        if part.instrument not in instruments:
            continue
        looks = _looks(table, part, instruments[part.instrument])
        for channel in channels:
            bits = _quick(table, looks, channel, believed)
            for number, reading in enumerate(looks.readings):
                key = (reading.quantity, reading.point, reading.against, channel)
                if key in taken or not _reached(table, readings, reading, channel):
                    continue
                one = Reading(reading.point, reading.quantity, channel, instrument=reading.instrument,
                              against=reading.against)  # fmt: skip
                each = facts().power_off.each
                minutes = max(SHORTEST, each + minutes_between(last, one))
                scored.append((float(bits[number]), Candidate(one, looks.features[number], minutes, each)))
    scored.sort(key=lambda pair: -pair[0])
    return [candidate for score, candidate in scored[:MOST] if score > 0]


def _reached(table: Table, readings: Readings, reading: Reading, channel: str) -> bool:
    """Tell whether both leads get there: parts are reached, test points as for any reading."""
    names = [name for name in (reading.point, reading.against) if name in table.points]
    return all(in_reach(table, readings, name, channel) for name in names)


def _looks(table: Table, part: OffTable, instrument: Instrument) -> _Looks:
    """Return what every row predicts at a part's places, kept from one reading to the next."""
    key = (table.key, part.key)
    if key not in _kept:
        while len(_kept) >= KEPT:
            _kept.pop(next(iter(_kept)))
        _kept[key] = _looked(table, part, instrument)
    return _kept[key]


def _looked(table: Table, part: OffTable, instrument: Instrument) -> _Looks:
    readings, features, means, sigmas = [], [], [], []
    seen = set()
    for reading in _readings(part):
        feature = feature_of(reading, table, instrument)
        spot = table.off.spot(instrument.name, reading.point, reading.against)
        if feature is None or spot is None or spot.part is not part:
            continue
        place = part.places[spot.place]
        nodes = (*place.nodes, spot.polarity) if spot.polarity <= 0 else (*place.nodes[::-1], 0)
        if nodes in seen or (spot.polarity == 0 and (*place.nodes, -1) in seen):
            continue
        numbers = scaled(off_numbers(table, feature), feature)
        draws = _spread(numbers[:, 1:])
        unsure = off_unsure(table, feature)
        ends = scaled(np.minimum(part.settled[0, spot.place], feature.most), feature)
        moving = np.abs(ends - scaled(np.minimum(part.value[0, 0, spot.place], feature.most), feature)).max()
        if not np.isfinite(numbers[0, 0]) or moving > RESTLESS:
            continue
        seen.add(nodes)
        mean = np.where(np.isfinite(numbers[:, 0]), numbers[:, 0], numbers[0, 0])
        own = sum(each**2 for each in error_parts(unscaled_array(mean, feature), feature, instrument))
        readings.append(reading)
        features.append(feature)
        means.append(mean)
        sigmas.append(np.sqrt(draws**2 + np.nan_to_num(unsure) ** 2 + own + 1e-6))
    shape = (len(part.value), 0)
    return _Looks(
        tuple(readings), tuple(features),
        np.stack(means, axis=1) if means else np.zeros(shape), np.stack(sigmas, axis=1) if sigmas else np.zeros(shape),
    )  # fmt: skip


def _spread(numbers: Values) -> Values:
    """Return the standard deviation over the draws there are: array, (row,)."""
    there = np.isfinite(numbers)
    count = np.maximum(there.sum(axis=1), 1)
    known = np.where(there, numbers, 0.0)
    mean = known.sum(axis=1) / count
    return np.asarray(np.sqrt((np.where(there, known - mean[:, None], 0.0) ** 2).sum(axis=1) / count))


def _readings(part: OffTable) -> Iterator[Reading]:
    """Yield the readings of a part's places in circuit; across junctions in both polarities."""
    for place in part.places:
        if place.lifted:
            continue
        names = [(place.point, place.against)]
        names += [(place.against, place.point)] if place.part and place.against else []
        if place.part and not place.against and part.meter.quantity == "diode test":
            names = [(f"{place.part} {one}", f"{place.part} {other}") for one, other in (place.pins, place.pins[::-1])]
        for point, against in names:
            yield Reading(point, part.meter.quantity, "", instrument=part.instrument, against=against)


def _quick(table: Table, looks: _Looks, channel: str, believed: Belief) -> Values:
    """Return about how much each place tells: array, (reading,) [bit]."""
    if not looks.readings:
        return np.zeros(0)
    keep = np.argsort(-believed.weight, kind="stable")[:LOOKED_AT]
    each = steps(table)
    rows = believed.hypothesis[keep]
    here = np.array([believed.faulty[number] == channel for number in keep]) | each.shared[rows]
    first, second = np.where(here, each.first[rows], 0), np.where(here, each.second[rows], 0)
    way = np.where(here, each.way[rows], 0.0)[:, None]
    mean = (1 - way) * looks.mean[first] + way * looks.mean[second]
    sigma = np.sqrt((1 - way) * looks.sigma[first] ** 2 + way * looks.sigma[second] ** 2)
    share = believed.weight[keep] / believed.weight[keep].sum()
    apart = np.sqrt(share @ (mean - share @ mean) ** 2)
    bits = np.zeros(len(looks.readings))
    worth = np.flatnonzero(apart > 0.05 * (share @ sigma))
    binned = (_bins(share, mean[:, number], sigma[:, number]) for number in worth)
    bits[worth] = from_bins(believed.decision[keep], share, binned).bits
    return bits


def _bins(share: Values, mean: Values, sigma: Values) -> Values:
    below = ndtr((edges(share, mean, sigma, BINS)[None] - mean[:, None]) / sigma[:, None])
    return np.asarray(np.maximum(np.diff(below, axis=1, prepend=0.0, append=1.0), 0.0))
