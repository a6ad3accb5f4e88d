"""Channels: what each channel's board calls the parts and test points of the first."""

from __future__ import annotations

import re
from collections.abc import Iterable

from lostgain.problems import nearest
from lostgain.unit.draft import Draft
from lostgain.unit.model import Channel, TestPoint
from lostgain.unit.names import is_designator, name_fault
from lostgain.unit.source import Table

#: Most channels; every part is named in each.
MOST_CHANNELS = 100

#: What looks like a designator inside the name of a test point. Capitals and then figures: "pin 7" is none.
_WORD = re.compile(r"\b[A-Z]{1,4}[0-9]+[A-Z]?\b")
_NUMBERED = re.compile(r"([A-Z_]+)([0-9]+)(.*)")
_SECTION = re.compile(r"([A-Z_]+[0-9]+)[A-Z]")


def called(channel: Channel, text: str) -> str:
    """Return what a channel's board calls a test point of the first channel.

    Parameters
    ----------
    channel : Channel
    text : str
        ``U2 pin 7``

    Returns
    -------
    str
        ``U102 pin 7`` where U2A is U102A: the package goes with its sections.
    """
    packages = _packages(channel)
    return _WORD.sub(lambda word: channel.designators.get(word[0], packages.get(word[0], word[0])), text)


def _packages(channel: Channel) -> dict[str, str]:
    """Return the packages whose sections are renamed: U2 to U102 for U2A to U102A."""
    found: dict[str, str] = {}
    for first, here in channel.designators.items():
        if package(first) != first and package(here) != here:
            found.setdefault(package(first), package(here))
    return found


def package(designator: str) -> str:
    """Return what is unsoldered with a part: U2 for U2A, and C12 for C12."""
    found = _SECTION.fullmatch(designator)
    return found[1] if found else designator


def renumbered(designator: str, add: int) -> str:
    """Return a designator with a number added: R14 and 100 give R114; empty where that can't be."""
    match = _NUMBERED.fullmatch(designator)
    if not match or int(match[2]) + add < 0:
        return ""
    return f"{match[1]}{int(match[2]) + add}{match[3]}"


def read_channels(top: Table, draft: Draft, points: Iterable[TestPoint]) -> tuple[Channel, ...]:
    """Read ``[[channel]]``; a unit that names none has one, called ``main``.

    Parameters
    ----------
    top : Table
        The whole unit file.
    draft : Draft
        With every part read.
    points : iterable of TestPoint
        Their names are translated too, designators of parts that are not described included.
    """
    words = {word for point in points for word in _WORD.findall(point.name)}
    channels: list[Channel] = []
    tables = top.tables("channel", "[[channel]]")
    if len(tables) > MOST_CHANNELS:
        tables[MOST_CHANNELS].wrong(None, f"the unit has {len(tables)} channels; at most {MOST_CHANNELS} are read.")
    for table in tables[:MOST_CHANNELS]:
        name = table.text("name", required='"Zone A"')
        if name and (fault := name_fault(name)):
            table.wrong("name", f"the channel's name “{name}” {fault}.")
        if name.lower() in (channel.name.lower() for channel in channels):
            table.wrong("name", f"two channels are called “{name}”.")
        channels.append(Channel(name, _designators(table, draft, words)))
        table.finish()
    return tuple(channels) or (Channel("main"),)


def _designators(table: Table, draft: Draft, words: set[str]) -> dict[str, str]:
    """Read ``add`` and the exceptions to it, and check that no two parts end up with one designator."""
    exceptions = _exceptions(table, draft, words)
    add = int(table.get("add", int, "a whole number: add = 100 makes R114 of R14", 0))
    found: dict[str, str] = {}
    packages = {package(name) for name in draft.parts} - draft.parts.keys()
    for designator in [*draft.parts, *sorted(words - draft.parts.keys() - packages)]:
        if designator in exceptions:
            found[designator] = exceptions[designator]
        elif designator not in draft.shared:
            found[designator] = renumbered(designator, add) if add else designator
            if not found[designator]:
                table.wrong("add", f"{designator} can't be renumbered by {add}; name it in [channel.designators].")
    _check_unique(table, draft, found, exceptions, add)
    return {first: here for first, here in found.items() if here not in ("", first)}


def _check_unique(table: Table, draft: Draft, found: dict[str, str], exceptions: dict[str, str], add: int) -> None:
    """Note two parts of one designator: in this channel, or here and in another channel or the supply."""
    owners: dict[str, str] = {}
    others = set(draft.taken) if add else draft.shared  # without `add`, two boards may have the same designators
    for first, here in found.items():
        message = ""
        if here and here in owners:
            message = f"{first} and {owners[here]} are both called {here} in this channel."
        elif here in others and here != first and first in draft.parts:
            message = f"{first} is called {here} in this channel, but {here} is another part of the unit."
        if message:
            slip = next((name for name in (first, owners.get(here, "")) if name in exceptions), None)
            path = ("designators", slip) if slip else ("add",) if add else ()
            table.source.wrong((*table.path, *path), message)
        owners.setdefault(here, first)


def _exceptions(table: Table, draft: Draft, words: set[str]) -> dict[str, str]:
    """Read ``[channel.designators]``."""
    rows = table.table("designators", "[channel.designators]")
    found = {}
    for first in list(rows.data):
        here = rows.text(first)
        known = draft.parts.keys() | words | draft.unread
        if first.upper() not in known:
            rows.wrong(first, f"“{first}” is no part of this unit.", nearest(first, known))
        elif here and not is_designator(here):
            rows.wrong(first, f"“{here}” is no designator: expected for example R114.")
        elif here:
            found[first.upper()] = here.upper()
    return found
