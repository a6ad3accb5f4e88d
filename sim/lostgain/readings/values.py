"""The value cell of a reading, to a number in SI units or a word."""

from __future__ import annotations

import re
from dataclasses import dataclass, replace

from lostgain.problems import nearest
from lostgain.quantities import PP_PER_RMS, Measure, fold, measure
from lostgain.readings.model import COMMON, OFF, PEAKS, SIGNS, WHOLE_UNIT
from lostgain.readings.off import is_ohms, size_of, spoken
from lostgain.readings.words import asked, sign, spellings, state, word, words
from lostgain.readings.words import quantity as named_quantity

#: Nothing at an audio bench is larger [V], [A], [W]; and no level this small is told from nothing [V rms].
LARGEST = 10_000.0
LARGEST_OF = {"current": 1000.0, "mains watts": 20_000.0}
SMALLEST = 1e-9
#: Peak-to-peak over rms value of a sawtooth, which ripple nearly is.
SAWTOOTH = 2 * 3**0.5

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
        ``level``, ``dc``, ``ripple``, ``current``, ``mains watts``, one of `OFF` or a sign; empty with a `state` where
        the line doesn't say it.
    value : float or None
        [V rms], [V], [A], [W] or [ohm]; None for a word.
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
    if quantity == COMMON:
        return _common(parse(text, "level", unit, responds), text)
    clean = fold(text).lstrip("'=")
    if found := state(clean):
        return Value(quantity, state=found)
    if quantity in OFF or (not quantity and is_ohms(_bare(clean))):
        return _power_off(clean, text, quantity or "resistance", unit)
    if quantity in (*SIGNS, "level", "") and (told := _sign(clean, quantity)):
        return told
    if found := word(clean):
        quantity = quantity or _nothing_of(clean, text)
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


def _nothing_of(clean: str, text: str) -> str:
    """Return the quantity that ``no dc`` or ``no current`` names by itself; empty for any other word."""
    start, _, named = clean.casefold().partition(" ")
    if start != "no":
        return ""
    if named.startswith("volt"):
        raise ValueError(f"'{text}': of what? Write dc or level in the quantity column, or nothing for no signal.")
    return name if (name := named_quantity(named)) in words()["nothing"].quantities else ""


def _common(level: Value, text: str) -> Value:
    """Return a level with both legs driven alike; of words only those that say how much there is."""
    if level.quantity != "level" or level.word not in ("", "nothing", "same as good"):
        raise ValueError(f"'{text}' can't be said of {COMMON}: expected for example 3 mV rms, nothing or same as good.")
    return replace(level, quantity=COMMON)


def _bare(text: str) -> str:
    """Return a value without what says that it is only a limit."""
    limit = _BELOW.fullmatch(text) or _ABOVE.fullmatch(text)
    return str(limit[1]) if limit else text


def _power_off(clean: str, text: str, quantity: str, unit: str) -> Value:
    """Return what is read with the power off: ohms, or volts of a diode test."""
    if said := spoken(clean):
        return Value(quantity, state="over range") if said == "open" else Value(quantity, 0.0)
    if found := word(clean):
        if quantity not in words()[found].quantities:
            raise ValueError(f"'{text}' says too little of a {quantity}: write its value, or OL where it is open.")
        return Value(quantity, word=found)
    if not re.search(r"[0-9]", clean):
        example = "0.62 V" if quantity == "diode test" else "31k, 4R7"
        raise ValueError(f"'{text}' is no {quantity}: expected for example {example}, OL or > 20M.")
    below, above = _BELOW.fullmatch(clean), _ABOVE.fullmatch(clean)
    number = _bare(clean)
    about = _ABOUT.match(number)
    number = number[about.end() :] if about else number
    if re.fullmatch(r"[0-9.,]+(?:[eE][-+]?[0-9]+)?", number):
        number = f"{number} {unit or ('V' if quantity == 'diode test' else 'ohm')}"
    value = size_of(number, text, quantity)
    if (below or above) and not value:
        raise ValueError(f"'{text}' says nothing: write for example < 1 ohm.")
    return Value(quantity, value, below=below is not None, above=above is not None, about=about is not None)


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
    if quantity == "ripple":
        return _ripple(found)
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


def _ripple(found: Measure) -> Value:
    """Return ripple [V peak to peak]: plain volts are that; a meter's rms value is taken as a sawtooth's."""
    if found.given_as == "plain":
        value = abs(found.value)
    else:
        value = found.value * (SAWTOOTH if found.given_as not in PEAKS else PP_PER_RMS)
    return Value("ripple", value) if value >= SMALLEST else Value("ripple", word="nothing")


def is_frequency(text: str) -> bool:
    """Tell whether a text is a number of hertz, with the unit."""
    return re.fullmatch(r"[0-9.,]+\s*[kKM]?[Hh][Zz]", text) is not None


def unit_of(text: str) -> str | None:
    """Return the quantity that a unit implies, empty for volts: ``current``, ``resistance``; None if it is no unit."""
    if re.search(r"[0-9]", text):
        return None
    if named := _unit_says(f"1 {text}"):
        return named
    if is_ohms(f"1 {text}"):
        return "resistance"
    try:
        measure(f"1 {text}", "voltage")
    except ValueError:
        return None
    return ""
