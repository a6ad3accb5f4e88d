"""Settings of potentiometers: ``-6 dB``, ``half``, ``0.3 turn``, ``30 %`` to the share of voltage passed."""

from __future__ import annotations

import re

from lostgain.unit.tapers import passed

_WORDS = {"off": 0.0, "half": 0.5, "full": 1.0, "1/4": 0.25, "1/2": 0.5, "3/4": 0.75}
_NUMBER = r"[+-]?(?:\d+(?:[.,]\d*)?|[.,]\d+)"


def share(text: str, taper: str) -> float:
    """Return the share of voltage a potentiometer's setting passes unloaded.

    Parameters
    ----------
    text : str
        ``-6 dB`` (of voltage), or where the knob points: ``off``, ``half``, ``full``, ``0.3 turn``, ``30 %`` of the
        turn.
    taper : str
        A name of ``tapers.toml``: ``linear``, ``audio``, ``reverse``.

    Returns
    -------
    float
        0 to 1.

    Raises
    ------
    ValueError
        If it is no setting.
    """
    clean = " ".join(text.replace("\u2212", "-").lower().split())
    if clean in _WORDS:
        return passed(_WORDS[clean], taper)
    match = re.fullmatch(rf"({_NUMBER})\s*(db|turn|turns|%)", clean)
    if not match:
        raise ValueError(f"“{text}” is no setting: expected for example -6 dB, half, full, off, 0.3 turn or 30 %.")
    number = float(match[1].replace(",", "."))
    if match[2] == "db":
        if not -200 <= number <= 0:
            raise ValueError(f"“{text}”: a potentiometer passes between -200 dB and 0 dB.")
        return float(10.0 ** (number / 20.0))
    turn = number / 100.0 if match[2] == "%" else number
    if not 0 <= turn <= 1:
        raise ValueError(f"“{text}”: the knob turns from 0 to 1, or from 0 % to 100 %.")
    return passed(turn, taper)
