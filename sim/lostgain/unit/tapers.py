"""The tapers of potentiometers, read from ``tapers.toml``."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path


@dataclass(frozen=True)
class Taper:
    """How a track's resistance is spread over the turn.

    Parameters
    ----------
    name : str
    also : tuple of str
        Other ways to write it.
    source : str
    base : float or None
        The share is (base^turn - 1)/(base - 1).
    points : tuple of (float, float)
        Turn and share, straight pieces between.
    mirror : str
        Name of the taper that this one is, read from the other end.
    """

    name: str
    also: tuple[str, ...]
    source: str
    base: float | None = None
    points: tuple[tuple[float, float], ...] = ()
    mirror: str = ""


@cache
def tapers() -> dict[str, Taper]:
    """Return every taper by name."""
    rows = tomllib.loads(Path(__file__).with_name("tapers.toml").read_text(encoding="utf-8"))
    return {
        name: Taper(
            name,
            tuple(row.get("also", ())),
            row["source"],
            row.get("base"),
            tuple((float(turn), float(share)) for turn, share in row.get("points", ())),
            row.get("mirror", ""),
        )
        for name, row in rows.items()
    }


@cache
def taper_words() -> dict[str, str]:
    """Return every word for a taper, in lower case, to its name."""
    return {word: taper.name for taper in tapers().values() for word in (taper.name, *taper.also)}


def passed(turn: float, taper: str) -> float:
    """Return the share of voltage a potentiometer passes unloaded.

    Parameters
    ----------
    turn : float
        Angle as a fraction of the whole turn, 0 to 1.
    taper : str
        A name of ``tapers.toml``.

    Returns
    -------
    float
        0 to 1.
    """
    facts = tapers()[taper]
    if facts.mirror:
        return 1.0 - passed(1.0 - turn, facts.mirror)
    if facts.base is not None:
        return float((facts.base**turn - 1.0) / (facts.base - 1.0))
    for (low, below), (high, above) in zip(facts.points, facts.points[1:], strict=False):
        if turn <= high:
            return below + (above - below) * (turn - low) / (high - low)
    return facts.points[-1][1]
