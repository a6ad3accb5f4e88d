"""The screen of an oscilloscope during a drill: two cycles of what is at one place."""

from __future__ import annotations

from pathlib import Path

import numpy as np
from matplotlib.ticker import FuncFormatter, MaxNLocator

from lostgain.quantities import show
from lostgain.report.pictures.style import FAULTY, GREY, drawing, fitted, head, kind_of, save, sheet
from lostgain.signatures.gains import NOTHING
from lostgain.teach.looking import Seen

WIDTH, TALL, CYCLES = 5.0, 2.6, 2


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
    said = f"{show(seen.swing, 'Vpp')} at {show(frequency, 'Hz')}; DC taken off" if seen.rms > NOTHING else "nothing"
    lines = fitted([said], WIDTH)
    height = head(lines) + TALL
    tallest = max(2 * NOTHING, float(np.abs(seen.wave).max()))
    with drawing():
        figure = sheet(WIDTH, height, title, lines)
        ax = figure.add_axes((0.75 / WIDTH, 0.45 / height, (WIDTH - 1.0) / WIDTH, (TALL - 0.6) / height))
        cycles = np.arange(CYCLES * len(seen.wave) + 1) / len(seen.wave)
        drawn = np.append(np.tile(seen.wave, CYCLES), seen.wave[0])
        ax.plot(cycles / frequency * 1e3, drawn, color=FAULTY.colour, lw=1.6)
        ax.axhline(0, color=GREY, lw=0.6)
        ax.set_xlim(0, CYCLES / frequency * 1e3)
        ax.set_ylim(-1.15 * tallest, 1.15 * tallest)
        ax.yaxis.set_major_locator(MaxNLocator(4, symmetric=True, steps=[1, 2, 5, 10]))
        ax.yaxis.set_major_formatter(FuncFormatter(lambda volts, _: show(float(f"{volts:.3g}"), "V").replace("-", "−")))
        ax.set_xlabel("Time [ms]", labelpad=1)
        ax.grid()
        return save(figure, path)
