"""What the healthy row of a signature table says of one place: values with their ranges, and the scope's picture."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from lostgain.bench.sheet_model import Picture, Range
from lostgain.circuit import Circuit
from lostgain.readings.model import Instrument
from lostgain.signatures import Table

#: Ends of a range [percentile]: nine healthy units out of ten lie within.
LOWER, UPPER = 5.0, 95.0
#: From the middle of a normal distribution to its 95th percentile [standard deviations].
NINE_TENTHS = 1.645
#: What the screen of an oscilloscope is divided into.
ACROSS, UP = 10, 4
#: A picture fills no more than this many divisions from bottom to top, and shows at least this many cycles.
_FILLED, _CYCLES = 6.0, 2.0


def spread(samples: NDArray[np.float64]) -> Range:
    """Return the range of a healthy value.

    Parameters
    ----------
    samples : array, (sample,) [V]
        The first at nominal part values, the others tolerance draws; NaN where a run did not converge.

    Returns
    -------
    Range
        5th to 95th percentile of the draws, widened to hold the nominal value (which lies at the edge where a
        tolerance is lopsided).
    """
    nominal = float(samples[0])
    if not math.isfinite(nominal):
        return Range(math.nan, math.nan, math.nan)
    draws = samples[1:][np.isfinite(samples[1:])]
    if not len(draws):
        return Range(nominal, nominal, nominal)
    low, high = np.percentile(draws, [LOWER, UPPER])
    return Range(nominal, min(float(low), nominal), max(float(high), nominal))


def as_read(value: Range, instrument: Instrument, quantity: str) -> Range:
    """Return the range widened by what the instrument may be off by, so that it is one of readings.

    A level that the generator sets has no spread of its own: without this its range would be a single value.

    Parameters
    ----------
    value : Range
        Over part tolerances: [V rms] for a ``level``, [V] for ``dc``.
    instrument : Instrument
    quantity : str
        ``level`` or ``dc``.

    Returns
    -------
    Range
        Nine readings of healthy units out of ten lie within; both errors are taken as independent and normal.
    """
    share = math.hypot(instrument.scale_error, instrument.read_error)
    zero = instrument.zero_error if quantity == "dc" else 0.0
    error = NINE_TENTHS * math.hypot(value.nominal * share, zero)
    low = value.nominal - math.hypot(value.nominal - value.low, error)
    high = value.nominal + math.hypot(value.high - value.nominal, error)
    return Range(value.nominal, max(low, 0.0) if quantity == "level" else low, high)


def healthy_dc(table: Table, point: str) -> Range:
    """Return the DC of the healthy unit at a test point [V]."""
    return spread(table.values("dc")[0, :, table.points.index(point)])


def healthy_ripple(table: Table, point: str) -> tuple[float, float, float]:
    """Return the ripple of the healthy unit at a test point: lowest, nominal, highest [V peak to peak]."""
    found = spread(table.values("ripple")[0, :, table.points.index(point)])
    return found.low, found.nominal, found.high


def healthy_level(table: Table, point: str, index: int, quantity: str = "level") -> Range:
    """Return the level of the healthy unit at a test point and the frequency of that index.

    ``level`` is in V rms, ``swing`` in V peak to peak.
    """
    return spread(table.values(quantity)[0, :, table.points.index(point), index])


def output_point(table: Table) -> str | None:
    """Return the name of a test point at the unit's output, in reach if there is one; None without any."""
    circuit = table.circuit
    names = [point.name for point in circuit.unit.points if circuit.points.get(point.name) == circuit.output]
    return next((name for name in names if circuit.unit.point(name).reach), names[0] if names else None)


def output_level(table: Table) -> float | None:
    """Return the highest healthy level across the load over the set-up's frequencies [V rms]; None if not known.

    At the generator's own level.
    """
    name = output_point(table)
    if name is None:
        return None
    levels = table.values("level")[0, 0, table.points.index(name), : len(table.frequencies)]
    return float(np.nanmax(levels)) * across_load(table.circuit) if np.isfinite(levels).any() else None


def across_load(circuit: Circuit) -> float:
    """Return how many times an output terminal's level lies across the load: two of a bridged output, in opposition."""
    return 1.0 if circuit.cold == "0" else 2.0


def picture(table: Table, point: str, floor: float, index: int = 0) -> Picture | None:
    """Return what the oscilloscope shows, triggered on the generator.

    Parameters
    ----------
    table : Table
    point : str
    floor : float
        Smallest level the instrument tells from nothing [V rms]: no picture below it.
    index : int
        Of the frequency; 0 is the middle one.
    """
    wave = np.asarray(table.data["wave"].values[0, table.points.index(point), index], dtype=float)
    if not np.isfinite(wave).all() or wave.std() < floor:
        return None
    frequency = table.frequencies[index]
    seconds = next_step(_CYCLES / frequency / ACROSS)
    volts = next_step(2 * float(np.abs(wave).max()) / _FILLED)
    cycles = seconds * ACROSS * frequency
    count = math.ceil(cycles * len(wave))
    phase = np.linspace(0.0, cycles, count + 1)
    up = np.interp(phase, np.arange(len(wave)) / len(wave), wave, period=1.0) / volts
    across = phase / cycles * ACROSS
    trace = tuple((round(float(x), 3), round(float(y), 3)) for x, y in zip(across, up, strict=True))
    return Picture(frequency, volts, seconds, trace)


def next_step(value: float) -> float:
    """Return the next value of the 1-2-5 series, as on the knobs of an oscilloscope: 0.13 gives 0.2."""
    decade = 10.0 ** math.floor(math.log10(value))
    return next(float(f"{decade * step:.3g}") for step in (1, 2, 5, 10) if decade * step >= value * (1 - 1e-9))
