"""The bench sheet as a plain record: what to read, in which order, and what a healthy unit shows there."""

from __future__ import annotations

from dataclasses import dataclass

from lostgain.bench.cautions import Caution


@dataclass(frozen=True)
class Range:
    """A healthy value and where it, or a reading of it, lies in nine units out of ten.

    Parameters
    ----------
    nominal : float
        With every part at its nominal value [V]; NaN if it could not be computed.
    low, high : float
        5th and 95th percentile over tolerance draws [V], widened to hold `nominal`; NaN likewise.
    """

    nominal: float
    low: float
    high: float


@dataclass(frozen=True)
class Expected:
    """One thing to read at a place, and what a healthy unit shows.

    Parameters
    ----------
    quantity : str
        ``level``, ``dc``, ``ripple``, or ``check`` for a look with the ohmmeter.
    frequency : float or None
        Generator frequency of a level [Hz].
    volts : Range or None
        ``level`` [V rms], ``dc`` [V]; None for a ``check``, or where nothing was simulated.
    swing : Range or None
        The same level [V peak to peak], as an oscilloscope shows it.
    floor : float
        Smallest value the set-up's instrument tells from nothing [V rms for a level, V for DC].
    text : str
        What to see, where there is no number.
    """

    quantity: str
    frequency: float | None = None
    volts: Range | None = None
    swing: Range | None = None
    floor: float = 0.0
    text: str = ""


@dataclass(frozen=True)
class Picture:
    """What the oscilloscope shows at a place with the generator on.

    Parameters
    ----------
    frequency : float
        [Hz]
    volts_a_division, seconds_a_division : float
        [V], [s]
    trace : tuple of (float, float)
        Divisions to the right (0 to 10) and up (-4 to 4) from the middle line.
    """

    frequency: float
    volts_a_division: float
    seconds_a_division: float
    trace: tuple[tuple[float, float], ...]


@dataclass(frozen=True)
class Row:
    """One place, read once in each channel.

    Parameters
    ----------
    names : tuple of str
        What it is called in each channel; a single one for what all channels share.
    stage : str
    expected : tuple of Expected
        All that the step asks for at this place, so that the probe need not come back.
    minutes : float
        Time to reach and read it, in one channel [min].
    picture : Picture or None
    note : str
    """

    names: tuple[str, ...]
    stage: str
    expected: tuple[Expected, ...]
    minutes: float = 1.0
    picture: Picture | None = None
    note: str = ""


@dataclass(frozen=True)
class Step:
    """One step of the bench work: readings that are taken with the bench in one state.

    Parameters
    ----------
    title : str
    before : tuple of str
        What to do before the first reading.
    rows : tuple of Row
        In the order in which to read them.
    after : tuple of str
        What the readings decide.
    minutes : float
        In all channels [min].
    moves : int
        Places the probe is put on, in all channels.
    """

    title: str
    before: tuple[str, ...]
    rows: tuple[Row, ...]
    after: tuple[str, ...]
    minutes: float
    moves: int


@dataclass(frozen=True)
class OutOfReach:
    """A test point that a probe does not get to.

    Parameters
    ----------
    names : tuple of str
        What it is called in each channel.
    stage : str
    instead : tuple of str
        The points in reach before and after it in the signal path, in the first channel.
    """

    names: tuple[str, ...]
    stage: str
    instead: tuple[str, ...]


@dataclass(frozen=True)
class Sheet:
    """The bench sheet of a unit.

    Parameters
    ----------
    title, about : str
    invented : bool
    channels : tuple of str
    setup : tuple of (str, str)
        How the bench stands: what, and how.
    cautions : tuple of Caution
    steps : tuple of Step
    out_of_reach : tuple of OutOfReach
    notes : tuple of str
        What the numbers mean and where they come from.
    minutes : float
        For all steps [min].
    table : str
        Identifier of the signature table.
    """

    title: str
    about: str
    invented: bool
    channels: tuple[str, ...]
    setup: tuple[tuple[str, str], ...]
    cautions: tuple[Caution, ...]
    steps: tuple[Step, ...]
    out_of_reach: tuple[OutOfReach, ...]
    notes: tuple[str, ...]
    minutes: float
    table: str
