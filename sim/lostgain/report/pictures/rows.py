"""A chart of test points down the page in signal order, with one axis beside another and values written in columns."""

from __future__ import annotations

import textwrap
from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from matplotlib.axes import Axes
from matplotlib.figure import Figure
from matplotlib.lines import Line2D
from matplotlib.patches import Patch
from numpy.typing import NDArray

from lostgain.report.pictures.style import GREY, KEY, LINE, NORMAL, PALE, SMALL, WIDE, Look, fitted, head, sheet, widest

Values = NDArray[np.float64]

#: Height of a row [inch], room above the rows (title) and below (axis, key), and around the columns.
ROW, ABOVE, BELOW, EDGE, GAP = 0.27, 0.45, 0.85, 0.25, 0.12
#: Least and greatest width of an axis [inch].
NARROWEST, WIDEST = 1.1, 5.0
#: Letters of a name that stand in one line.
ONE_LINE = 36
#: Least width of the picture [inch].
LEAST = 6.5


@dataclass(frozen=True)
class Trace:
    """One set of values along the chain.

    Parameters
    ----------
    label : str
    look : Look
    values : array, (point, axis)
        Where marks stand, on the axis's scale; NaN for no mark.
    low, high : array or None, (point, axis)
        Ends of a range drawn as a bar behind the marks.
    column : sequence of sequence of str, or None
        What is written beside each axis, [point][axis].
    heading : str
        Of the columns.
    """

    label: str
    look: Look
    values: Values
    low: Values | None = None
    high: Values | None = None
    column: Sequence[Sequence[str]] | None = None
    heading: str = ""


@dataclass(frozen=True)
class Chart:
    """What a chart of test points shows.

    Parameters
    ----------
    title, below : str
    points : tuple of str
        In signal order.
    unreachable : frozenset of str
        Those that no probe reaches.
    axes : tuple of str
        Titles of the axes.
    dress : callable
        Gives an axis its marks.
    traces : tuple of Trace
    range_label : str
        What the range bars are; empty for none.
    notes : tuple of str
        Written under the key.
    lift : float
        How far above the axes the columns' headings stand [point].
    """

    title: str
    below: tuple[str, ...]
    points: tuple[str, ...]
    unreachable: frozenset[str]
    axes: tuple[str, ...]
    dress: Callable[[Axes], None]
    traces: tuple[Trace, ...]
    range_label: str = ""
    notes: tuple[str, ...] = ()
    lift: float = 19.0


def draw(chart: Chart) -> Figure:
    """Return the picture of a chart."""
    count = len(chart.axes)
    columns = [trace for trace in chart.traces if trace.column is not None]
    trial = sheet(WIDE, 4)
    names = [_named(name, chart) for name in chart.points]
    left = EDGE + widest(trial, names, NORMAL) + GAP
    written = [[_column_width(trial, trace, axis) for trace in columns] for axis in range(count)]
    beside = sum(sum(each) + GAP for each in written)
    room = WIDE - left - EDGE - beside - (count - 1) * GAP
    width = WIDE + max(0.0, count * NARROWEST - room)
    each_axis = max(NARROWEST, min(room / count, WIDEST))
    width = min(width, max(LEAST, width - room + count * each_axis))
    body = ROW * max(len(chart.points), 3)
    notes, lines = fitted(chart.notes, width), fitted(chart.below, width)
    lines_of_key = _lines_of_key(trial, chart, width)
    below = BELOW + LINE * (len(notes) + lines_of_key - 1)
    height = head(lines) + ABOVE + chart.lift / 72 + body + below
    figure = sheet(width, height, chart.title, lines)
    start = left
    for axis in range(count):
        ax = figure.add_axes((start / width, below / height, each_axis / width, body / height))
        _fill(ax, chart, axis, names if axis == 0 else None)
        _write(ax, columns, axis, written[axis], each_axis, chart.lift)
        start += each_axis + GAP + sum(written[axis]) + GAP
    _key(figure, chart, notes, lines_of_key)
    return figure


def _named(name: str, chart: Chart) -> str:
    """Return a test point's name in at most two lines, which is what a row has room for."""
    whole = f"{name} (out of reach)" if name in chart.unreachable else name
    return "\n".join(textwrap.wrap(whole, max(ONE_LINE, len(whole) // 2 + 10)))


def _column_width(figure: Figure, trace: Trace, axis: int) -> float:
    assert trace.column is not None
    texts = [row[axis] for row in trace.column]
    return widest(figure, [trace.heading, *texts], SMALL) + GAP if any(texts) else 0.0


def _fill(ax: Axes, chart: Chart, axis: int, names: list[str] | None) -> None:
    rows = np.arange(len(chart.points))
    ax.set_ylim(max(len(rows), 3) - 0.5, -0.5)
    chart.dress(ax)
    ax.set_title(chart.axes[axis], loc="left", weight="bold", pad=6)
    ax.set_yticks(rows, names if names is not None else [""] * len(rows), size=NORMAL)
    ax.tick_params(axis="y", length=0, labelcolor="black")
    for row in range(len(rows)):
        ax.axhline(row, color=PALE, lw=0.6, zorder=0.5)
    for trace in chart.traces:
        if trace.low is not None and trace.high is not None:
            known = np.isfinite(trace.low[:, axis]) & np.isfinite(trace.high[:, axis])
            ax.hlines(rows[known], trace.low[known, axis], trace.high[known, axis], color=trace.look.colour, lw=7,
                      alpha=0.3, zorder=2)  # fmt: skip
        ax.plot(trace.values[:, axis], rows, zorder=3 + (not trace.look.filled), clip_on=False, **trace.look.line())


def _write(ax: Axes, columns: list[Trace], axis: int, widths: list[float], inches: float, lift: float) -> None:
    """Write the values of an axis in columns at its right, lined up at their right edges."""
    place = inches + GAP / 2
    for trace, width in zip(columns, widths, strict=True):
        if trace.column is None or width == 0:
            continue
        place += width
        right = (place - GAP / 2) / inches
        ax.annotate(trace.heading, (right, 1.0), xytext=(0, lift), xycoords="axes fraction", textcoords="offset points",
                    size=SMALL, ha="right", va="bottom", color=trace.look.colour, annotation_clip=False)  # fmt: skip
        for row, texts in enumerate(trace.column):
            ax.text(right, row, texts[axis], transform=ax.get_yaxis_transform(), size=SMALL, ha="right", va="center",
                    color=trace.look.colour)  # fmt: skip


def _marks(chart: Chart) -> list[Line2D | Patch]:
    """Return the entries of the key."""
    marks: list[Line2D | Patch] = [Line2D([], [], label=trace.label, **trace.look.line()) for trace in chart.traces]
    ranged = next((trace for trace in chart.traces if trace.low is not None), None)
    if chart.range_label and ranged is not None:
        marks.insert(1, Patch(color=ranged.look.colour, alpha=0.3, lw=0, label=chart.range_label))
    return marks


def _lines_of_key(figure: Figure, chart: Chart, width: float) -> int:
    """Return in how many lines the key fits."""
    marks = _marks(chart)
    widths = [widest(figure, [str(mark.get_label())], NORMAL) + 0.65 for mark in marks]
    lines = 1
    while lines < len(marks):
        columns = [max(widths[start : start + lines]) for start in range(0, len(widths), lines)]
        if sum(columns) <= width - EDGE:
            break
        lines += 1
    return lines


def _key(figure: Figure, chart: Chart, notes: list[str], lines: int) -> None:
    width, height = figure.get_size_inches()
    marks = _marks(chart)
    bottom = 0.12 + LINE * len(notes)
    figure.legend(handles=marks, loc="lower left", bbox_to_anchor=(0.15 / width, bottom / height),
                  ncols=-(-len(marks) // lines), **KEY)  # fmt: skip
    for number, note in enumerate(reversed(notes)):
        figure.text(EDGE / width, (0.12 + LINE * number) / height, note, size=SMALL, color=GREY, va="bottom")
