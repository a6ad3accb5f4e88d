"""Values as ngspice reads them, which is not always as they are meant."""

from __future__ import annotations

import math
import re

_SUFFIXES = {
    "t": 1e12, "g": 1e9, "meg": 1e6, "k": 1e3, "mil": 25.4e-6, "m": 1e-3, "u": 1e-6, "µ": 1e-6, "n": 1e-9, "p": 1e-12,
    "f": 1e-15,
}  # fmt: skip
_NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?)([a-zµμΩω]*)", re.IGNORECASE)
_CODE = re.compile(r"(\d*)([a-zµμ]+)(\d+)", re.IGNORECASE)


def spice_value(text: str, letter: str) -> float:
    """Return the value of an R, C or L as ngspice reads it, or refuse one it would read wrongly in silence.

    Parameters
    ----------
    text : str
        ``22k``, ``100n``, ``1Meg``.
    letter : str
        ``R``, ``C`` or ``L``.

    Returns
    -------
    float
        [ohm, F, H]

    Raises
    ------
    ValueError
        If it is no value, or one such as 2k2 (ngspice reads 2000), 1M (1 milliohm) or 10F (10 femtofarad); the message
        gives the likely meaning.
    """
    if code := _CODE.fullmatch(text):
        whole, mark, rest = code[1] or "0", code[2].lower().replace("μ", "µ"), code[3]
        if mark in ("r", "k", "m", "meg", "g", "u", "µ", "n", "p", "f", "h", "e") and not (mark == "e" and code[1]):
            scale = {"r": "", "h": "", "e": "", "µ": "u"}.get(mark, mark)
            scale = "Meg" if mark == "m" and letter == "R" else scale
            raise ValueError(f"“{text}” isn't read by ngspice as it is meant. Did you mean {whole}.{rest}{scale}?")
    match = _NUMBER.fullmatch(text)
    if not match:
        raise ValueError(f"“{text}” is no value: expected for example {_example(letter)}, or an expression in braces.")
    number, tail = float(match[1]), match[2].lower().replace("μ", "µ")
    suffix = next((name for name in _SUFFIXES if tail.startswith(name)), "")
    if letter == "R" and suffix == "m" and match[2].startswith("M") and number > 0:
        raise ValueError(f"“{text}”: ngspice reads M as milli. Did you mean {match[1]}Meg?")
    if suffix == "f" and letter == "C" and tail in ("f", "farad", "farads"):
        raise ValueError(f"“{text}”: ngspice reads F as femto. Did you mean {match[1]} without the F?")
    value = number * _SUFFIXES.get(suffix, 1.0)
    if not math.isfinite(value) or value < 0:
        raise ValueError(f"“{text}” can't be: a value is not below zero and not endless.")
    return value


def _example(letter: str) -> str:
    return {"R": "22k or 1Meg", "C": "100n or 47u", "L": "10m"}.get(letter, "22k")
