"""What to do next: readings not taken yet and moves, ranked, and whether another reading is worth taking at all."""

from __future__ import annotations

from dataclasses import dataclass
from math import inf


@dataclass(frozen=True)
class Expectation:
    """What a reading will be if one suspect is the fault.

    Parameters
    ----------
    part, mode, channel : str
        As the suspect is called; ``healthy`` as mode, with no part, where nothing is wrong.
    probability : float
    value : float
        Median [V rms], [V] or [ohm].
    low, high : float
        The range that 90 % of such readings would fall in.
    """

    part: str
    mode: str
    channel: str
    probability: float
    value: float
    low: float
    high: float


@dataclass(frozen=True)
class NextReading:
    """A reading not taken yet.

    Parameters
    ----------
    point, quantity, channel : str
    frequency : float or None
        Generator frequency [Hz]; None for dc.
    instrument : str
    given_as : str
        How a level will be read: ``rms``, ``pp``, ``peak``.
    floor : float
        What the instrument tells from nothing [V rms], [V] or [ohm].
    minutes : float
        From where the probe is now.
    information : float
        Expected information about which part to lift [bit].
    right : float
        How much more often the most probable part will be the right one after it.
    expectations : tuple of Expectation
        Under the leading suspects, most probable first.
    against : str
        Where the other lead goes; empty for ground, and for across a part.
    power, risk : str
        Whether the unit is powered, and what to take care of where that is not the usual.
    largest : float
        The largest that the instrument shows [ohm], [V]; infinite where it does not matter.
    generator : float or None
        Level to set the generator to, where it is another one than the set-up's [V rms].
    """

    point: str
    quantity: str
    channel: str
    frequency: float | None
    instrument: str
    given_as: str
    floor: float
    minutes: float
    information: float
    right: float
    expectations: tuple[Expectation, ...] = ()
    against: str = ""
    power: str = "on"
    risk: str = ""
    largest: float = inf
    generator: float | None = None

    @property
    def rate(self) -> float:
        """Expected information per minute [bit/min]."""
        return self.information / self.minutes


@dataclass(frozen=True)
class Move:
    """Something to do that is no reading: lifting a leg, bridging a capacitor, swapping a part.

    Parameters
    ----------
    name : str
        Its name in ``moves.toml``.
    part, stage, channel : str
        What it is done to.
    text : str
        What to do, for people.
    shows : str
        What it decides, for people.
    power, risk : str
    minutes : float
    information : float
        Expected information about which part to lift [bit].
    right : float
        How much more often the most probable part will be the right one after it.
    """

    name: str
    part: str
    stage: str
    channel: str
    text: str
    shows: str
    power: str
    risk: str
    minutes: float
    information: float
    right: float

    @property
    def rate(self) -> float:
        """Expected information per minute [bit/min]."""
        return self.information / self.minutes


@dataclass(frozen=True)
class Instead:
    """Where to read what a probe can't reach.

    Parameters
    ----------
    point, channel : str
        The test point that can't be reached.
    place : str
        Where to read instead, for people.
    same_node : bool
        True for another place on the same node; False where a part lies between.
    """

    point: str
    channel: str
    place: str
    same_node: bool


@dataclass(frozen=True)
class Next:
    """What to do next.

    Parameters
    ----------
    ranked : tuple of NextReading or Move
        Most expected information per minute first.
    stop : str
        Empty while another reading is worth taking. Else why none is: ``sure`` (one part holds enough of the
        probability), ``alike`` (parts that nothing reachable tells apart do), ``idle`` (no reading left would change
        what one would do), ``healthy``, or ``unexplained``.
    parts : tuple of (str, str, float)
        The parts it has come down to, with channel and probability, most probable first.
    action : Move or None
        What to do about them.
    instead : tuple of Instead
    """

    ranked: tuple[NextReading | Move, ...]
    stop: str
    parts: tuple[tuple[str, str, float], ...]
    action: Move | None
    instead: tuple[Instead, ...]

    @property
    def reading(self) -> NextReading | None:
        """The best reading, whether or not a move comes before it."""
        return next((each for each in self.ranked if isinstance(each, NextReading)), None)
