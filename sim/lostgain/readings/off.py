"""Readings with the power off as a technician types them: values in ohms, and places across parts."""

from __future__ import annotations

import re
import tomllib
from functools import cache
from pathlib import Path
from typing import Any

from lostgain.quantities import component, measure
from lostgain.readings.pairs import Place, place
from lostgain.readings.points import Finder
from lostgain.readings.words import is_place
from lostgain.unit.model import Unit

_OHMS = re.compile(r"(?i).*[0-9]\s*(?:m|k|M|meg)?\s*(?:Ω|Ω|ohms?)")
_CODE = re.compile(r"[0-9]+(?:[Rk][0-9]*|M[0-9]+)")
_DETACHED = re.compile(r"(?i)[\s,(]+({})\)?$")
#: Larger than any meter reads [ohm], and than any diode test [V].
MOST_OHMS, MOST_VOLTS = 1e12, 20.0
GROUND = "ground"


@cache
def _rows() -> dict[str, dict[str, Any]]:
    return tomllib.loads(Path(__file__).with_name("off.toml").read_text(encoding="utf-8"))


def is_ohms(text: str) -> bool:
    """Tell whether a value says by its unit that it is a resistance: ``31 kohm``, ``4k7``, ``22R``."""
    return _OHMS.fullmatch(text.strip()) is not None or _CODE.fullmatch(text.strip()) is not None


def spoken(text: str) -> str:
    """Return ``open`` or ``short`` where a text says so of a reading with the power off; else empty."""
    plain = " ".join(text.casefold().split()).rstrip(".!")
    return next((name for name in ("open", "short") if plain in _rows()[name]["also"]), "")


def size_of(number: str, text: str, quantity: str) -> float:
    """Return a number with its unit: ohms of a resistance or an ESR, volts of a diode test.

    Parameters
    ----------
    number : str
        Without ``<`` or ``>`` before it.
    text : str
        As typed, for messages.
    quantity : str
        One of `lostgain.readings.model.OFF`.

    Raises
    ------
    ValueError
        Saying what was expected.
    """
    if quantity == "diode test":
        found = measure(re.sub(r"(?i)\s*dc$", "", number), "voltage")
        if found.given_as != "plain" or not 0 <= found.value <= MOST_VOLTS:
            raise ValueError(f"'{text}' is no reading of a diode test: expected for example 0.62 V, or OL.")
        return found.value
    value = component(number, "ohm")
    if not 0 <= value <= MOST_OHMS:
        raise ValueError(f"'{text}' is no resistance that a meter shows: expected for example 31k, 4R7 or OL.")
    return value


def without_lifted(text: str) -> tuple[str, bool]:
    """Return a place without what says that the part was out of circuit, and whether it was: ``R14 lifted``."""
    words = "|".join(re.escape(each) for each in sorted(_rows()["lifted"]["also"], key=len, reverse=True))
    found = re.search(_DETACHED.pattern.format(words), text.rstrip())
    return (text[: found.start()].rstrip(" ,("), True) if found else (text, False)


class OffFinder(Finder):
    """Finds what leads are put on with the power off: test points, parts, their pins, rails and ground.

    Parameters
    ----------
    unit : Unit
    """

    def __init__(self, unit: Unit) -> None:
        super().__init__(unit)
        shared = {rail.name: rail.name for rail in unit.rails}
        for name in shared:
            self._new(name, name, "")
        for part in unit.parts.values():
            self._of_part(part.designator, part.designator, part.pins, "")
            for channel in unit.channels:
                if (named := channel.called(part.designator)) != part.designator:
                    self._of_part(named, part.designator, part.pins, channel.name)

    def _of_part(self, named: str, designator: str, pins: tuple[str, ...], channel: str) -> None:
        self._new(named, designator, channel)
        for pin in pins:
            for text in (pin, *_rows()["pins"].get(pin, ())):
                self._new(f"{named} {text}", f"{designator} {pin}", channel)

    def _new(self, text: str, point: str, channel: str) -> None:
        """Add a name, unless a test point has it."""
        if not any(name != point for name, _ in self.known(text)):
            self._add(text, point, channel)

    def point(self, text: str, channel: str = "") -> tuple[str, str]:
        """Return the name of a place, and the channel that its designators imply."""
        if is_place(text, GROUND):
            return GROUND, ""
        try:
            return super().point(text, channel)
        except ValueError as error:
            raise ValueError(str(error).replace("no test point", "no test point, part or pin", 1)) from error


def off_place(finder: OffFinder, text: str, other: str, channel: str, quantity: str, lifted: bool) -> Place:
    """Return where a reading with the power off was taken.

    Parameters
    ----------
    finder : OffFinder
    text, other, channel : str
        Cells of the line: the place, the other lead's, the channel.
    quantity : str
    lifted : bool
        Whether the part was out of circuit.

    Raises
    ------
    ValueError
        If a lead is on no such place, or a part alone says too little.
    """
    parts = finder.unit.parts
    if " ".join(other.casefold().split()) in _rows()["exchanged"]["also"]:
        found = place(finder, text, "", channel)
        pins = parts[found.point].pins if found.point in parts else ()
        if len(pins) != 2:
            raise ValueError(f"'{other}' is said of a part with two legs; name what each lead is on.")
        return found._replace(point=f"{found.point} {pins[1]}", against=f"{found.point} {pins[0]}")
    found = place(finder, text, other, channel)
    found = found._replace(against="" if found.against == GROUND else found.against)
    both = [name for name in (found.point, found.against) if name in parts]
    if found.against and both:
        raise ValueError(f"{both[0]} has more than one end: name a pin of it, or the test point that the lead was on.")
    if found.point in parts and len(parts[found.point].pins) > 2:
        pins = parts[found.point].pins
        example = f"{found.point} {pins[-2]} to {found.point} {pins[-1]}"
        raise ValueError(f"{found.point} has {len(pins)} pins: write which two, for example {example}.")
    if found.point == GROUND and not found.against:
        raise ValueError("both leads are on ground: there is nothing to read between them.")
    of_part = {name.split()[0] for name in (found.point, found.against) if name.split() and name.split()[0] in parts}
    if lifted and (len(of_part) != 1 or (found.point not in parts and not found.against)):
        raise ValueError(f"only a part can be read out of circuit, not '{text}': write for example R14 lifted.")
    if quantity == "esr" and found.point in parts and parts[found.point].kind not in ("electrolytic", "tantalum"):
        raise ValueError(f"{found.point} is of kind {parts[found.point].kind}; an ESR is read of an electrolytic.")
    return found
