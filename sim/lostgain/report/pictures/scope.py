"""The screen of an oscilloscope during a drill: two cycles of what is at one place."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.ticker import FuncFormatter, MaxNLocator

from lostgain.quantities import show
from lostgain.report.pictures.style import FAULTY, GREY, drawing, fitted, head, kind_of, save, sheet
from lostgain.teach.looking import Seen
from lostgain.teach.meter import CYCLES, screen

WIDTH, TALL = 5.0, 2.6


def scope(seen: Seen, frequency: float, title: str, path: Path | str) -> Path:
    """Draw two cycles without DC.

    Parameters
    ----------
    seen : Seen
    frequency : float
        [Hz]
    title : str
    path : path
        Its suffix decides the format.

    Raises
    ------
    UserError
        If the suffix is no kind of picture, or the file cannot be written.
    """
    kind_of(Path(path))
    said = f"{show(seen.swing, 'Vpp')} at {show(frequency, 'Hz')}; DC taken off" if not seen.nothing else "nothing"
    lines = fitted([said], WIDTH)
    height = head(lines) + TALL
    shown, tallest = screen(seen)
    with drawing():
        figure = sheet(WIDTH, height, title, lines)
        ax = figure.add_axes((0.75 / WIDTH, 0.45 / height, (WIDTH - 1.0) / WIDTH, (TALL - 0.6) / height))
        cycles = np.arange(len(shown) + 1) / len(seen.wave)
        ax.plot(cycles / frequency * 1e3, np.append(shown, shown[0]), color=FAULTY.colour, lw=1.6)
        ax.axhline(0, color=GREY, lw=0.6)
        ax.set_xlim(0, CYCLES / frequency * 1e3)
        ax.set_ylim(-1.15 * tallest, 1.15 * tallest)
        ax.yaxis.set_major_locator(MaxNLocator(4, symmetric=True, steps=[1, 2, 5, 10]))
        ax.yaxis.set_major_formatter(FuncFormatter(lambda volts, _: show(float(f"{volts:.3g}"), "V").replace("-", "−")))
        ax.set_xlabel("Time [ms]", labelpad=1)
        ax.grid()
        return save(figure, path)
