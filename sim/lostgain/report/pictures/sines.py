"""What the generator's sine looks like at each test point."""

from __future__ import annotations

import math
import textwrap
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes
from matplotlib.lines import Line2D
from matplotlib.ticker import FuncFormatter, MaxNLocator
from numpy.typing import NDArray

from lostgain.quantities import show
from lostgain.report.levels import unreachable
from lostgain.report.pictures.style import (
    FAULTY,
    GREY,
    HEALTHY,
    KEY,
    LINE,
    SMALL,
    WIDE,
    drawing,
    fitted,
    head,
    kind_of,
    save,
    sheet,
)
from lostgain.report.pictures.titles import about, drive, failure, frequency
from lostgain.signatures import Prediction, State
from lostgain.signatures.gains import NOTHING

Values = NDArray[np.float64]

ACROSS, CYCLES = 4, 2
#: Height of one picture with its title, room above and below all [inch]; around each picture.
TALL, ABOVE, BELOW = 1.5, 0.1, 0.75
LEFT, RIGHT, OVER, UNDER = 0.62, 0.16, 0.52, 0.12
#: Letters of a name to the inch.
LETTERS = 12.5
#: Smallest half height of a picture [V]: what is nothing is drawn as a flat line.
LEAST = 2 * NOTHING


def waves(prediction: Prediction, path: Path | str, index: int = 0) -> Path:
    """Draw two cycles of the signal at each test point, healthy dashed and faulty solid, without DC.

    Parameters
    ----------
    prediction : Prediction
    path : path
        Its suffix decides the format: ``.png``, ``.svg`` or ``.pdf``.
    index : int
        Of the set-up's frequency; 0 is the middle one.

    Returns
    -------
    Path

    Raises
    ------
    UserError
        If the suffix is no kind of picture, or the file cannot be written.
    """
    kind_of(Path(path))
    count = len(prediction.points)
    across = min(ACROSS, max(count, 1))
    width = max(WIDE * across / ACROSS, 6.0)
    cell = (width - 0.2) / across
    names = _names(prediction, cell - LEFT - RIGHT)
    told = f"{drive(prediction.circuit.unit)}; {frequency(prediction.frequencies[index], index)}; DC taken off"
    lines = fitted((about(prediction), told, *_unsettled(prediction, index), *prediction.faulty.trouble), width)
    tall = [TALL + LINE * (max(name.count("\n") for name in names[start : start + across]))
            for start in range(0, count, across)]  # fmt: skip
    height = head(lines) + ABOVE + BELOW + sum(tall)
    with drawing():
        figure = sheet(width, height, f"Signal at each test point: {failure(prediction)}", lines)
        for point in range(count):
            row, column = divmod(point, across)
            left, bottom = 0.1 + column * cell + LEFT, BELOW + sum(tall[row + 1 :]) + UNDER
            ax = figure.add_axes(
                (left / width, bottom / height, (cell - LEFT - RIGHT) / width, (TALL - OVER - UNDER) / height)
            )
            _picture(ax, prediction, point, index, names[point])
            _times(ax, prediction.frequencies[index], point + across >= count)
        marks = [Line2D([], [], color=look.colour, ls=look.dashes, lw=1.6, label=label)
                 for look, label in ((HEALTHY, "healthy"), (FAULTY, "faulty"))]  # fmt: skip
        figure.legend(handles=marks, loc="lower left", bbox_to_anchor=(0.15 / width, 0.1 / height), ncols=2, **KEY)
        return save(figure, path)


def _names(prediction: Prediction, width: float) -> list[str]:
    """Return the test points' names, in lines that fit over a picture of that width [inch]."""
    lost = unreachable(prediction.circuit.unit)
    names = [f"{name} (out of reach)" if name in lost else name for name in prediction.points]
    return ["\n".join(textwrap.wrap(name, int(width * LETTERS))) for name in names]


def _picture(ax: Axes, prediction: Prediction, point: int, index: int, name: str) -> None:
    ax.annotate(name, (0, 1), xytext=(0, 15), xycoords="axes fraction", textcoords="offset points",
                weight="bold", va="bottom")  # fmt: skip
    tallest = LEAST
    for place, (state, look) in enumerate(((prediction.healthy, HEALTHY), (prediction.faulty, FAULTY))):
        said = f"{('healthy', 'faulty')[place]} {_said(state, point, index)}"
        wave = np.asarray(state.wave[point, index], dtype=float)
        ax.annotate(said, (place * 0.52, 1), xytext=(0, 4), xycoords="axes fraction",
                    textcoords="offset points", size=SMALL, color=look.colour, va="bottom")  # fmt: skip
        if not np.isfinite(wave).all():
            continue
        tallest = max(tallest, float(np.abs(wave).max()))
        cycles = np.arange(CYCLES * len(wave) + 1) / len(wave)
        drawn = np.append(np.tile(wave, CYCLES), wave[0])
        ax.plot(cycles, drawn, color=look.colour, ls=look.dashes, lw=1.5, zorder=3 + (look is HEALTHY))
    ax.set_ylim(-1.15 * tallest, 1.15 * tallest)
    ax.yaxis.set_major_locator(MaxNLocator(4, symmetric=True, steps=[1, 2, 5, 10]))
    ax.yaxis.set_major_formatter(FuncFormatter(lambda volts, _: show(float(f"{volts:.3g}"), "V").replace("-", "−")))
    ax.axhline(0, color=GREY, lw=0.5, zorder=1)
    ax.grid()


def _unsettled(prediction: Prediction, index: int) -> list[str]:
    """Return a line for a signal that never repeated itself."""
    known = bool(np.isfinite(prediction.faulty.level[:, index]).any())
    return (
        ["faulty: unsettled, expect a moving or fuzzy trace"] if known and not prediction.faulty.settled[index] else []
    )


def _said(state: State, point: int, index: int) -> str:
    """Return the size of a signal: ``6.22 Vpp``."""
    swing = float(state.swing[point, index])
    if math.isnan(swing):
        return "no result"
    return "nothing" if state.level[point, index] <= NOTHING else show(swing, "Vpp")


def _times(ax: Axes, frequency: float, labelled: bool) -> None:
    marks = [0, 0.5, 1, 1.5, 2]
    ax.set_xlim(0, CYCLES)
    ax.set_xticks(marks, [f"{mark / frequency * 1e3:.3g}" for mark in marks] if labelled else [""] * len(marks))
    if labelled:
        ax.set_xlabel("Time [ms]", labelpad=1)
