"""Tolerance and rating of a part, as written."""

from __future__ import annotations

import math
import re

from lostgain import quantities
from lostgain.unit.kinds import Kind

NUMBER = r"(?:\d+(?:[.,]\d+)?|[.,]\d+)"
_SIGNED = re.compile(rf"(?:±|\+/-|\+-)?{NUMBER}%|[+-]{NUMBER}%?/[+-]{NUMBER}%")
RATING = re.compile(rf"({NUMBER}(?:/\d+)?)\s*(m|k)?(V|W)(?:\s*(?:dc|ac|~|=))?", re.IGNORECASE)


class PartFault(ValueError):
    """Raised for text that describes no part.

    Parameters
    ----------
    message : str
        What is wrong, naming the word.
    meant : str
        The likely meaning; may be empty.
    """

    def __init__(self, message: str, meant: str = "") -> None:
        super().__init__(message)
        self.message, self.meant = message, meant


def tolerance(word: str) -> tuple[float, float]:
    """Return lowest and highest deviation as fractions.

    Parameters
    ----------
    word : str
        ``5%``, ``±5 %``, ``-20/+50%``.

    Raises
    ------
    PartFault
        If it is no tolerance, or one that leaves nothing of the value.
    """
    clean = quantities.fold(word).replace(" ", "")
    if not _SIGNED.fullmatch(clean):
        guess = f"Did you mean {clean}%?" if re.fullmatch(NUMBER, clean) else ""
        raise PartFault(f"“{word}” is no tolerance: expected for example 5% or -20/+50%.", guess)
    numbers = [float(number.replace(",", ".")) / 100.0 for number in re.findall(rf"[+-]?{NUMBER}", clean.lstrip("±"))]
    if len(numbers) == 1:
        low, high = -abs(numbers[0]), abs(numbers[0])
    else:
        low, high = sorted(numbers)
    if low > 0 or high < 0:
        raise PartFault(f"“{word}” leaves the nominal value out; write for example -20/+50%.")
    if low <= -1.0 or high > 4.0:
        raise PartFault(f"“{word}” is too wide for a tolerance: above -100% and up to +400%.")
    return (low + 0.0, high + 0.0)


def rating(designator: str, word: str, kind: Kind) -> float:
    """Return the rated voltage of a capacitor, or the rated power of a resistor."""
    match = RATING.fullmatch(word)
    assert match is not None  # _sort_of has seen to that
    number, _, under = match[1].replace(",", ".").partition("/")
    letter = match[3].upper()
    wants = {"capacitor": "V", "resistor": "W", "potentiometer": "W", "inductor": "W"}.get(kind.family)
    if kind.family != "contact" and wants != letter:
        unit = {"V": "volts", "W": "watts"}
        raise PartFault(
            f"{designator}: “{word}” is in {unit[letter]}; {a_kind(kind.name)} "
            + (f"is rated in {unit[wants]}." if wants else "has no rating here.")
        )
    if under and float(under) == 0:
        raise PartFault(f"{designator}: “{word}” divides by nothing.")
    value = float(number) / (float(under) if under else 1.0)
    value *= {"m": 1e-3, "k": 1e3}.get((match[2] or "").lower(), 1.0)
    if not 0 < value < math.inf:
        raise PartFault(f"{designator}: a rating of “{word}” can't be.")
    return value


def a_kind(kind: str) -> str:
    """Return a kind of part with its article."""
    name = {"electrolytic": "electrolytic", "opamp": "op-amp", "npn": "NPN transistor", "pnp": "PNP transistor",
            "film": "film capacitor", "ceramic": "ceramic capacitor", "njf": "N-channel JFET",
            "tantalum": "tantalum capacitor", "plain-transformer": "transformer",
            "push-pull-transformer": "transformer with a tapped primary",
            "mains-transformer": "transformer with a tapped secondary"}.get(kind, kind)  # fmt: skip
    return f"{'an' if name[0] in 'aeioAEIO' or name.startswith('N') else 'a'} {name}"
