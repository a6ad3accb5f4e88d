"""What a reading is: one value, numeric or in words, taken at a test point."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path

from lostgain.problems import Where

#: Words a reading may be given in, besides a number; what each means is data in ``words.toml``.
WORDS = (
    "nothing",
    "low",
    "same as good",
    "clipped",
    "flat top",
    "half missing",
    "crossover",
    "fuzzy",
    "hum",
)


@dataclass(frozen=True)
class Reading:
    """One reading.

    Parameters
    ----------
    point : str
        Name of the test point, as the unit file has it (first channel's designators).
    quantity : str
        ``level`` or ``dc``; further quantities are named in shared words (``distortion``, ``ripple``, …).
    channel : str
        Name of the channel it was taken in.
    value : float or None
        ``level`` [V rms], ``dc`` [V]; None for a reading in words.
    word : str
        One of `WORDS`, or empty for a number.
    given_as : str
        How a level was written: ``rms``, ``pp``, ``peak`` or ``dBu``. `value` is always the rms value of a sine of that
        size; a peak-to-peak reading of a distorted signal is compared with the signal's own peak-to-peak value.
    frequency : float or None
        Generator frequency [Hz]; None for ``dc``.
    instrument : str
        Name in ``instruments.toml``.
    below : bool
        True when the instrument could only say "less than" (`value` is then the floor it gave).
    text : str
        The value as the technician typed it.
    note : str
    where : Where
    """

    point: str
    quantity: str
    channel: str
    value: float | None = None
    word: str = ""
    given_as: str = "rms"
    frequency: float | None = None
    instrument: str = "scope-x10"
    below: bool = False
    text: str = ""
    note: str = ""
    where: Where = Where()


@dataclass(frozen=True)
class Instrument:
    """An instrument and its errors: a row of ``instruments.toml``.

    Parameters
    ----------
    name, title : str
    quantities : tuple of str
        What it can read.
    scale_error : float
        One standard deviation of the gain error all its readings share, as a fraction.
    read_error : float
        One standard deviation of the error of a single reading, as a fraction of the reading.
    floor_level, floor_dc : float
        Smallest level [V rms] and DC [V] that it tells from nothing.
    zero_error : float
        One standard deviation of its DC zero [V].
    bandwidth : tuple of float
        Lowest and highest frequency read within its error [Hz].
    responds : str
        ``pp``, ``rms`` or ``average``.
    resistance, capacitance : float
        How it loads the circuit [ohm], [F].
    """

    name: str
    title: str
    quantities: tuple[str, ...]
    scale_error: float
    read_error: float
    floor_level: float
    floor_dc: float
    zero_error: float
    bandwidth: tuple[float, float]
    responds: str
    resistance: float
    capacitance: float


@dataclass(frozen=True)
class Readings:
    """The readings of one file, all of the same state of the unit.

    Parameters
    ----------
    rows : tuple of Reading
        In the order of the file.
    warnings : tuple of str
        What was taken in a way the technician should know of, or left out; each names file and line.
    path : Path
        The file.
    unreachable : tuple of (str, str)
        Test points that can't be reached and the channel (empty where the file doesn't say: all channels).
    good : str
        Name of the channel known to be good; empty if none is.
    """

    rows: tuple[Reading, ...]
    warnings: tuple[str, ...] = ()
    path: Path = Path()
    unreachable: tuple[tuple[str, str], ...] = ()
    good: str = ""
