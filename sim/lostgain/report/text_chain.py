"""The level along the chain, healthy beside faulty, as text for a terminal."""

from __future__ import annotations

import math
import textwrap

import numpy as np

from lostgain.quantities import show
from lostgain.report.levels import FLOOR, decibels, highest, unreachable, volts
from lostgain.report.text_letters import BLOCKS, Letters
from lostgain.signatures import Prediction

#: Columns of a value; most columns of a name, which goes on in the next line if it is longer.
VALUE, NAME = 10, 24


def text_chain(prediction: Prediction, index: int = 0, letters: Letters = BLOCKS, width: int = 80) -> list[str]:
    """Return a bar for the level at each test point, with a mark where the healthy level lies.

    Parameters
    ----------
    prediction : Prediction
    index : int
        Of the set-up's frequency; 0 is the middle one.
    letters : Letters
        What to draw with.
    width : int
        Columns of the terminal.

    Returns
    -------
    list of str
        Lines of at most `width` characters, in signal order; the scale is in decibels.
    """
    healthy, faulty = prediction.healthy.level[:, index], prediction.faulty.level[:, index]
    top = highest([healthy, faulty])
    longest = max((len(name) for name in prediction.points), default=0)
    named = min(max(longest + 2, 13), NAME)
    across = width - named - 2 * VALUE - 1
    lost = unreachable(prediction.circuit.unit)
    lines = [f"{'':{named}}{_scale(top, across)} {'healthy':>{VALUE}}{'faulty':>{VALUE}}"]
    for point, name in enumerate(prediction.points):
        parts = textwrap.wrap(f"{name} *" if name in lost else name, named - 1) or [""]
        bar = _bar(float(decibels(healthy[point])), float(decibels(faulty[point])), top, across, letters)
        values = "".join(f"{volts(float(each[point])):>{VALUE}}" for each in (healthy, faulty))
        lines.append(f"{parts[0]:{named}}{bar} {values}")
        lines += [f"  {part}" for part in parts[1:]]
    frequency = show(prediction.frequencies[index], "Hz")
    lines.append(f"{letters.bar * 2} faulty, {letters.mark} healthy; V rms at {frequency}; decibels to scale")
    if lost:
        lines.append("* out of reach")
    return [letters.spelt(line).rstrip() for line in lines]


def _place(level: float, top: float, across: int) -> int:
    """Return the column of a level, from 0."""
    share = (level - FLOOR) / (top - FLOOR)
    return min(across - 1, max(0, round(share * (across - 1))))


def _scale(top: float, across: int) -> str:
    """Return the line over the bars: volts every 20 dB, each ending at its place."""
    cells = [" "] * across
    free = 0
    for mark in range(-60, int(top) + 1, 20):
        text = show(10 ** (mark / 20), "V", 1)
        end = _place(mark, top, across)
        start = end - len(text) + 1
        if start >= free:
            cells[start : end + 1] = text
            free = end + 2
    return "".join(cells)


def _bar(healthy: float, faulty: float, top: float, across: int, letters: Letters) -> str:
    if math.isnan(faulty):
        cells = list(f"{'no result':{across}}"[:across])
    else:
        length = _place(faulty, top, across)
        cells = list(letters.bar * length + " " * (across - length))
    if np.isfinite(healthy):
        cells[_place(healthy, top, across)] = letters.mark
    return "".join(cells)
