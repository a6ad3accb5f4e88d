"""The cells of a line of a readings file that say where and how a reading was taken."""

from __future__ import annotations

import re
from collections.abc import Mapping

from lostgain.problems import Problem, UserError, nearest
from lostgain.quantities import measure
from lostgain.readings.instruments import called, instruments, spoken
from lostgain.readings.model import OFF, SIGNS, WHOLE_UNIT, Instrument
from lostgain.readings.off import OffFinder, off_place, without_lifted
from lostgain.readings.pairs import Place, place
from lostgain.readings.points import Finder
from lostgain.readings.rails import rail
from lostgain.readings.words import is_place, quantities
from lostgain.unit.model import Unit
from lostgain.unit.rails import SUPPLY

#: The channel of what all of them show.
ALL = "all"

#: A frequency this near to one of the set-up's is that one: a generator's dial is no counter.
NEAR = 0.02
#: And a generator level this near to one of the set-up's is that one.
NEAR_LEVEL = 0.03


class Cells:
    """Reads cells of lines about one unit. Every method raises ValueError, saying what is wrong with the text.

    Parameters
    ----------
    unit : Unit
    units : mapping
        Column to the unit in its heading.

    Raises
    ------
    UserError
        If the set-up's instrument isn't known.
    """

    def __init__(self, unit: Unit, units: Mapping[str, str]) -> None:
        self.unit, self.units = unit, units
        self.finder = Finder(unit)
        self._off: OffFinder | None = None
        self.instruments = instruments(unit.folder)
        self._called = called(unit.folder)
        if (name := unit.setup.instrument) not in self.instruments:
            message = f"the set-up names an instrument '{name}' that isn't known."
            raise UserError(Problem(message, unit.setup.where, nearest(name, self.instruments)))

    def instrument(self, text: str) -> str:
        """Return an instrument's name."""
        if name := self._called.get(spoken(text)):
            return name
        near = nearest(text, [*self.instruments, *self._called]) or f"Instruments: {', '.join(self.instruments)}."
        raise ValueError(f"there is no instrument '{text}'. {near}")

    def frequency(self, text: str) -> float:
        """Return a generator frequency [Hz]; ``middle``, ``low`` and ``high`` are those of the set-up."""
        own = self.unit.setup.frequencies
        plain = text.casefold()
        if plain in ("middle", "mid", "low", "high"):
            place = {"m": 0, "l": 1, "h": 2}[plain[0]]
            if place >= len(own):
                raise ValueError(f"the set-up has no {plain} frequency; write it in Hz.")
            return own[place]
        if (unit := self.units.get("frequency", "")) and re.fullmatch(r"[0-9.,]+", text):
            text = f"{text} {unit}"
        value = measure(text, "frequency").value
        for known in own:
            if abs(value / known - 1) <= NEAR:
                return known
        return value

    def generator(self, text: str) -> float | None:
        """Return a level of the generator [V rms]; None for the set-up's own."""
        if (unit := self.units.get("generator level", "")) and re.fullmatch(r"[0-9.,]+", text):
            text = f"{text} {unit}"
        value = measure(text, "voltage").value
        if value <= 0:
            raise ValueError(f"'{text}': a generator level is above zero, for example 20 mV rms.")
        setup = self.unit.setup
        known = next((each for each in (setup.generator, *setup.levels) if abs(value / each - 1) <= NEAR_LEVEL), value)
        return None if known == setup.generator else known

    def channel(self, text: str) -> str:
        """Return a channel's name, or ``all``."""
        try:
            return self.finder.channel(text)
        except ValueError:
            if is_place(text, "all channels"):
                return ALL
            raise

    def place(self, text: str, other: str, named: str, quantity: str, usual: str = "") -> Place:
        """Return where it was read, with the channel where the line or the point's name tells it."""
        if quantity in WHOLE_UNIT:
            if other:
                raise ValueError(f"{quantity} is read in one place: leave the column 'against' empty ('{other}').")
            if quantity == "current":
                return Place(rail(self.unit, text))
            if text and not is_place(text, "mains"):
                raise ValueError(f"mains watts are read at the mains, not at '{text}': write mains there, or nothing.")
            return Place("mains")
        channel, usual = ("", "") if named == ALL else (named, usual)
        text, lifted = without_lifted(text) if quantity in OFF else (text, False)
        if not text and quantity in SIGNS and not other:
            return Place("", channel=channel or usual)
        if not text:
            raise ValueError("this line names no test point.")
        found = self._found(text, other, channel, quantity, lifted)
        if found.channel and channel and found.channel != channel:
            own = self.finder.own(found.point, channel)
            meant = f"Write {found.channel} there, or {own} here." if own != text else f"Write {found.channel} there."
            raise ValueError(f"'{text}' is in {found.channel}, but the channel column says {channel}. {meant}")
        return found._replace(channel=channel or found.channel or usual)

    def _found(self, text: str, other: str, channel: str, quantity: str, lifted: bool) -> Place:
        """Return the test points of a line; with the power off also parts, their pins and rails."""
        if quantity not in OFF:
            return place(self.finder, text, other, channel)
        self._off = self._off or OffFinder(self.unit)
        return off_place(self._off, text, other, channel, quantity, lifted)

    def known(self, text: str, quantity: str) -> Place:
        """Return the place that a text names by itself."""
        if quantity in WHOLE_UNIT:
            return self.place(text, "", "", quantity)
        text, lifted = without_lifted(text) if quantity in OFF else (text, False)
        return self._found(text, "", "", quantity, lifted)

    def shared(self, at: Place) -> bool:
        """Tell whether a place is on a rail, a fuse or another part of the supply, which all channels share."""
        rails = {rail.name for rail in self.unit.rails}
        parts = self.unit.parts
        names = [name for name in (at.point, at.against) if name]
        supply = {name for name in names if (word := name.split()[0]) in parts and parts[word].stage == SUPPLY}
        return bool(names) and all(name in rails or name in supply for name in names)

    def lifted(self, text: str, quantity: str) -> bool:
        """Tell whether a place says that the part was out of circuit."""
        return quantity in OFF and without_lifted(text)[1]

    def named_elsewhere(self, text: str, other: str, at: Place, quantity: str) -> str:
        """Return what the reading's channel calls a place named as in the first channel; empty if that is its own."""
        text, lifted = without_lifted(text) if quantity in OFF else (text, False)
        if not at.channel or not text or self._found(text, other, at.channel, quantity, lifted).channel:
            return ""
        own = self.finder.own(at.point, at.channel)
        against = self.finder.own(at.against, at.channel)
        if (own, against) == (at.point, at.against):
            return ""
        return f"{own} to {against}" if at.against else own

    def reading_with(self, by: str, usual: str, quantity: str) -> Instrument:
        """Return the instrument of a line; where it names none, one that reads the quantity."""
        own = quantities()[quantity].instrument if quantity else ""
        instrument = self.instruments[by or usual]
        if (other := dict(instrument.functions).get(quantity)) in self.instruments:
            instrument = self.instruments[str(other)]
        if not by and own and quantity not in instrument.quantities:
            instrument = self.instruments[own]
        if quantity and quantity not in (*instrument.quantities, *SIGNS):
            raise ValueError(f"{instrument.name} ({instrument.title}) doesn't read {quantity}.")
        return instrument
