"""A part as it is printed on a schematic: ``R14 22k 1%``, ``C9 47u 16V``, ``U2A opamp-jfet``, ``RV1 10k log``.

The designator comes first; value, tolerance, rating, kind, device class and taper follow in any order.
"""

from __future__ import annotations

import re
from dataclasses import dataclass

from lostgain import quantities
from lostgain.problems import nearest
from lostgain.unit import library
from lostgain.unit.kinds import Kind, capacitor_kind, kinds, of_family
from lostgain.unit.names import is_designator
from lostgain.unit.partnumbers import NUMBER, RATING, PartFault, a_kind, rating, tolerance
from lostgain.unit.tapers import taper_words

__all__ = ["PartFault", "PartText", "read_part", "read_tail", "tolerance", "words"]

#: What the letters of a designator stand for (IEEE 315 and common practice, from memory, to be verified).
_BY_LETTERS = {
    "R": "resistor", "RV": "potentiometer", "VR": "potentiometer", "P": "potentiometer", "POT": "potentiometer",
    "C": "capacitor", "L": "inductor", "D": "diode", "U": "opamp", "IC": "opamp", "F": "fuse",
    "J": "connector", "CN": "connector", "SW": "switch", "S": "switch", "K": "relay", "RL": "relay", "RY": "relay",
}  # fmt: skip
_BARE_NUMBER = re.compile(rf"[±+-]?{NUMBER}(?:/[+-]?{NUMBER})?")
_UNIT_WORD = re.compile(r"%|[mk]?[VWA]|[pnuµmkKMGR]|meg|[pnuµm]?[FH]|[mkKM]?(?:Ω|ohms?)", re.IGNORECASE)


@dataclass(frozen=True)
class PartText:
    """What a part's text says.

    Parameters
    ----------
    designator : str
        Upper case; empty where the text may go without and does.
    kind : str
        A key of ``kinds.toml``.
    value : float or None
        [ohm, F, H or A]
    tolerance : (float, float) or None
        Fractions; None where nothing is said.
    rating : float or None
        [V] or [W]
    device, taper : str or None
    """

    designator: str
    kind: str
    value: float | None = None
    tolerance: tuple[float, float] | None = None
    rating: float | None = None
    device: str | None = None
    taper: str | None = None


@dataclass
class _Words:
    """The words behind the designator, sorted by what they say; the word itself is kept for messages."""

    value: str = ""
    tolerance: str = ""
    rating: str = ""
    kind: str = ""
    device: str = ""
    taper: str = ""


def read_part(text: str, role: str = "", value: float | None = None) -> PartText:
    """Return what a part's text says.

    Parameters
    ----------
    text : str
        ``DESIGNATOR [value] [tolerance] [rating] [kind | device class | taper]``.
    role : str
        The kind or family the part must be of; empty to go by the designator's letters.
    value : float or None
        A value known from elsewhere [SI], for the kind of a capacitor whose text has none.

    Raises
    ------
    PartFault
        If it is no part, or not one of the kind asked for.
    """
    said = words(text)
    if not said:
        raise PartFault("a part needs its designator, for example “R14 22k 1%”.")
    designator, tail = said[0].upper(), said[1:]
    if not is_designator(designator):
        raise PartFault(
            f"“{said[0]}” is no designator: expected a letter and then letters and digits, as in “R14 22k 1%”."
        )
    return read_tail(designator, tail, role, value)


def read_tail(designator: str, tail: list[str], role: str = "", value: float | None = None) -> PartText:
    """Return what the words behind a designator say; see `read_part`."""
    said = _sort(tail)
    kind = _kind(designator, said, role, value)
    if kind.unit == "volt" and said.rating and not said.value:
        said.value, said.rating = said.rating, ""  # 15V is what a regulator gives
    if said.value:
        value = _value(designator, said.value, kind)
    if kind.family == "capacitor" and not said.kind and role not in kinds():
        kind = kinds()[capacitor_kind(value)]
    _check_taper_and_device(designator, said, kind)
    return PartText(
        designator,
        kind.name,
        value if said.value else None,
        tolerance(said.tolerance) if said.tolerance else None,
        rating(designator, said.rating, kind) if said.rating else None,
        said.device or None,
        (taper_words()[said.taper.lower()] if said.taper else "linear") if kind.name == "potentiometer" else None,
    )


def words(text: str) -> list[str]:
    """Return the words, a number joined with the unit that stands behind a space: ``22 kΩ``, ``5 %``, ``16 V``."""
    found: list[str] = []
    for word in quantities.fold(text).replace("- ", "-").split(" "):
        if found and (found[-1] == "±" or (_BARE_NUMBER.fullmatch(found[-1]) and _UNIT_WORD.fullmatch(word))):
            found[-1] += word
        elif word:
            found.append(word)
    return found


def _sort(tail: list[str]) -> _Words:
    """Tell by its form what each word says, and refuse a second one of the same sort."""
    said = _Words()
    for word in tail:
        sort = _sort_of(word)
        before = getattr(said, sort)
        if before:
            raise PartFault(f"“{before}” and “{word}” both give the {_SORTS[sort]}; one is enough.")
        setattr(said, sort, word)
    return said


_SORTS = {
    "value": "value", "tolerance": "tolerance", "rating": "rating", "kind": "kind", "device": "device class",
    "taper": "taper",
}  # fmt: skip


def _sort_of(word: str) -> str:
    """Return which field of `_Words` a word belongs to."""
    low = word.lower()
    if "%" in word:
        return "tolerance"
    if low in taper_words():
        return "taper"
    if low in kinds():
        return "kind"
    if low in library.device_names():
        return "device"
    if RATING.fullmatch(word):
        return "rating"
    if any(letter.isdigit() for letter in word) and "-" not in word[1:]:
        return "value"
    known = {*kinds(), *library.device_names(), *taper_words()} - {"rail"}
    message = f"“{word}” is no value, tolerance (5%), rating (16V), kind of part, device class or taper."
    raise PartFault(message, nearest(word, known))


def _kind(designator: str, said: _Words, role: str, value: float | None) -> Kind:
    """Return the kind of part, from its word, its device class, the role it fills, or the designator's letters."""
    by_device = library.device(said.device.lower()).kind if said.device else ""
    named = said.kind.lower() or by_device
    if said.kind and by_device and named != by_device:
        raise PartFault(f"“{said.kind}” and “{said.device}” don't go together: {said.device} is {a_kind(by_device)}.")
    letters = (re.match(r"[A-Z]+", designator) or [""])[0]
    if not role:
        role = named or _BY_LETTERS.get(letters, "")
        if not role:
            raise PartFault(
                f"{designator}: say what kind of part it is.",
                f"For example “{designator} npn-small”." if letters in ("Q", "T", "TR") else "",
            )
    fitting = of_family(role)
    by_name = {kind.name: kind for kind in fitting}
    if named:
        if named not in by_name:
            raise PartFault(f"{designator} is written as {a_kind(named)}; {a_kind(role)} is wanted here.")
        return by_name[named]
    usual = _BY_LETTERS.get(letters, "")
    return by_name.get(usual) or (by_name[capacitor_kind(value)] if role == "capacitor" else _first(fitting))


def _first(fitting: tuple[Kind, ...]) -> Kind:
    """Return the kind a role stands for where nothing tells; of the contacts that is the connector."""
    return next((kind for kind in fitting if kind.name == "connector"), fitting[0])


def _value(designator: str, word: str, kind: Kind) -> float:
    """Return a value in the unit of the part's kind."""
    if not kind.unit:
        message = f"“{word}”: {a_kind(kind.name)} such as {designator} has no value."
        fitting = [name for name in library.device_names() if library.device(name).kind == kind.name]
        classes = f"Write the class of device it is: {', '.join(fitting)}." if fitting else ""
        raise PartFault(message, nearest(word, library.device_names()) or classes)
    if kind.name == "fuse":
        word = re.sub(r"^(?:TT|FF|T|F|M)(?=[\d.])", "", word)  # time-lag or quick, before the amperes (IEC 60127)
    try:
        value = quantities.component(word, kind.unit)
    except ValueError as error:
        raise PartFault(f"{designator}: {error}") from None
    if value <= 0 and kind.name != "resistor":
        raise PartFault(f"{designator}: {a_kind(kind.name)} of “{word}” can't be.")
    return value


def _check_taper_and_device(designator: str, said: _Words, kind: Kind) -> None:
    if said.taper and kind.name != "potentiometer":
        raise PartFault(f"“{said.taper}”: only a potentiometer has a taper, and {designator} is {a_kind(kind.name)}.")
    if said.device and kind.unit and not kind.subckt:
        raise PartFault(f"“{said.device}”: {a_kind(kind.name)} such as {designator} has no device class.")
