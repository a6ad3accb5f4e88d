"""The words a reading may be given in, and the names of quantities: what stands in the TOML files beside this one."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any


@dataclass(frozen=True)
class Word:
    """What a word says about a signature; see the head of ``words.toml`` for the meaning of each figure.

    Parameters
    ----------
    name : str
        One of `lostgain.readings.model.WORDS`.
    about : str
        What it means, for people.
    quantities : tuple of str
        What it can be said of; the first is meant where none is given.
    comparison : str
        ``below floor``, ``lower``, ``same`` or ``shape``.
    by_db : float
        Smallest drop that is called low [dB].
    within_db, within_volts : float
        One standard deviation of "the same" [dB], [V].
    distortion_above : float
        Least total harmonic distortion that shows, as a fraction; 0 where it is not judged.
    sides : str
        ``both`` half-waves look alike, or ``one`` differs.
    """

    name: str
    about: str
    quantities: tuple[str, ...]
    comparison: str
    by_db: float = 0.0
    within_db: float = 0.0
    within_volts: float = 0.0
    distortion_above: float = 0.0
    sides: str = ""


@dataclass(frozen=True)
class Quantity:
    """A quantity that may head a reading.

    Parameters
    ----------
    name : str
    compared : bool
        Whether signatures hold it.
    at_frequency : bool
        Whether it is taken with the generator on, at one of its frequencies.
    """

    name: str
    compared: bool
    at_frequency: bool


@cache
def words() -> dict[str, Word]:
    """Return every word by name."""
    found = {}
    for name, row in _rows("words.toml").items():
        facts = {key: value for key, value in row.items() if key != "also"}
        found[name] = Word(name=name, **{**facts, "quantities": tuple(row["quantities"])})
    return found


@cache
def quantities() -> dict[str, Quantity]:
    """Return every quantity by name."""
    rows = _rows("quantities.toml")
    return {name: Quantity(name, row["compared"], row["at_frequency"]) for name, row in rows.items()}


def word(text: str) -> str:
    """Return the word that a technician's text stands for; empty if it is none."""
    return _spellings("words.toml").get(_plain(text), "")


def quantity(text: str) -> str:
    """Return the name of the quantity that a technician's text stands for; empty if it is none."""
    return _spellings("quantities.toml").get(_plain(text), "")


def asked(text: str) -> str:
    """Return what to ask about an answer that is none or could mean two things; empty for any other."""
    name = _spellings("asked.toml").get(_plain(text), "")
    return str(_rows("asked.toml")[name]["ask"]) if name else ""


def state(text: str) -> str:
    """Return ``can't reach`` or ``over range`` where a technician's text says so; else empty."""
    return _spellings("states.toml").get(_plain(text), "")


def spellings() -> tuple[str, ...]:
    """Return every text that is taken for a word."""
    return tuple(_spellings("words.toml"))


def _plain(text: str) -> str:
    """Return text as it is compared: lower case, single spaces, straight apostrophes, no full stop at the end."""
    return " ".join(text.casefold().replace("’", "'").replace("_", " ").split()).rstrip(".!")


@cache
def _rows(file: str) -> dict[str, dict[str, Any]]:
    return tomllib.loads(Path(__file__).with_name(file).read_text(encoding="utf-8"))


@cache
def _spellings(file: str) -> dict[str, str]:
    return {_plain(text): name for name, row in _rows(file).items() for text in (name, *row["also"])}
