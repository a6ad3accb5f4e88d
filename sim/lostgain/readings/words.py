"""The words a reading may be given in, and the names of quantities: what stands in the TOML files beside this one."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from lostgain.problems import nearest
from lostgain.readings.model import SIGNS


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
        ``below floor``, ``lower``, ``same``, ``shape`` or ``sign``.
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
    instrument : str
        What it is read with where nothing is said; empty for the set-up's.
    """

    name: str
    compared: bool
    at_frequency: bool
    instrument: str = ""


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
    return {name: Quantity(name, **{key: row[key] for key in row if key != "also"}) for name, row in rows.items()}


def word(text: str) -> str:
    """Return the word that a technician's text stands for; empty if it is none."""
    return _spellings("words.toml").get(_plain(text), "")


def quantity(text: str) -> str:
    """Return the name of the quantity that a technician's text stands for; empty if it is none."""
    return _spellings("quantities.toml").get(_plain(text), "")


def nearest_quantity(text: str) -> str:
    """Return the nearest spelling of a quantity, and all of those that are compared."""
    near = nearest(text, _spellings("quantities.toml"))
    compared = ", ".join(name for name, each in quantities().items() if each.compared)
    return f"{near} Quantities: {compared}.".lstrip()


def sign(text: str, quantity: str = "") -> tuple[str, str]:
    """Return which sign a technician's text tells of and whether it is ``seen`` or ``not seen``; empty if it is none.

    Parameters
    ----------
    text : str
        ``loud hum``, ``no hiss``; where `quantity` is a sign also ``yes``, ``none heard``, ``loud``.
    quantity : str
        What the line says was read; may be empty.
    """
    plain = _plain(text)
    by_itself, sizes = _signs()
    if found := by_itself.get(plain):
        return found
    for size in sizes:
        name, said = by_itself.get(plain.removeprefix(f"{size} "), ("", ""))
        if plain.startswith(f"{size} ") and (said == "seen" or plain.endswith(f" {quantity}")):
            return name or quantity, "seen"
    if quantity not in SIGNS:
        return "", ""
    if plain in (*sizes, quantity):
        return quantity, "seen"
    said = word(text)
    plainly = {"seen": "seen", "not seen": "not seen", "nothing": "not seen"}.get(said, "")
    return (quantity, plainly) if plainly else ("", "")


@cache
def _signs() -> tuple[dict[str, tuple[str, str]], tuple[str, ...]]:
    """Return what says by itself which sign is there or not, and the sizes that say that one is, longest first."""
    rows = _rows("signs.toml")
    found = {}
    for name in SIGNS:
        found.update({_plain(text): (name, "seen") for text in rows[name]["seen"]})
        found.update({_plain(text): (name, "not seen") for text in rows[name]["not_seen"]})
    return found, tuple(sorted(rows["sizes"]["also"], key=len, reverse=True))


def asked(text: str) -> str:
    """Return what to ask about an answer that is none or could mean two things; empty for any other."""
    name = _spellings("asked.toml").get(_plain(text), "")
    return str(_rows("asked.toml")[name]["ask"]) if name else ""


def state(text: str) -> str:
    """Return ``can't reach`` or ``over range`` where a technician's text says so; else empty."""
    return _spellings("states.toml").get(_plain(text), "")


def is_place(text: str, place: str) -> bool:
    """Tell whether a technician's text stands for ``ground``, ``mains`` or ``all channels``."""
    return _plain(text) in (place, *_rows("places.toml")[place]["also"])


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
