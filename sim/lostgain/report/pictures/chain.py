"""Level and DC along the chain, for a prediction."""

from __future__ import annotations

import math
from pathlib import Path

import numpy as np
from matplotlib.axes import Axes

from lostgain.bench.healthy import LOWER, UPPER, spread
from lostgain.quantities import show
from lostgain.report.levels import Values, decibels, highest, unreachable, volts
from lostgain.report.pictures.rows import Chart, Trace, draw
from lostgain.report.pictures.scale import dress
from lostgain.report.pictures.style import FAULTY, GREY, HEALTHY, drawing, kind_of, save
from lostgain.report.pictures.titles import about, drive, failure, frequency
from lostgain.signatures import Prediction, Table


def level_chain(prediction: Prediction, path: Path | str, table: Table | None = None) -> Path:
    """Draw the level at every test point, healthy and faulty, at each frequency of the set-up.

    Parameters
    ----------
    prediction : Prediction
    path : path
        Its suffix decides the format: ``.png``, ``.svg`` or ``.pdf``.
    table : Table or None
        The unit's signature table, for the range of the healthy unit over part tolerances.

    Returns
    -------
    Path

    Raises
    ------
    UserError
        If the suffix is no kind of picture, or the file cannot be written.
    """
    kind_of(Path(path))
    healthy, faulty = prediction.healthy.level, prediction.faulty.level
    low, high = healthy_range(table) if table is not None else (None, None)
    traces = (
        Trace("healthy", HEALTHY, decibels(healthy), low, high, _written(healthy), "healthy"),
        Trace("faulty", FAULTY, decibels(faulty), column=_written(faulty), heading="faulty"),
    )
    top = highest([healthy, faulty])
    chart = Chart(
        title=f"Level along the chain: {failure(prediction)}",
        below=(about(prediction), drive(prediction.circuit.unit)),
        points=prediction.points,
        unreachable=unreachable(prediction.circuit.unit),
        axes=tuple(frequency(each, index) for index, each in enumerate(prediction.frequencies)),
        dress=lambda ax: dress(ax, top),
        traces=traces,
        range_label=RANGE if table is not None else "",
        notes=prediction.faulty.trouble,
    )
    with drawing():
        return save(draw(chart), path)


#: The DC axis reaches at least this far either side [V], lest microvolts look like a finding.
LEAST_DC = 0.1


def dc_chain(prediction: Prediction, path: Path | str, table: Table | None = None) -> Path:
    """Draw the DC at every test point with the generator off, healthy and faulty.

    Parameters, return value and errors are those of `level_chain`.
    """
    kind_of(Path(path))
    healthy, faulty = prediction.healthy.dc[:, None], prediction.faulty.dc[:, None]
    low = high = None
    if table is not None:
        ranges = [spread(table.values("dc")[0][:, point]) for point in range(len(table.points))]
        low, high = (np.array([[getattr(each, end)] for each in ranges]) for end in ("low", "high"))
    chart = Chart(
        title=f"DC along the chain: {failure(prediction)}",
        below=(about(prediction), f"{prediction.circuit.unit.title}; generator off"),
        points=prediction.points,
        unreachable=unreachable(prediction.circuit.unit),
        axes=("DC",),
        dress=_dress_dc,
        traces=(
            Trace("healthy", HEALTHY, healthy, low, high, _written_dc(healthy), "healthy"),
            Trace("faulty", FAULTY, faulty, column=_written_dc(faulty), heading="faulty"),
        ),
        range_label=RANGE if table is not None else "",
        notes=prediction.faulty.trouble,
        lift=4.0,
    )
    with drawing():
        return save(draw(chart), path)


def _dress_dc(ax: Axes) -> None:
    ax.set_xlabel("V DC")
    ax.margins(x=0.06)
    ax.plot([-LEAST_DC, LEAST_DC], [0, 0], alpha=0)
    ax.axvline(0, color=GREY, lw=0.8, zorder=1)
    ax.grid(axis="x", zorder=0)
    ax.set_axisbelow(True)


def _written_dc(volts: Values) -> list[list[str]]:
    return [[_volts_dc(float(each)) for each in row] for row in volts]


def _volts_dc(volts: float) -> str:
    if math.isnan(volts):
        return "no result"
    return show(volts, "V") if abs(volts) >= 1e-3 else "0 V"


#: What the bars behind the healthy marks are.
RANGE = f"healthy, {LOWER:g}th to {UPPER:g}th percentile over part tolerances"


def healthy_range(table: Table) -> tuple[Values, Values]:
    """Return the ends of the healthy level's range: two arrays, (point, frequency) [dB re 1 V rms]."""
    samples = table.values("level")[0]
    ranges = [[spread(samples[:, point, index]) for index in range(samples.shape[2])]
              for point in range(samples.shape[1])]  # fmt: skip
    low = np.array([[each.low for each in row] for row in ranges])
    high = np.array([[each.high for each in row] for row in ranges])
    return decibels(low), decibels(high)


def _written(levels: Values) -> list[list[str]]:
    return [[volts(float(level)) for level in row] for row in levels]
