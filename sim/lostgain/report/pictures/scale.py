"""Levels in decibels on an axis that can be read in volts as well."""

from __future__ import annotations

from matplotlib.axes import Axes

from lostgain.quantities import show
from lostgain.report.levels import FLOOR, STEP
from lostgain.report.pictures.style import GREY, PALE, SMALL

#: What a volts label of the axis needs [inch]; where there is less, only every other mark has one.
ROOM = 0.48


def dress(ax: Axes, top: float) -> None:
    """Give a horizontal axis its marks: decibels below, volts rms above, and a strip at the floor for nothing."""
    ax.set_xlim(FLOOR - 4, top)
    marks = [mark for mark in range(-200, int(top) + 1, STEP) if mark > FLOOR]
    ax.set_xticks(marks, [f"{mark:+d}".replace("-", "−") if mark else "0" for mark in marks])
    ax.set_xlabel("dB re 1 V rms")
    inches = ax.bbox.width / ax.figure.dpi
    every = 1 if STEP / (top - FLOOR + 4) * inches > ROOM else 2
    above = ax.secondary_xaxis("top")
    above.set_xticks(marks[::every], [show(10 ** (mark / 20), "V", 1) for mark in marks[::every]])
    above.set_xlabel("V rms")
    ax.axvspan(FLOOR - 4, FLOOR + 2.5, color=PALE, lw=0, zorder=0)
    ax.text(
        FLOOR - 0.8, 0.97, "nothing", rotation=90, size=SMALL, color=GREY, ha="center", va="top", zorder=1,
        transform=ax.get_xaxis_transform(),
    )  # fmt: skip
    ax.grid(axis="x", zorder=0)
    ax.set_axisbelow(True)
