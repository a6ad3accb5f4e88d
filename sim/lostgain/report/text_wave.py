"""The signal at a test point, healthy beside faulty, as text for a terminal."""

from __future__ import annotations

import textwrap

import numpy as np
from numpy.typing import NDArray

from lostgain.quantities import show
from lostgain.report.text_letters import BLOCKS, Letters
from lostgain.signatures import Prediction, State
from lostgain.signatures.gains import NOTHING

Values = NDArray[np.float64]

#: Lines of a picture, odd so that zero has one of its own; cycles shown; columns of the scale, and between pictures.
DOWN, CYCLES, SCALE, GAP = 9, 2, 10, 3
#: Zero lies between two dots: by this much it belongs to the lower one, so that dust about it draws no square wave.
BIAS = 0.01


def text_wave(
    prediction: Prediction, point: str, index: int = 0, letters: Letters = BLOCKS, width: int = 80, named: str = ""
) -> list[str]:
    """Return two cycles of the signal at a test point, healthy at the left and faulty at the right, without DC.

    Parameters
    ----------
    prediction : Prediction
    point : str
        Name of a test point.
    index : int
        Of the set-up's frequency; 0 is the middle one.
    letters : Letters
        What to draw with.
    width : int
        Columns of the terminal.
    named : str
        What the test point is called on the board at hand, if that is another name.

    Returns
    -------
    list of str
        Lines of at most `width` characters. Both pictures have the same scale.
    """
    at = prediction.points.index(point)
    across = (width - SCALE - GAP) // 2
    states = (prediction.healthy, prediction.faulty)
    waves = [np.asarray(state.wave[at, index], dtype=float) for state in states]
    tallest = max([2 * NOTHING, *(float(np.abs(wave).max()) for wave in waves if np.isfinite(wave).all())])
    pictures = [trace(wave, tallest, across, letters) for wave in waves]
    frequency = prediction.frequencies[index]
    lines = textwrap.wrap(f"{named or point} at {show(frequency, 'Hz')}, DC taken off", width)
    heads = [f"{name}: {_size(state, at, index)}"[:across] for name, state in zip(("healthy", "faulty"), states,
             strict=True)]  # fmt: skip
    lines.append(f"{'':{SCALE}}{heads[0]:{across}}{'':{GAP}}{heads[1]}")
    for row in range(DOWN):
        edge = {0: f"+{show(tallest, 'V')}", DOWN // 2: "0 V", DOWN - 1: f"-{show(tallest, 'V')}"}.get(row, "")
        lines.append(f"{edge:>{SCALE - 1}} {pictures[0][row]}{'':{GAP}}{pictures[1][row]}")
    time = f"{CYCLES} cycles, {show(CYCLES / frequency, 's')}"
    lines.append(f"{'':{SCALE}}{time}")
    return [letters.spelt(line).rstrip() for line in lines]


def _size(state: State, point: int, index: int) -> str:
    if not np.isfinite(state.level[point, index]):
        return "no result"
    size = "nothing" if state.level[point, index] <= NOTHING else show(float(state.swing[point, index]), "Vpp")
    return size if state.settled[index] else f"{size}, unsettled"


def trace(wave: Values, tallest: float, across: int, letters: Letters, cycles: int = CYCLES) -> list[str]:
    """Return the lines of one picture; each cell holds two dots, one above the other.

    Parameters
    ----------
    wave : array, (phase,) [V]
        What is repeated: one cycle.
    tallest : float
        Half height of the picture [V].
    across : int
        Its width in columns.
    letters : Letters
    cycles : int
        How often it is drawn.
    """
    if not np.isfinite(wave).all():
        lines = [" " * across] * DOWN
        lines[DOWN // 2] = f"{'(the run did not converge)':^{across}}"[:across]
        return lines
    dots = np.zeros((2 * DOWN, across), dtype=bool)
    for column in range(across):
        ends = np.linspace(column, column + 1, 9) / across * cycles
        passed = np.interp(ends % 1.0, np.arange(len(wave)) / len(wave), wave, period=1.0) / tallest
        first, last = (round((1 - value) / 2 * (2 * DOWN - 1) + BIAS) for value in (passed.max(), passed.min()))
        dots[first : last + 1, column] = True
    kinds = {(True, True): letters.both, (True, False): letters.upper, (False, True): letters.lower}
    pairs = zip(dots[::2], dots[1::2], strict=True)
    return ["".join(kinds.get((bool(up), bool(low)), " ") for up, low in zip(*pair, strict=True)) for pair in pairs]
