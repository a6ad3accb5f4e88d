"""The suspects and their probabilities, grouped by look-alikes."""

from __future__ import annotations

import textwrap
from dataclasses import dataclass
from pathlib import Path

from matplotlib.figure import Figure
from matplotlib.patches import Rectangle

from lostgain.diagnosis import Suspect, Verdict
from lostgain.report.pictures.style import (
    BLUE,
    GREY,
    NORMAL,
    ORANGE,
    PALE,
    PAPER,
    SMALL,
    VERMILLION,
    drawing,
    fitted,
    head,
    kind_of,
    save,
    sheet,
    widest,
)
from lostgain.report.places import place_text
from lostgain.report.shares import percent

WIDTH = 8.27
#: Height of a suspect's row, of a further line of text in it, of a group's heading [inch]; room above and below all.
ROW, TEXT, HEAD, ABOVE, BELOW = 0.26, 0.135, 0.30, 0.1, 0.55
EDGE, BAR = 0.25, 2.3
#: Least width of the sentences [inch]; the picture is wider than a page where names are very long.
LEAST_TEXT = 2.5
#: Suspects drawn at least, and the share of all probability after which no more are.
FEWEST, ENOUGH = 3, 0.98
#: No bar is drawn for less probability than this.
LEAST = 0.002


@dataclass(frozen=True)
class _Row:
    """A bar, or a heading where there is no probability."""

    name: str
    probability: float | None
    text: tuple[str, ...]
    colour: str
    hatch: str = ""

    @property
    def height(self) -> float:
        if self.probability is None:
            return HEAD
        return max(ROW, TEXT * len(self.text) + 0.1)


def suspects(verdict: Verdict, path: Path | str, most: int = 12) -> Path:
    """Draw the suspects' probabilities as bars, with what is wrong in words.

    Parameters
    ----------
    verdict : Verdict
    path : path
        Its suffix decides the format: ``.png``, ``.svg`` or ``.pdf``.
    most : int
        How many suspects are drawn with a bar of their own; the others share one.

    Returns
    -------
    Path

    Raises
    ------
    UserError
        If the suffix is no kind of picture, or the file cannot be written.
    """
    kind_of(Path(path))
    with drawing():
        return save(_drawn(verdict, most), path)


def _drawn(verdict: Verdict, most: int) -> Figure:
    shown = _leading(verdict, most)
    trial = sheet(WIDTH, 4)
    names = [_called(suspect) for suspect in shown] + ["unexplained", "other suspects"]
    first = EDGE + widest(trial, names, NORMAL) + 0.12
    last = first + BAR + 0.6
    width = max(WIDTH, last + EDGE + LEAST_TEXT)
    letters = int((width - EDGE - last) / (widest(trial, ["n" * 100], SMALL) / 100) * 1.08)
    rows = _rows(verdict, shown, letters)
    told = f"From {verdict.used} reading{'s' * (verdict.used != 1)}; failure rates: {verdict.rates}"
    lines = fitted((told, *verdict.warnings), width)
    above = head(lines) + ABOVE
    height = above + BELOW + sum(row.height for row in rows)
    figure = sheet(width, height, "Suspects", lines)
    ax = figure.add_axes((first / width, BELOW / height, BAR / width, 1 - (above + BELOW) / height))
    ax.set_xlim(0, 100)
    ax.set_ylim(height - above - BELOW, 0)
    ax.set_yticks([])
    ax.set_xticks([0, 25, 50, 75, 100])
    ax.set_xlabel("Probability [%]")
    ax.grid(axis="x", zorder=0)
    ax.set_axisbelow(True)
    for side in ("top", "right", "bottom"):
        ax.spines[side].set_visible(False)
    top = 0.0
    for row in rows:
        middle = top + row.height / 2
        across = ax.get_yaxis_transform()
        if row.probability is None:
            left, right = (EDGE - first) / BAR, (width - EDGE - first) / BAR
            ax.add_patch(Rectangle((left, top + 0.04), right - left, HEAD - 0.08, transform=across, color=PALE, lw=0,
                                   clip_on=False, zorder=3))  # fmt: skip
            ax.text(left + 0.03, middle, row.name, transform=across, weight="bold", va="center", zorder=4)
        else:
            if row.probability >= LEAST:
                ax.barh(middle, row.probability * 100, height=0.15, color=row.colour, hatch=row.hatch,
                        edgecolor=PAPER if row.hatch else row.colour, lw=0.5, zorder=3)  # fmt: skip
            ax.text(-0.03, middle, row.name, transform=across, ha="right", va="center", size=NORMAL)
            ax.text(1.2, middle, percent(row.probability), transform=across, ha="right", va="center", size=NORMAL,
                    weight="bold")  # fmt: skip
            ax.text((last - first) / BAR, middle, "\n".join(row.text), transform=across, va="center", size=SMALL,
                    color=GREY, linespacing=1.25)  # fmt: skip
        top += row.height
    return figure


def _leading(verdict: Verdict, most: int) -> list[Suspect]:
    """Return the suspects that get a bar of their own, most probable first."""
    shown: list[Suspect] = []
    held = 0.0
    for suspect in verdict.suspects[:most]:
        if len(shown) >= FEWEST and (held >= ENOUGH or suspect.probability < 0.001):
            break
        shown.append(suspect)
        held += suspect.probability
    return shown


def _rows(verdict: Verdict, shown: list[Suspect], letters: int) -> list[_Row]:
    rows = []
    for number in dict.fromkeys(suspect.group for suspect in shown):
        members = [suspect for suspect in shown if suspect.group == number]
        group = next((each for each in verdict.groups if each.number == number), None)
        rows.append(_Row(_heading(group.probability if group else None, len(group.suspects) if group else 0, number),
                         None, (), PALE))  # fmt: skip
        for suspect in members:
            text = tuple(textwrap.wrap(f"{suspect.severity_text} [{place_text(suspect)}]", letters))
            rows.append(_Row(_called(suspect), suspect.probability, text, VERMILLION))
    rows.append(_Row("Everything else", None, (), PALE))
    rest = verdict.suspects[len(shown) :]
    if rest:
        held = sum(suspect.probability for suspect in rest)
        rows.append(_Row("other suspects", held, (f"{len(rest)} less probable faults together",), ORANGE, "...."))
    healthy = tuple(textwrap.wrap("nothing is wrong at the test points read", letters))
    other = tuple(textwrap.wrap("none of the faults in the table explains the readings", letters))
    rows.append(_Row("healthy", verdict.healthy, healthy, BLUE, "////"))
    rows.append(_Row("unexplained", verdict.unexplained, other, GREY, "xxxx"))
    return rows


def _heading(probability: float | None, members: int, number: int) -> str:
    if probability is None:
        return "Hardly probable"
    kind = f"Look-alikes, group {number}, {members} suspects" if members > 1 else f"Group {number}, no look-alikes"
    return f"{kind}: {percent(probability)}"


def _called(suspect: Suspect) -> str:
    return f"{suspect.part} {suspect.mode}"
