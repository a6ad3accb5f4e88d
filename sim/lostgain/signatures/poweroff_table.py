"""The power-off part of a signature table: what a meter shows at each place under every fault."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import h5py
import numpy as np
from numpy.typing import NDArray

from lostgain.signatures.poweroff_meter import Meter
from lostgain.signatures.poweroff_places import Place
from lostgain.signatures.poweroff_task import OffRow

Values = NDArray[np.float64]

_NAMES = ("value", "settled", "other", "status")


@dataclass(frozen=True)
class Spot:
    """Where a reading of the power-off part stands in it.

    Parameters
    ----------
    part : OffTable
    place : int
    polarity : int
        0 or 1; -1 where the leads were put either way, and both have to agree.
    """

    part: OffTable
    place: int
    polarity: int


@dataclass(frozen=True)
class OffTable:
    """What one meter shows at some places of an unpowered unit, under every fault.

    Parameters
    ----------
    instrument : str
        Its name.
    meter : Meter
    places : tuple of Place
    value : array, (row, sample, place, polarity) [ohm], of a diode test [V]
        After the meter's wait. Rows are those of the signature table; sample 0 is at nominal values. What did not
        converge is NaN.
    settled, other : arrays, (row, place, polarity)
        At nominal values: once all has charged, and with what is the maker's affair the other way round.
    status : tuple of str
        Of each row.
    key : str
        Identifier: a digest of all that the numbers come from.
    """

    instrument: str
    meter: Meter
    places: tuple[Place, ...]
    value: Values
    settled: Values
    other: Values
    status: tuple[str, ...]
    key: str

    @cached_property
    def _spots(self) -> dict[tuple[str, str, bool], tuple[int, int]]:
        """Where each pair of names is; across a part of two pins also by its name alone, either way."""
        found: dict[tuple[str, str, bool], tuple[int, int]] = {}
        for number, each in enumerate(self.places):
            names = [(each.point, each.against)]
            if each.part and not each.against:
                found.setdefault((each.part, "", each.lifted), (number, -1))
                names = [(f"{each.part} {each.pins[0]}", f"{each.part} {each.pins[1]}")]
            for point, against in names:
                found.setdefault((point, against, each.lifted), (number, 0))
                found.setdefault((against, point, each.lifted), (number, 1))
        return found

    def spot(self, point: str, against: str, lifted: bool = False) -> Spot | None:
        """Return where a reading stands, by its names; None where the part does not hold it."""
        at = self._spots.get((point, against, lifted))
        return None if at is None else Spot(self, *at)

    def numbers(self, spot: Spot, samples: int) -> Values:
        """Return what is read there on a given number of samples, NaN beyond those there are: array, (row, sample)."""
        both = self.value[:, :, spot.place]
        # Both ways round, what is expected is half-way between them on a scale of ratios.
        found = both[:, :, spot.polarity] if spot.polarity >= 0 else np.sqrt(np.maximum(both[..., 0] * both[..., 1], 0))
        there = min(samples, found.shape[1])
        padded = np.full((len(found), samples), np.nan)
        padded[:, :there] = found[:, :there]
        return padded


@dataclass(frozen=True)
class PowerOff:
    """The power-off parts that a table has: some for each instrument.

    Parameters
    ----------
    parts : tuple of OffTable
    """

    parts: tuple[OffTable, ...] = ()

    def spot(self, instrument: str, point: str, against: str, lifted: bool = False) -> Spot | None:
        """Return where a reading stands, or None where no part holds it."""
        for part in self.parts:
            if part.instrument == instrument and (found := part.spot(point, against, lifted)) is not None:
                return found
        return None

    def with_part(self, part: OffTable) -> PowerOff:
        """Return these with one more."""
        return self if any(each.key == part.key for each in self.parts) else PowerOff((*self.parts, part))


def assembled_off(
    instrument: str, meter: Meter, places: tuple[Place, ...], rows: Sequence[OffRow], key: str
) -> OffTable:
    """Return the power-off part of finished rows."""
    value, settled, other = (np.array([getattr(row, name) for row in rows]) for name in _NAMES[:3])
    return OffTable(instrument, meter, places, value, settled, other, tuple(row.status for row in rows), key)


def save_off(part: OffTable, path: Path) -> None:
    """Write a power-off part; under its final name only once it is whole."""
    path.parent.mkdir(parents=True, exist_ok=True)
    unfinished = path.with_name(f"{path.name}.{os.getpid()}.part")
    try:
        with h5py.File(unfinished, "w") as file:
            for name in _NAMES[:3]:
                array = getattr(part, name).astype(np.float32)
                file.create_dataset(name, data=array, compression="gzip", compression_opts=3, fletcher32=True)
            file.create_dataset("status", data=np.array([text.encode() for text in part.status]))
            file.attrs["key"] = part.key
            file.attrs["digest"] = _digest(file)
        unfinished.replace(path)
    finally:
        unfinished.unlink(missing_ok=True)


def load_off(
    path: Path, instrument: str, meter: Meter, places: tuple[Place, ...], rows: int, key: str
) -> OffTable | None:
    """Open a power-off part, or return None where there is none that fits."""
    try:
        with h5py.File(path, "r") as file:
            if file.attrs["key"] != key or file.attrs["digest"] != _digest(file):
                return None
            value, settled, other = (np.asarray(file[name][...], dtype=float) for name in _NAMES[:3])
            status = tuple(text.decode() for text in file["status"][...])
    except (OSError, ValueError, KeyError, TypeError, RuntimeError, AttributeError):
        return None  # none, or none of ours, or damaged: it will be built
    if value.ndim != 4 or (value.shape[0], value.shape[2]) != (rows, len(places)) or len(status) != rows:
        return None
    return OffTable(instrument, meter, places, value, settled, other, status, key)


def _digest(file: h5py.File) -> str:
    """Return a digest of all numbers and texts, which tells a damaged file from a whole one."""
    summed = hashlib.sha256()
    for name in _NAMES:
        summed.update(np.ascontiguousarray(file[name][...]).tobytes())
    return summed.hexdigest()
