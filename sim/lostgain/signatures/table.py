"""The signature table: the readings every fault of a unit predicts, with their spread over part tolerances."""

from __future__ import annotations

import hashlib
from collections.abc import Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
import xarray as xr
from numpy.typing import NDArray

from lostgain.circuit import Circuit
from lostgain.faults import Fault, Stray
from lostgain.signatures.controls import Turn
from lostgain.signatures.poweroff_table import PowerOff
from lostgain.signatures.row import RowResult
from lostgain.signatures.shapes import distortion
from lostgain.unit.setup_model import Drive


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
        ``ripple (row, sample, point) [V peak to peak]`` where the unit's supply is described,
        ``impedance (row, point, impedance_at, part) [ohm]``, ``probed (row, point, probe) [V]``,
        ``turned (turn, point, frequency, part) [V rms]``
        with a ``control (turn)`` turned by ``decibels (turn)``, by small-signal analysis;
        ``small_signal (row, frequency)``, ``settled (row, frequency)``, ``status (row)``, ``severity (row)``, NaN where
        a row has none. Sample 0 is at nominal values, the others are tolerance draws, the same for every row. What did
        not converge is NaN. Where the set-up has further generator levels, the axis ``frequency`` goes on with those,
        and ``generator (frequency) [V rms]`` tells which.
    key : str
        Identifier: a digest of all that the numbers come from.
    strays : tuple of Stray
        The stray paths, which have nominal values only.
    remarks : tuple of str
        What has to be said of a table that comes from elsewhere.
    off : PowerOff
        What was simulated with the power off: a part of its own, put here by `lostgain.signatures.poweroff.power_off`.
    """

    circuit: Circuit
    faults: tuple[Fault, ...]
    data: xr.Dataset
    key: str
    strays: tuple[Stray, ...] = ()
    remarks: tuple[str, ...] = ()
    off: PowerOff = field(default_factory=PowerOff)

    @cached_property
    def points(self) -> tuple[str, ...]:
        """Names of the test points, in signal order."""
        return tuple(str(name) for name in self.data.point.values)

    @cached_property
    def frequencies(self) -> tuple[float, ...]:
        """Frequencies at the generator's own level [Hz]: middle, low, high; the first places of the axis `drives`."""
        return self.circuit.unit.setup.frequencies

    @property
    def drives(self) -> tuple[Drive, ...]:
        """What the generator gives at each place of the axis ``frequency``."""
        return self.circuit.unit.setup.drives

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
    def distortion(self) -> NDArray[np.float64]:
        """Total harmonic distortion as a fraction, 0 where there is no wave: array, (row, point, frequency)."""
        waves = self.values("wave").astype(float)
        known = np.isfinite(waves).all(axis=-1)
        shares = distortion(np.nan_to_num(waves).reshape(-1, waves.shape[-1])).reshape(known.shape)
        return np.where(known, shares, 0.0)

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
    turned: Sequence[Turn] = (),
) -> Table:
    """Return the table of finished rows: the healthy one, the faults, the stray paths, the turned controls."""
    rows, with_turns = rows[: 1 + len(faults) + len(strays)], rows[1 + len(faults) + len(strays) :]
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
            "severity": (("row",), _severities(rows, faults)),
            "fault": (("row",), np.array(["healthy", *_labels(faults), *_labels(strays)], dtype=object)),
        },
        coords={
            "point": np.array(list(circuit.points), dtype=object),
            "frequency": ("frequency", np.array(circuit.unit.setup.frequencies), {"units": "Hz"}),
        },
        attrs={"key": key, "unit": circuit.unit.name, "ngspice": circuit.version, "seed": seed},
    )
    if circuit.unit.supplies:
        ripple = np.array([row.ripple for row in rows])
        data["ripple"] = (numbers[:3], ripple, {"units": "V peak to peak"})
    if rows[0].common.size:
        data["common"] = (numbers[:3], np.array([row.common for row in rows]), {"units": "V"})
    if turned:
        phasors = _parts([row.phasor[0] for row in with_turns])
        data["turned"] = (("turn", "point", "frequency", "part"), phasors, {"units": "V rms"})
        data["decibels"] = (("turn",), np.array([turn.decibels for turn in turned]), {"units": "dB"})
        data["control"] = (("turn",), np.array([turn.control for turn in turned], dtype=object))
    data.attrs["digest"] = digest(data)
    return Table(circuit, faults, data, key, strays)


def joined(tables: Sequence[Table], circuit: Circuit) -> Table:
    """Return the table of all frequencies and generator levels, from tables of some each.

    Parameters
    ----------
    tables : sequence of Table
        Of the same rows. What has no frequency is the first one's.
    circuit : Circuit
        With all of them, in the order of the tables.
    """
    first = tables[0]
    if len(tables) == 1:
        return replace(first, circuit=circuit)
    along = [str(name) for name, each in first.data.variables.items() if "frequency" in each.dims]
    data = first.data.drop_vars(along)
    for name in along:
        parts = [each.data[name] for each in tables]
        values = np.concatenate([each.values for each in parts], axis=parts[0].dims.index("frequency"))
        data[name] = (parts[0].dims, values, parts[0].attrs)
    said = [dict.fromkeys(str(each) for each in row if each != "ok") for row in zip(
        *(each.data["status"].values for each in tables), strict=True)]  # fmt: skip
    data["status"] = (("row",), np.array(["; ".join(each) or "ok" for each in said], dtype=object))
    data = data.set_coords("frequency")
    if circuit.unit.setup.levels:
        generator = np.array([each.generator for each in circuit.unit.setup.drives])
        data = data.assign_coords(generator=("frequency", generator, {"units": "V rms"}))
    data.attrs["digest"] = digest(data)
    return Table(circuit, first.faults, data, first.key, first.strays)


def _severities(rows: Sequence[RowResult], faults: Sequence[Fault]) -> NDArray[np.float64]:
    """The severity of each row; NaN where it has none."""
    given = [np.nan if fault.severity is None else fault.severity for fault in faults]
    return np.array([np.nan, *given, *[np.nan] * (len(rows) - 1 - len(faults))])


def faults_in(data: xr.Dataset, listed: Sequence[Fault]) -> tuple[Fault, ...] | None:
    """Return the faults of a table's rows, by what the catalogue lists.

    Parameters
    ----------
    data : xarray.Dataset
    listed : sequence of Fault
        Each part and mode at the catalogue's severities: a table has those, and some between them.

    Returns
    -------
    tuple of Fault or None
        None where one of those listed is lacking, or a row is of none of them.
    """
    like = {(fault.part, fault.mode): fault for fault in listed}
    found = []
    severities = np.asarray(data["severity"].values, dtype=float)
    for label, severity in zip(data["fault"].values[1:], severities[1:], strict=True):
        base = like.get(tuple(str(label).split()[:2]))  # type: ignore[arg-type]
        if base is not None:
            found.append(base if np.isnan(severity) else replace(base, severity=float(severity)))
    return tuple(found) if set(found) >= set(listed) else None


def _labels(rows: Sequence[Fault | Stray]) -> list[str]:
    return [row.label for row in rows]


def _parts(arrays: list[NDArray[np.complex128]]) -> NDArray[np.float32]:
    """Split complex numbers into a last axis of real and imaginary part, since netCDF has none."""
    stacked = np.array(arrays)
    return np.stack([stacked.real, stacked.imag], axis=-1).astype(np.float32)


def digest(data: xr.Dataset) -> str:
    """Return a digest of all numbers and texts, which tells a damaged table from a whole one."""
    summed = hashlib.sha256()
    for name in sorted(str(each) for each in data.variables):
        values = data[name].values
        text = values.dtype == object or values.dtype.kind in "OUST"
        summed.update("\n".join(map(str, values.ravel())).encode() if text else np.ascontiguousarray(values).data)
    return summed.hexdigest()
