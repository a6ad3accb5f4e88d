"""Values of a netlist, as ngspice reads them."""

from __future__ import annotations

import math
import re

_SUFFIXES = {
    "t": 1e12, "g": 1e9, "meg": 1e6, "k": 1e3, "mil": 25.4e-6, "m": 1e-3, "u": 1e-6, "µ": 1e-6, "n": 1e-9, "p": 1e-12,
    "f": 1e-15,
}  # fmt: skip
_NUMBER = re.compile(r"([+-]?(?:\d+\.?\d*|\.\d+)(?:e[+-]?\d+)?)([a-zµμΩω]*)", re.IGNORECASE)
_EXAMPLES = {"R": "22k or 1Meg", "C": "100n or 47u", "L": "10m"}


def spice_value(text: str, letter: str) -> float:
    """Return the value of an R, C or L. One that ngspice would misread is refused by the engine before it comes here.

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
        If it is no value.
    """
    match = _NUMBER.fullmatch(text)
    if not match:
        expected = f"expected for example {_EXAMPLES[letter]}, or an expression in braces"
        raise ValueError(f"“{text}” is no value: {expected}.")
    number, tail = float(match[1]), match[2].lower().replace("μ", "µ")
    suffix = next((name for name in _SUFFIXES if tail.startswith(name)), "")
    value = number * _SUFFIXES.get(suffix, 1.0)
    if not math.isfinite(value) or value < 0:
        raise ValueError(f"“{text}” can't be: a value is not below zero and not endless.")
    return value
