"""Finding the test point and the channel that a technician's text means."""

from __future__ import annotations

import re
from collections import defaultdict

from lostgain.problems import nearest
from lostgain.quantities import fold
from lostgain.readings.rails import rail
from lostgain.unit.channels import called
from lostgain.unit.model import Channel, Unit

#: Legs of semiconductors by their first letter, and what means "pin".
_SHORT = {"base": "b", "collector": "c", "coll": "c", "emitter": "e", "gate": "g", "drain": "d", "source": "s"}
_PIN = ("pin", "pins", "p", "leg")


class Finder:
    """Finds test points and channels of one unit by what a technician calls them.

    Parameters
    ----------
    unit : Unit
    """

    def __init__(self, unit: Unit) -> None:
        self.unit = unit
        self._exact: dict[str, set[tuple[str, str]]] = defaultdict(set)
        self._loose: dict[tuple[str, ...], set[tuple[str, str]]] = defaultdict(set)
        self._names: list[str] = []
        for point in unit.points:
            self._add(point.name, point.name, "")
            for channel in unit.channels:
                if (here := called(channel, point.name)) != point.name:
                    self._add(here, point.name, channel.name)

    def _add(self, text: str, point: str, channel: str) -> None:
        self._exact[fold(text).casefold()].add((point, channel))
        self._loose[_key(text)].add((point, channel))
        self._names.append(text)

    def point(self, text: str, channel: str = "") -> tuple[str, str]:
        """Return a test point's name, and the channel that its designators imply, empty if they imply none.

        Parameters
        ----------
        text : str
            ``U2 pin 7``, ``u2-7``, ``U2 p7``, or in another channel's designators ``U102 pin 7``.
        channel : str
            The channel the line names, if it does; it decides where a name stands for two points.

        Raises
        ------
        ValueError
            If no test point is called so, or two are.
        """
        found = self.known(text)
        if channel and len(found) > 1:
            found = {pair for pair in found if pair[1] == channel} or found
        if len(found) == 1:
            return next(iter(found))
        if not found and (name := _rail(self.unit, text)):
            raise ValueError(
                f"there is no test point '{text}': it is a supply rail, whose current can be compared, its DC not. If "
                f"its DC is off, that is what to look for first; --suspect {name} says so."
            )
        if not found:
            raise ValueError(f"there is no test point '{text}'. {nearest(text, self._names)}".rstrip())
        meanings = " or ".join(sorted(f"{point}{f' in {where}' if where else ''}" for point, where in found))
        raise ValueError(f"'{text}' can be {meanings}. Name the channel in its column, or write the other name.")

    def known(self, text: str) -> set[tuple[str, str]]:
        """Return every name, with the channel its designators imply, that a text can stand for."""
        return self._exact.get(fold(text).casefold()) or self._loose.get(_key(text)) or set()

    def own(self, point: str, channel: str) -> str:
        """Return what a channel's board calls a test point; its name itself where there is no such channel."""
        found = next((each for each in self.unit.channels if each.name == channel), None)
        return called(found, point) if found else point

    def good(self, text: str) -> str:
        """Return the name of the channel known to be good.

        Raises
        ------
        ValueError
            If no channel is called so, or the unit has no other that could be the faulty one.
        """
        name = self.channel(text)
        if len(self.unit.channels) == 1:
            raise ValueError(
                f"'{text}': this unit has one channel, and the fault is looked for in it. An intermittent unit's "
                "readings while it worked go into a file of their own: --working FILE."
            )
        return name

    def channel(self, text: str) -> str:
        """Return a channel's name.

        Parameters
        ----------
        text : str
            In any case; a word or a letter of it is enough where only one channel has it: ``b`` for ``Zone B``.

        Raises
        ------
        ValueError
            If no channel is called so.
        """
        wanted = fold(text).casefold()
        whole = [channel.name for channel in self.unit.channels if fold(channel.name).casefold() == wanted]
        part = [channel.name for channel in self.unit.channels if wanted in _words(channel)]
        if len(found := whole or part) == 1:
            return found[0]
        names = [channel.name for channel in self.unit.channels]
        raise ValueError(f"there is no channel '{text}'. {nearest(text, names)}".rstrip())


def _rail(unit: Unit, text: str) -> str:
    """Return the rail that a text names, or empty."""
    try:
        return rail(unit, text)
    except ValueError:
        return ""


def _words(channel: Channel) -> list[str]:
    return fold(channel.name).casefold().split()


def _key(text: str) -> tuple[str, ...]:
    """Return what is left of a name when case, spaces, punctuation and the word "pin" do not count.

    A plus stays, and a minus at the end, since ``C7 +`` and ``C7 -`` are two places.
    """
    tokens = re.findall(r"[^\W\d_]+|[0-9]+|\+|[-−–]$", fold(text).casefold())
    return tuple(_SHORT.get(token, token) for index, token in enumerate(tokens) if index == 0 or token not in _PIN)
