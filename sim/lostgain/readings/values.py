"""The value cell of a reading, to a number in SI units or a word."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from lostgain.problems import nearest
from lostgain.quantities import fold, measure
from lostgain.readings.words import asked, spellings, state, word, words

#: Nothing at an audio bench is larger [V]; and no level this small is told from nothing [V rms].
LARGEST = 10_000.0
SMALLEST = 1e-9

_BELOW = re.compile(r"(?i)(?:<=?|≤|below|less than|under)\s*(.*)")
_ABOVE = re.compile(r"(?i)(?:>=?|≥|above|more than)\s*(.*)")
_ABOUT = re.compile(r"(?i)(?:~|≈|about|approx\.?|roughly|ca\.?)\s*(?=[-+0-9.,])")
_DC_SAID = re.compile(r"(?i)[-+].*|.*v\s*dc")


@dataclass(frozen=True)
class Value:
    """What a value cell says.

    Parameters
    ----------
    quantity : str
        ``level`` or ``dc``; empty with a `state`.
    value : float or None
        [V rms] or [V]; None for a word.
    word, given_as, below
        As in `Reading`.
    about : bool
        The technician said that it is only about so much.
    state : str
        ``can't reach`` or ``over range``: there is no reading; else empty.
    """

    quantity: str = ""
    value: float | None = None
    word: str = ""
    given_as: str = "rms"
    below: bool = False
    about: bool = False
    state: str = ""


def parse(text: str, quantity: str = "", unit: str = "", responds: str = "pp") -> Value:
    """Return what a value cell says.

    Parameters
    ----------
    text : str
        ``1.2Vpp``, ``-18 dBu``, ``<2 mV``, ``nothing``, ``can't reach`` …
    quantity : str
        ``level``, ``dc``, or empty where the line doesn't say.
    unit : str
        Unit of a bare number, from the column's heading; may be empty.
    responds : str
        What the instrument's level reading follows: plain volts on a meter are rms, on an oscilloscope unclear.

    Raises
    ------
    ValueError
        If it is no reading of that quantity; the message says what was expected.
    """
    clean = fold(text).lstrip("'=")
    if found := state(clean):
        return Value(state=found)
    if found := word(clean):
        fitting = words()[found].quantities
        if quantity and quantity not in fitting:
            raise ValueError(f"'{text}' can't be said of {quantity}, only of {' or '.join(fitting)}.")
        return Value(quantity or fitting[0], word=found)
    if question := asked(clean):
        raise ValueError(f"'{text}' can't be used. {question}")
    if not re.search(r"[0-9]", clean):
        guess = nearest(clean, spellings())
        expected = "expected for example 1.2 Vpp, 420 mV rms, nothing, low or clipped."
        raise ValueError(f"'{text}' is no reading: {expected} {guess}".rstrip())
    if _ABOVE.fullmatch(clean):
        return Value(state="over range")
    below = _BELOW.fullmatch(clean)
    number = below[1] if below else clean
    about = _ABOUT.match(number)
    number = number[about.end() :] if about else number
    if unit and re.fullmatch(r"[-+]?[0-9.,]+(?:[eE][-+]?[0-9]+)?", number):
        number = f"{number} {unit}"
    return replace(_voltage(number, text, quantity, responds, below is not None), about=about is not None)


def _voltage(number: str, text: str, quantity: str, responds: str, below: bool) -> Value:
    """Return a number's meaning, once it is known whether it is a level or dc."""
    found = measure(number, "voltage")
    plain = found.given_as == "plain"
    if abs(found.value) > LARGEST:
        raise ValueError(f"'{text}' is more than {LARGEST / 1000:.0f} kV.")
    if plain and quantity == "dc":
        pass
    elif plain and _DC_SAID.fullmatch(number):
        if quantity:
            raise ValueError(f"'{text}' is dc, but the quantity is level: write dc there, or for example 1.2 Vpp here.")
        quantity = "dc"
    elif plain and found.value == 0 and quantity:
        pass  # no volts are none, rms and peak-to-peak alike
    elif plain and quantity and responds == "pp" and not below:
        raise ValueError(f"'{text}' can be two levels: write {number} rms or {number}pp.")
    elif plain and not quantity and not below:
        raise ValueError(f"'{text}' can be dc or a level: write {number} dc, {number} rms or {number}pp.")
    elif not plain and quantity == "dc":
        raise ValueError(f"'{text}' is a level, but the quantity is dc: write level there, or for example 3.3 V here.")
    quantity = quantity or "level"
    given_as = "rms" if plain else found.given_as
    if below and found.value <= 0:
        raise ValueError(f"'{text}': nothing is below that; write for example < 2 mV.")
    if quantity == "level" and found.value < SMALLEST:
        return Value("level", word="nothing")
    return Value(quantity, found.value, given_as=given_as, below=below)
