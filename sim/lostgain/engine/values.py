"""Values in netlist text: what ngspice would misread in silence, and names and numbers that are safe to hand over."""

from __future__ import annotations

import math
import re

_NAME = re.compile(r"[A-Za-z0-9_.+\-#:/]{1,200}", re.ASCII)

# 2k2, 4R7, 0R22, R47, 1M5, 4u7, 2meg2: a letter where the decimal point would be (IEC 60062).
_LETTER_FOR_POINT = re.compile(r"(\d*)(meg|[rkmunpfgt])(\d+)([a-zµΩ]*)", re.IGNORECASE)
_IN_EXPRESSION = re.compile(r"(?<![\w.])\d+(?:meg|[rkmunpfgt])\d+\w*", re.IGNORECASE | re.ASCII)

_SIZES = {
    "r": 0, "k": 3, "meg": 6, "g": 9, "t": 12, "m": -3, "u": -6, "n": -9, "p": -12, "f": -15,
}  # fmt: skip
_SUFFIX = {3: "k", 6: "meg", 9: "g", 12: "t", -3: "m", -6: "u", -9: "n", -12: "p", -15: "f"}


def safe_name(text: str) -> str:
    """Return a name that may be put into netlist text.

    Parameters
    ----------
    text : str
        A designator, node or model name.

    Returns
    -------
    str
        The same text.

    Raises
    ------
    ValueError
        If it is empty, too long, or holds anything but letters, digits and ``_ . + - # : /``.
    """
    if not _NAME.fullmatch(text):
        raise ValueError(
            f"{text!r} cannot be a name in a circuit: only letters, digits and _ . + - # : / may be in one"
        )
    return text


def safe_number(value: float) -> str:
    """Return a number as ngspice reads it back, to the last bit.

    Raises
    ------
    ValueError
        If it is not finite.
    """
    number = float(value)
    if not math.isfinite(number):
        raise ValueError(f"{value!r} is not a value a part can have")
    return repr(number)


def _size(letters: str, element: str) -> int:
    """Return the power of ten a letter in the decimal point's place means: M is mega on a resistor, milli elsewhere."""
    if letters == "M" and element in ("r", ""):
        return 6
    return _SIZES[letters.lower()]


def _write(whole: str, fraction: str, size: int) -> str:
    return f"{int(whole or '0')}.{fraction}{_SUFFIX.get(size, '')}"


def misread(value: str, element: str = "") -> tuple[str, str] | None:
    """Say how ngspice would misread a value.

    Parameters
    ----------
    value : str
        One word in a place where a value stands.
    element : str
        First letter of the element it belongs to, lower case; empty for a parameter.

    Returns
    -------
    (str, str) or None
        What ngspice would read, and what was probably meant, written so that ngspice reads it right; None for a value
        that it reads as meant.
    """
    if match := _LETTER_FOR_POINT.fullmatch(value):
        whole, letters, fraction, _ = match.groups()
        if not whole and (letters.lower() != "r" or element != "r"):
            return None  # R47 is a value only on a resistor; elsewhere, as k12 is anywhere, it is a name
        suffix = "" if letters.lower() == "r" else letters.lower()
        reads = f"{whole}{suffix}" if whole else "no number"
        if value.lower() in ("0r" + fraction, "r" + fraction) and element == "r":
            reads = "1 mΩ"  # nought ohms, which ngspice replaces
        return reads, _write(whole, fraction, _size(letters, element))
    if element == "r" and re.fullmatch(r"[\d.]+M(Ω|[Oo]hms?)?", value):
        number = re.match(r"[\d.]+", value)
        assert number is not None
        return f"{number[0]} milliohms", f"{number[0]}meg"
    if element == "c" and re.fullmatch(r"[\d.]+[fF]", value):
        return f"{value[:-1]} femtofarads", value[:-1]
    if element in ("v", "i") and re.fullmatch(r"[\d.]+A", value):
        return f"{value[:-1]} attoamperes in some versions", value[:-1]
    if re.fullmatch(r"\d+,\d+\w*", value) and element in ("r", "c", "l"):
        return value.partition(",")[0], value.replace(",", ".")
    return None


def misread_in_expression(text: str) -> tuple[str, str, str] | None:
    """Find a value in an expression that ngspice would misread: the value, what it reads, what was meant."""
    for match in _IN_EXPRESSION.finditer(text):
        found = misread(match[0])
        if found is not None:
            return match[0], *found
    return None
