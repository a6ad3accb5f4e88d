"""Finding the rail that a technician means where a current is read."""

from __future__ import annotations

import re

from lostgain.problems import nearest
from lostgain.quantities import fold, measure
from lostgain.unit.model import Rail, Unit

_AROUND = re.compile(r"(?i)\b(?:at|in|the|rail|supply|line|fuse|lead of)\b")


def rail(unit: Unit, text: str) -> str:
    """Return a rail's name.

    Parameters
    ----------
    unit : Unit
    text : str
        ``VPP``, ``VPP rail``, ``at F1`` (the rail's fuse) or ``+28 V``.

    Raises
    ------
    ValueError
        If no rail is called so.
    """
    plain = " ".join(_AROUND.sub(" ", fold(text)).split()).upper()
    for each in unit.rails:
        if plain in (each.name.upper(), each.fuse.upper() or None):
            return each.name
    if by_volts := [each.name for each in unit.rails if _is_at(each, plain)]:
        if len(by_volts) == 1:
            return by_volts[0]
        raise ValueError(f"'{text}' can be {' or '.join(by_volts)}: write the rail's name.")
    if not unit.rails:
        raise ValueError("a current is read in a rail, and the unit file names none.")
    known = [each.name for each in unit.rails] + [each.fuse for each in unit.rails if each.fuse]
    raise ValueError(f"a current is read in a rail, and there is no rail '{text}'. {nearest(plain, known)}".rstrip())


def _is_at(each: Rail, text: str) -> bool:
    try:
        return abs(measure(text, "voltage").value / each.volts - 1) < 0.01
    except (ValueError, ZeroDivisionError):
        return False
