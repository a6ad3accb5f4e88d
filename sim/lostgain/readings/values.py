"""The value cell of a reading, to a number in SI units or a word."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from lostgain.problems import nearest
from lostgain.quantities import fold, measure
from lostgain.readings.model import SIGNS, WHOLE_UNIT
from lostgain.readings.words import asked, sign, spellings, state, word, words

#: Nothing at an audio bench is larger [V], [A], [W]; and no level this small is told from nothing [V rms].
LARGEST = 10_000.0
LARGEST_OF = {"current": 1000.0, "mains watts": 20_000.0}
SMALLEST = 1e-9

_BELOW = re.compile(r"(?i)(?:<=?|≤|below|less than|under)\s*(.*)")
_ABOVE = re.compile(r"(?i)(?:>=?|≥|above|more than)\s*(.*)")
_ABOUT = re.compile(r"(?i)(?:~|≈|about|approx\.?|roughly|ca\.?)\s*(?=[-+0-9.,])")
_AMPERES = re.compile(r"(?i)(.*[0-9]\s*[muµn]?)(?:a|amps?|amperes?)(?:\s*dc)?")
_WATTS = re.compile(r"(?i)(.*[0-9]\s*[mk]?)(?:w|watts?)(?:\s*mains)?")
_DC_SAID = re.compile(r"(?i)[-+].*|.*v\s*dc")


@dataclass(frozen=True)
class Value:
    """What a value cell says.

    Parameters
    ----------
    quantity : str
        ``level``, ``dc``, ``current``, ``mains watts`` or a sign; empty with a `state` where the line doesn't say it.
    value : float or None
        [V rms], [V], [A] or [W]; None for a word.
    word, given_as, below, above
        As in `Reading`.
    about : bool
        The technician said that it is only about so much.
    state : str
        ``can't reach``, ``over range`` or ``off screen``: there is no number; else empty.
    """

    quantity: str = ""
    value: float | None = None
    word: str = ""
    given_as: str = "rms"
    below: bool = False
    above: bool = False
    about: bool = False
    state: str = ""


def parse(text: str, quantity: str = "", unit: str = "", responds: str = "pp") -> Value:
    """Return what a value cell says.

    Parameters
    ----------
    text : str
        ``1.2Vpp``, ``-18 dBu``, ``<2 mV``, ``> 10 Vpp``, ``120 mA``, ``nothing``, ``loud hum``, ``can't reach`` …
    quantity : str
        What the line says was read; empty where it doesn't say.
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
        return Value(quantity, state=found)
    if quantity in (*SIGNS, "level", "") and (told := _sign(clean, quantity)):
        return told
    if found := word(clean):
        fitting = words()[found].quantities
        if quantity and quantity not in fitting:
            raise ValueError(f"'{text}' can't be said of {quantity}, only of {' or '.join(fitting)}.")
        if not quantity and words()[found].comparison == "sign":
            raise ValueError(f"'{text}': of what? Write {', '.join(SIGNS[:-1])} or {SIGNS[-1]} in the quantity column.")
        return Value(quantity or fitting[0], word=found)
    if question := asked(clean):
        raise ValueError(f"'{text}' can't be used. {question}")
    if quantity in SIGNS:
        raise ValueError(f"'{text}' doesn't tell whether there is {quantity}: write seen or not seen.")
    if not re.search(r"[0-9]", clean):
        guess = nearest(clean, spellings())
        expected = "expected for example 1.2 Vpp, 420 mV rms, nothing, low or clipped."
        raise ValueError(f"'{text}' is no reading: {expected} {guess}".rstrip())
    below, above = _BELOW.fullmatch(clean), _ABOVE.fullmatch(clean)
    limit = below or above
    number = limit[1] if limit else clean
    about = _ABOUT.match(number)
    number = number[about.end() :] if about else number
    if unit and re.fullmatch(r"[-+]?[0-9.,]+(?:[eE][-+]?[0-9]+)?", number):
        number = f"{number} {unit}"
    if quantity in WHOLE_UNIT:
        found_value = _of_the_unit(number, text, quantity)
    elif not quantity and (named := _unit_says(number)):
        found_value = _of_the_unit(number, text, named)
    else:
        found_value = _voltage(number, text, quantity, responds, below is not None)
    if limit and (found_value.word or (below and (found_value.value or 0.0) <= 0)):
        wrong = "nothing is below that; write for example < 2 mV" if below else "that says nothing"
        raise ValueError(f"'{text}': {wrong}.")
    if above and (found_value.value or 0.0) < 0:
        raise ValueError(f"'{text}' can be two things: write the size of it, for example > 30 V.")
    return replace(found_value, below=below is not None, above=above is not None, about=about is not None)


def _sign(text: str, quantity: str) -> Value | None:
    """Return that a sign is seen or not, where a text says so; a picture word at a level stays one."""
    name, said = sign(text, quantity if quantity in SIGNS else "")
    if not name:
        return None
    if quantity in SIGNS and name != quantity:
        raise ValueError(f"'{text}' is said of {name}, but the quantity is {quantity}: give it a line of its own.")
    return Value(name, word=said)


def _unit_says(number: str) -> str:
    """Return ``current`` or ``mains watts`` where a number's unit says so."""
    return "current" if _AMPERES.fullmatch(number) else "mains watts" if _WATTS.fullmatch(number) else ""


def _of_the_unit(number: str, text: str, quantity: str) -> Value:
    """Return a current [A], by its size, or mains watts [W]."""
    form, unit, dimension = (_AMPERES, "A", "current") if quantity == "current" else (_WATTS, "W", "power")
    if match := form.fullmatch(number):
        number = f"{match[1]}{unit}"
    elif not re.fullmatch(r"[-+0-9.,\s]+[a-zA-Zµ]*", number):
        raise ValueError(f"'{text}' is no {dimension}: expected for example {'80 mA' if unit == 'A' else '23 W'}.")
    value = abs(measure(number, dimension).value)
    if value > LARGEST_OF[quantity]:
        raise ValueError(f"'{text}' is more than {LARGEST_OF[quantity]:.0f} {unit}.")
    return Value(quantity, value) if value else Value(quantity, word="nothing")


def _voltage(number: str, text: str, quantity: str, responds: str, below: bool) -> Value:
    """Return a number's meaning, once it is known whether it is a level or dc."""
    if is_frequency(number):
        expected = "expected here for example 1.2 Vpp, 420 mV rms or -0.6 V dc."
        raise ValueError(f"'{text}' is a frequency, which belongs in the frequency column; {expected}")
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
    if quantity == "level" and found.value < SMALLEST:
        return Value("level", word="nothing")
    return Value(quantity, found.value, given_as=given_as)


def is_frequency(text: str) -> bool:
    """Tell whether a text is a number of hertz, with the unit."""
    return re.fullmatch(r"[0-9.,]+\s*[kKM]?[Hh][Zz]", text) is not None


def unit_of(text: str) -> str | None:
    """Return the quantity that a unit implies: ``current``, ``mains watts``, empty for volts; None if it is no unit."""
    if re.search(r"[0-9]", text):
        return None
    if named := _unit_says(f"1 {text}"):
        return named
    try:
        measure(f"1 {text}", "voltage")
    except ValueError:
        return None
    return ""
