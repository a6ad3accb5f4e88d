"""A reading across a pair of test points: finding both in what a technician wrote in one cell."""

from __future__ import annotations

import re
from typing import NamedTuple

from lostgain.readings.points import Finder
from lostgain.readings.words import is_place

_LEAD_IN = re.compile(r"(?i)(?:across|between|from)\s+")
_BETWEEN = re.compile(r"(?i)\s+(?:to|against|versus|vs\.?|minus)\s+|\s*[-−–—/]\s*")
_AND = re.compile(r"(?i)\s+and\s+")


class Place(NamedTuple):
    """Where a reading was taken.

    Parameters
    ----------
    point, against : str
        Names of test points; `against` is empty for ground.
    channel : str
        The channel that their designators imply; empty if they imply none.
    """

    point: str
    against: str = ""
    channel: str = ""


def place(finder: Finder, text: str, other: str = "", channel: str = "") -> Place:
    """Return the test point, or the two, that a technician means.

    Parameters
    ----------
    finder : Finder
    text : str
        ``U2 pin 7``; across a pair ``R23, Q7 end to TP1``, ``Q3 base - Q3 emitter``, ``Q3 base-emitter``, ``across TP1
        and TP2``. The whole text is tried as one point first.
    other : str
        What the line says of the other lead in a column of its own; may be empty, or ground.
    channel : str
        The channel the line names, if it does.

    Raises
    ------
    ValueError
        If there is no such point, the text can mean two pairs, or both leads would be on one point.
    """
    try:
        found = Place(finder.point(text, channel)[0], channel=finder.point(text, channel)[1])
    except ValueError as alone:
        pairs = _pairs(finder, text, channel)
        if len(pairs) > 1:
            meanings = " or ".join(f"{each.point} to {each.against or 'ground'}" for each in sorted(pairs))
            raise ValueError(f"'{text}' can be {meanings}. Put the other lead into a column 'against'.") from None
        if not pairs:
            raise ValueError(_half_known(finder, text, channel) or str(alone)) from None
        found = pairs.pop()
    if other:
        found = _against(finder, found, other, channel, text)
    if found.point == found.against:
        raise ValueError(f"both leads are on {found.point}: there is nothing to read between them.")
    return found


def _against(finder: Finder, found: Place, other: str, channel: str, text: str) -> Place:
    """Add the other lead from its own column."""
    second = _end(finder, other, channel)
    if found.against and second.point != found.against:
        raise ValueError(f"'{text}' names the other lead, and its column says {other}: which is it?")
    return _joined(finder, found._replace(against=""), second)


def _end(finder: Finder, text: str, channel: str) -> Place:
    """Return the place of one lead; ground is an empty name."""
    try:
        point, implied = finder.point(text, channel)
    except ValueError:
        if is_place(text, "ground"):
            return Place("")
        raise
    return Place(point, channel=implied)


def _joined(finder: Finder, one: Place, other: Place) -> Place:
    if one.channel and other.channel and one.channel != other.channel:
        raise ValueError(f"one lead is in {one.channel} and the other in {other.channel}: give each its own line.")
    channel = one.channel or other.channel
    for lead in (one, other):
        if not lead.channel and (own := finder.own(lead.point, channel)) != lead.point:
            message = f"one lead is named as in {channel}, and the other ({lead.point}) is called {own} there"
            raise ValueError(f"{message}: write both as one board has them.")
    return Place(one.point, other.point, channel)


def _halves(text: str) -> list[tuple[str, str]]:
    """Return every way to divide a text into two ends."""
    lead_in = _LEAD_IN.match(text)
    bare = text[lead_in.end() :] if lead_in else text
    cuts = [*_BETWEEN.finditer(bare), *(_AND.finditer(bare) if lead_in else ())]
    return [(bare[: cut.start()], bare[cut.end() :]) for cut in cuts if bare[: cut.start()] and bare[cut.end() :]]


def _pairs(finder: Finder, text: str, channel: str) -> set[Place]:
    found: set[Place] = set()
    for one, other in _halves(text):
        try:
            found.add(_joined(finder, _end(finder, one, channel), _second(finder, one, other, channel)))
        except ValueError as error:
            if str(error).startswith("one lead"):
                raise
    return {each for each in found if each.point}


def _second(finder: Finder, one: str, other: str, channel: str) -> Place:
    """Return the second end: in ``Q3 base-emitter`` and ``U2 pin 1 to pin 2`` its designator is that of the first."""
    try:
        return _end(finder, other, channel)
    except ValueError:
        if other.isdecimal():  # U2-9 is a pin that isn't there, not a pair
            raise
        return _end(finder, f"{one.split()[0].rstrip(',')} {other}", channel)


def _half_known(finder: Finder, text: str, channel: str) -> str:
    """Return what is wrong with the one end of a pair whose other end is known; empty if neither is."""
    for one, other in _halves(text):
        said = []
        for end in (one, other):
            try:
                _end(finder, end, channel)
            except ValueError as error:
                said.append(str(error))
        if len(said) == 1:
            return said[0]
    return ""
