"""What a reading is: one value, numeric or in words, taken at a test point or across a pair."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf
from pathlib import Path

from lostgain.problems import Where
from lostgain.quantities import PP_PER_RMS

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
    "seen",
    "not seen",
)

#: Quantities that are seen or heard and not measured: their readings are ``seen`` or ``not seen``.
SIGNS = ("noise", "oscillation", "hum")

#: States of an intermittent unit.
STATES = ("faulty", "working")

#: Quantities that are read with the power off, across a part or between two places.
OFF = ("resistance", "diode test", "esr")

#: All quantities that are read with the power off; signatures hold those of `OFF`.
UNPOWERED = (*OFF, "capacitance")

#: A level with both legs of a balanced input driven alike.
COMMON = "common mode"
#: Quantities that are levels.
LEVELS = ("level", COMMON)

#: What each quantity is counted in.
UNITS = {
    "level": "V", COMMON: "V", "dc": "V", "ripple": "Vpp", "current": "A", "mains watts": "W", "resistance": "ohm",
    "diode test": "V", "esr": "ohm", "capacitance": "F",
}  # fmt: skip

#: Ways to write a level that say how high a wave is, and not its rms value.
PEAKS = ("pp", "peak")

#: Quantities of the whole unit: their readings belong to no channel.
WHOLE_UNIT = ("current", "mains watts")


@dataclass(frozen=True)
class Reading:
    """One reading.

    Parameters
    ----------
    point : str
        Name of the test point, as the unit file has it (first channel's designators). For a ``current`` the name of the
        rail, for ``mains watts`` ``mains``; for a sign empty where it is one of the whole channel. For one of `OFF`
        also a part, for across it (``R14``), a pin of it (``Q3 b``), a rail, or ``ground``.
    quantity : str
        ``level``, ``dc``, ``common mode``, ``current``, ``mains watts``, one of `OFF` or of `SIGNS`; further quantities
        are named in shared words (``distortion``, ``ripple``, …).
    channel : str
        Name of the channel it was taken in; empty for `WHOLE_UNIT`, and for a sign that all channels show.
    value : float or None
        ``level`` [V rms], ``dc`` [V], ``ripple`` [V peak to peak], ``current`` [A] without its sign,
        ``mains watts`` [W], ``resistance`` and ``esr``
        [ohm], ``diode test`` [V]; None for a reading in words.
    word : str
        One of `WORDS`, or empty for a number.
    given_as : str
        How a level was written: ``rms``, ``pp``, ``peak`` or ``dBu``. `value` is always the rms value of a sine of that
        size; a peak-to-peak reading of a distorted signal is compared with the signal's own peak-to-peak value.
    frequency : float or None
        Generator frequency [Hz]; None for all but a level.
    generator : float or None
        Open-circuit level of the generator, where it was another one than the set-up's [V rms].
    instrument : str
        Name in ``instruments.toml``.
    below : bool
        True when the instrument could only say "less than" (`value` is then the floor it gave).
    above : bool
        True when the instrument could only say "more than" (`value` is then the limit, by its size).
    against : str
        Name of the test point that the other lead is on, for a reading across a pair: `value` is that at `point` less
        that at `against`. Empty for ground.
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
    above: bool = False
    against: str = ""
    lifted: bool = False
    text: str = ""
    note: str = ""
    where: Where = Where()
    generator: float | None = None


@dataclass(frozen=True)
class Instrument:
    """An instrument and its errors: a row of ``instruments.toml``. What it can't read has no meaning.

    Parameters
    ----------
    name, title : str
    quantities : tuple of str
        What it can read.
    scale_error : float
        One standard deviation of the gain error all its readings share, as a fraction.
    read_error : float
        One standard deviation of the error of a single reading, as a fraction of the reading.
    floor_level, floor_dc, floor_current, floor_watts : float
        Smallest level [V rms], DC [V], current [A] and power [W] that it tells from nothing.
    zero_error : float
        One standard deviation of its DC zero [V].
    bandwidth : tuple of float
        Lowest and highest frequency read within its error [Hz].
    responds : str
        ``pp``, ``rms`` or ``average``.
    resistance, capacitance : float
        How it loads the circuit [ohm], [F].
    largest_level, largest_dc, largest_current : float
        The largest level [V rms], DC [V] and current [A] it reads; infinite where that is not known.
    earthed : bool
        True where its other lead is earth, so that it can't read across a pair.
    floor_ohms, largest_ohms : float
        Smallest and largest resistance or ESR that it reads [ohm]; `zero_error` is then in ohms too.
    open_volts : float
        Of an ohmmeter or a diode test: between its open leads [V].
    ranges : tuple of (float, float)
        Full scale and source resistance of each range [ohm], lowest first.
    wait : float
        How long after touching it is read [s].
    test_frequency : float
        Of an ESR meter [Hz].
    shows : str
        Of an ESR meter: the ``real`` part of the impedance, or its ``size``.
    floor_farads, largest_farads : float
        Smallest and largest capacitance that it reads [F]; `zero_error` is then in farads too.
    residual : float
        Of a distortion figure: what it shows of a pure sine, as a fraction.
    functions : tuple of (str, str)
        Quantities that another row reads for it, and that row: a multimeter's ohms ranges.
    """

    name: str
    title: str
    quantities: tuple[str, ...]
    scale_error: float
    read_error: float
    floor_level: float = 1e-3
    floor_dc: float = 1e-3
    floor_current: float = 1e-3
    floor_watts: float = 1.0
    zero_error: float = 0.0
    bandwidth: tuple[float, float] = (0.0, inf)
    responds: str = "rms"
    resistance: float = inf
    capacitance: float = 0.0
    largest_level: float = inf
    largest_dc: float = inf
    largest_current: float = inf
    earthed: bool = False
    floor_ohms: float = 0.1
    largest_ohms: float = inf
    open_volts: float = 0.0
    ranges: tuple[tuple[float, float], ...] = ()
    wait: float = 5.0
    test_frequency: float = 100e3
    shows: str = "real"
    floor_farads: float = 1e-12
    largest_farads: float = inf
    residual: float = 0.0
    functions: tuple[tuple[str, str], ...] = ()

    def floor(self, quantity: str) -> float:
        """Return the smallest it tells from nothing [V rms], [V], [Vpp], [A], [W], [ohm], [F]; else 0."""
        floors = {**dict.fromkeys(LEVELS, self.floor_level), "dc": self.floor_dc, "current": self.floor_current}
        floors["ripple"] = PP_PER_RMS * self.floor_level
        off = {"diode test": self.floor_dc, "resistance": self.floor_ohms, "esr": self.floor_ohms,
               "capacitance": self.floor_farads}  # fmt: skip
        return {**floors, "mains watts": self.floor_watts, **off}.get(quantity, 0.0)

    def largest(self, quantity: str) -> float:
        """Return the largest it reads [V rms], [V], [A], [ohm] or [F]; infinite where that is not known."""
        ends = {**dict.fromkeys(LEVELS, self.largest_level), "dc": self.largest_dc, "current": self.largest_current}
        ends["ripple"] = PP_PER_RMS * self.largest_level
        off = {"diode test": self.largest_dc, "resistance": self.largest_ohms, "esr": self.largest_ohms,
               "capacitance": self.largest_farads}  # fmt: skip
        return {**ends, **off}.get(quantity, inf)


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
    state : str
        One of `STATES`: of an intermittent unit, whether it showed its fault while these were taken; else empty.
    """

    rows: tuple[Reading, ...]
    warnings: tuple[str, ...] = ()
    path: Path = Path()
    unreachable: tuple[tuple[str, str], ...] = ()
    good: str = ""
    state: str = ""
