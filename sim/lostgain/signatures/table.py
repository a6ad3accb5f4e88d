"""The signature table: the readings every fault of a unit predicts, with their spread over part tolerances."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property
from pathlib import Path

import h5py
import numpy as np
import xarray as xr
from numpy.typing import NDArray

from lostgain.circuit import Circuit
from lostgain.faults import Fault, Stray
from lostgain.signatures.rows import RowResult

_VARIABLES = ("dc", "level", "swing", "wave", "small_signal", "settled", "status", "fault", "point", "frequency")


@dataclass(frozen=True)
class Table:
    """A unit's signature table.

    Parameters
    ----------
    circuit : Circuit
    faults : tuple of Fault
        The fault of each row but the first; row 0 is the healthy unit. Rows of stray paths come last.
    data : xarray.Dataset
        ``dc (row, sample, point) [V]``, ``level (row, sample, point, frequency) [V rms]``,
        ``swing (row, sample, point, frequency) [V peak to peak]``, ``wave (row, point, frequency, phase) [V]``,
        ``phasor (row, sample, point, frequency, part) [V rms]``, ``current (row, sample, rail) [A]``,
        ``impedance (row, point, impedance_at, part) [ohm]``, ``probed (row, point, probe) [V]``,
        ``small_signal (row, frequency)``, ``settled (row, frequency)``, ``status (row)``. Sample 0 is at nominal
        values, the others are tolerance draws, the same for every row. What did not converge is NaN.
    key : str
        Identifier: a digest of all that the numbers come from.
    strays : tuple of Stray
        The stray paths, which have nominal values only.
    """

    circuit: Circuit
    faults: tuple[Fault, ...]
    data: xr.Dataset
    key: str
    strays: tuple[Stray, ...] = ()

    @cached_property
    def points(self) -> tuple[str, ...]:
        """Names of the test points, in signal order."""
        return tuple(str(name) for name in self.data.point.values)

    @cached_property
    def frequencies(self) -> tuple[float, ...]:
        """Frequencies [Hz]: middle, low, high."""
        return tuple(float(value) for value in self.data.frequency.values)

    def values(self, quantity: str) -> NDArray[np.float64]:
        """Return the numbers of a quantity: array, (row, sample, point) or (row, sample, point, frequency)."""
        return self._numbers[quantity]

    def complex_values(self, quantity: str) -> NDArray[np.complex128]:
        """Return the numbers of a complex quantity: ``phasor`` or ``impedance``, with the table's axes."""
        if quantity not in self._complex:
            parts = self._numbers[quantity].astype(float)
            self._complex[quantity] = np.asarray(parts[..., 0] + 1j * parts[..., 1])
        return self._complex[quantity]

    @cached_property
    def _numbers(self) -> dict[str, NDArray[np.float64]]:
        """Each quantity's array, since a match asks for them a hundred times."""
        return {str(name): np.asarray(each.values) for name, each in self.data.variables.items()}

    @cached_property
    def _complex(self) -> dict[str, NDArray[np.complex128]]:
        return {}

    @cached_property
    def failed(self) -> tuple[tuple[Fault | None, str], ...]:
        """Rows that lack numbers, with the reason."""
        rows: tuple[Fault | None, ...] = (None, *self.faults)
        status = [str(text) for text in self.data.status.values][: len(rows)]
        return tuple((row, text) for row, text in zip(rows, status, strict=True) if text != "ok")


def assembled(
    circuit: Circuit,
    faults: tuple[Fault, ...],
    rows: list[RowResult],
    key: str,
    seed: int,
    strays: tuple[Stray, ...] = (),
) -> Table:
    """Return the table of finished rows: the healthy one, the faults, the stray paths."""
    numbers = ("row", "sample", "point", "frequency")
    data = xr.Dataset(
        {
            "dc": (numbers[:3], np.array([row.dc for row in rows]), {"units": "V"}),
            "level": (numbers, np.array([row.level for row in rows]), {"units": "V rms"}),
            "swing": (numbers, np.array([row.swing for row in rows]), {"units": "V peak to peak"}),
            "phasor": ((*numbers, "part"), _parts([row.phasor for row in rows]), {"units": "V rms"}),
            "current": (("row", "sample", "rail"), np.array([row.current for row in rows]), {"units": "A"}),
            "impedance": (
                ("row", "point", "impedance_at", "part"),
                _parts([row.impedance for row in rows]),
                {"units": "ohm"},
            ),
            "probed": (("row", "point", "probe"), np.array([row.probed for row in rows]), {"units": "V"}),
            "wave": (
                ("row", "point", "frequency", "phase"),
                np.array([row.wave for row in rows], dtype=np.float32),
                {"units": "V"},
            ),
            "small_signal": (("row", "frequency"), np.array([row.small_signal for row in rows])),
            "settled": (("row", "frequency"), np.array([row.settled for row in rows])),
            "status": (("row",), np.array([row.status for row in rows], dtype=object)),
            "fault": (("row",), np.array(["healthy", *_labels(faults), *_labels(strays)], dtype=object)),
        },
        coords={
            "point": np.array(list(circuit.points), dtype=object),
            "frequency": ("frequency", np.array(circuit.unit.setup.frequencies), {"units": "Hz"}),
        },
        attrs={"key": key, "unit": circuit.unit.name, "ngspice": circuit.version, "seed": seed},
    )
    data.attrs["digest"] = _digest(data)
    return Table(circuit, faults, data, key, strays)


def _labels(rows: Sequence[Fault | Stray]) -> list[str]:
    return [row.label for row in rows]


def _digest(data: xr.Dataset) -> str:
    """Return a digest of all numbers and texts, which tells a damaged table from a whole one."""
    summed = hashlib.sha256()
    for name in sorted(str(each) for each in data.variables):
        values = data[name].values
        text = values.dtype == object or values.dtype.kind in "OUS"
        summed.update("\n".join(map(str, values.ravel())).encode() if text else np.ascontiguousarray(values).tobytes())
    return summed.hexdigest()


#: What is stored compressed.
PACKED = ("dc", "level", "swing", "phasor", "current", "impedance", "probed", "wave")


def _parts(arrays: list[NDArray[np.complex128]]) -> NDArray[np.float32]:
    """Split complex numbers into a last axis of real and imaginary part, since netCDF has none."""
    stacked = np.array(arrays)
    return np.stack([stacked.real, stacked.imag], axis=-1).astype(np.float32)


def save(table: Table, path: Path) -> None:
    """Write a table as netCDF-4; under its final name only once it is whole."""
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f"{path.name}.{os.getpid()}.part")
    try:
        # A checksum tells a damaged table from a whole one.
        packed = {name: {"zlib": True, "complevel": 3, "fletcher32": True} for name in PACKED}
        table.data.to_netcdf(part, engine="h5netcdf", encoding=packed)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def load(path: Path, circuit: Circuit, faults: tuple[Fault, ...], strays: tuple[Stray, ...], key: str) -> Table | None:
    """Open a table, or return None where there is none that fits."""
    try:
        # Looked through first, since h5netcdf leaves a half-open file behind where it comes upon damage.
        with h5py.File(path, "r") as file:
            if str(file.attrs.get("key")) != key:
                return None
            file.visititems(_seen)
        with xr.open_dataset(path, engine="h5netcdf") as found:
            data = found.load()
    except (OSError, ValueError, KeyError, TypeError, AttributeError, RuntimeError, IndexError):
        return None  # none, or none of ours, or damaged: it will be built
    rows = 1 + len(faults) + len(strays)
    sizes = {"row": rows, "point": len(circuit.points), "frequency": len(circuit.unit.setup.frequencies)}
    if not set(_VARIABLES) <= data.variables.keys():
        return None
    if any(data.sizes.get(name) != size for name, size in sizes.items()):
        return None
    return Table(circuit, faults, data, key, strays) if data.attrs.get("digest") == _digest(data) else None


def _seen(_name: str, each: h5py.Dataset | h5py.Group) -> None:
    dict(each.attrs)
