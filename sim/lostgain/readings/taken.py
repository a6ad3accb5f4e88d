"""What a reading is of, its value apart: to say it, and to tell whether two are of the same."""

from __future__ import annotations

from typing import Protocol

from lostgain.quantities import show
from lostgain.unit.channels import called
from lostgain.unit.model import Unit

#: Point, other lead, quantity, channel, and what the generator gives.
What = tuple[str, str, str, str, float | None, float | None]

#: What follows a channel's name where its readings while an intermittent unit works stand beside those of its fault.
WORKING = " (working)"


class Taken(Protocol):
    """A reading that was taken, or may be."""

    @property
    def point(self) -> str: ...  # noqa: D102 -- as of a Reading, like those below
    @property
    def against(self) -> str: ...  # noqa: D102
    @property
    def quantity(self) -> str: ...  # noqa: D102
    @property
    def channel(self) -> str: ...  # noqa: D102
    @property
    def frequency(self) -> float | None: ...  # noqa: D102
    @property
    def generator(self) -> float | None: ...  # noqa: D102


def what(reading: Taken) -> What:
    """Return what a reading is of: two of the same have the same, whatever the instrument."""
    return (reading.point, reading.against, reading.quantity, reading.channel, reading.frequency, reading.generator)


def at_text(frequency: float | None, generator: float | None = None) -> str:
    """Return what the generator gives, as it follows a quantity: `` at 500 Hz``, `` at 500 Hz from 20 mV rms``.

    Parameters
    ----------
    frequency : float or None
        [Hz]; None for what is read without a signal: nothing is said then.
    generator : float or None
        Where its level is another one than the set-up's [V rms].
    """
    if frequency is None:
        return ""
    level = f" from {show(generator, 'V rms')}" if generator is not None else ""
    return f" at {show(frequency, 'Hz')}{level}"


def placed(reading: Taken, unit: Unit) -> str:
    """Return where a reading was taken, in its own board's names: ``U102 pin 1 (Zone B)``; an only channel has none."""
    name = reading.channel.removesuffix(WORKING)
    board = next((channel for channel in unit.channels if channel.name == name), unit.channels[0])
    place = f"{reading.point} to {reading.against}" if reading.against else reading.point
    only = len(unit.channels) == 1 and reading.channel in ("", board.name)
    return called(board, place) + ("" if only or not reading.channel else f" ({reading.channel})")
