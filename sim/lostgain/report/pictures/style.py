"""How all pictures look: paper sizes, type, colours with a second cue, and how a picture is saved.

References
----------
Colours: M. Okabe and K. Ito, "Color Universal Design: how to make figures and presentations that are friendly to
colorblind people" (2008). Each is used with a dash pattern and a marker of its own, so that a black-and-white print
tells as much.
"""

from __future__ import annotations

import textwrap
from collections.abc import Iterable, Iterator, Sequence
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from matplotlib import style as matplotlib_style
from matplotlib.backends.backend_agg import FigureCanvasAgg
from matplotlib.figure import Figure

from lostgain.problems import Problem, UserError, nearest

ORANGE, SKY, GREEN, YELLOW = "#E69F00", "#56B4E9", "#009E73", "#F0E442"
BLUE, VERMILLION, PURPLE, BLACK = "#0072B2", "#D55E00", "#CC79A7", "#000000"
GREY, PALE, PAPER = "#595959", "#E4E4E4", "#FFFFFF"

#: A4 on its side [inch]; longer chains make a taller picture, which is scaled down in print.
WIDE, HIGH = 11.69, 8.27
#: Sizes of type [point].
SMALL, NORMAL, LARGE = 7.0, 8.0, 10.5
#: From one line of text to the next [inch].
LINE = 0.16

_RULES: dict[str, Any] = {
    "font.family": "DejaVu Sans",
    "font.size": NORMAL,
    "axes.titlesize": NORMAL,
    "axes.labelsize": NORMAL,
    "xtick.labelsize": SMALL,
    "ytick.labelsize": SMALL,
    "legend.fontsize": NORMAL,
    "axes.edgecolor": GREY,
    "axes.linewidth": 0.6,
    "axes.grid": False,
    "axes.unicode_minus": True,
    "grid.color": PALE,
    "grid.linewidth": 0.6,
    "xtick.color": GREY,
    "ytick.color": GREY,
    "lines.solid_capstyle": "round",
    "svg.hashsalt": "lostgain",  # names inside an SVG are the same each time
    "svg.fonttype": "path",
    "pdf.fonttype": 42,
    "savefig.dpi": 150,
    "figure.facecolor": PAPER,
    "text.parse_math": False,  # a name from a unit file may hold a dollar sign
}


@dataclass(frozen=True)
class Look:
    """How one set of values is drawn.

    Parameters
    ----------
    colour : str
    dashes : str or (float, tuple of float)
        Matplotlib's line style.
    marker : str
    filled : bool
    width, size : float
        Of the line and the marker [point]. A hollow marker is the larger one, so that it rings a filled one.
    """

    colour: str
    dashes: Any
    marker: str
    filled: bool = True
    width: float = 1.3
    size: float = 4.2

    def line(self) -> dict[str, Any]:
        """Return matplotlib's arguments of a line with markers."""
        return {
            "color": self.colour,
            "linestyle": self.dashes,
            "linewidth": self.width,
            "marker": self.marker,
            "markersize": self.size,
            "markerfacecolor": self.colour if self.filled else "none",
            "markeredgecolor": self.colour,
        }


HEALTHY = Look(BLUE, (0, (5, 2)), "o", filled=False, size=7.5)
FAULTY = Look(VERMILLION, "-", "s")
#: Channels, in the order of the unit file; readings are marks, not lines.
CHANNELS = (
    Look(BLACK, "none", "D", size=5.5),
    Look(BLACK, "none", "^", filled=False, size=7.5),
    Look(GREY, "none", "v", size=5.5),
    Look(GREY, "none", "P", filled=False, size=7.5),
)
#: Suspects, most probable first.
SUSPECTS = (
    Look(VERMILLION, "-", "s"),
    Look(GREEN, (0, (1, 1.4)), "X"),
    Look(PURPLE, (0, (6, 1.5, 1, 1.5)), "p", filled=False, size=6.5),
)

#: What is written into a file besides the picture: nothing that changes from day to day.
_METADATA: dict[str, dict[str, Any]] = {
    ".png": {"Software": None},
    ".svg": {"Date": None, "Creator": None},
    ".pdf": {"CreationDate": None, "Creator": None, "Producer": None},
}


@contextmanager
def drawing() -> Iterator[None]:
    """Hold the settings all pictures are drawn and saved with, whatever the user's own matplotlib settings are."""
    with matplotlib_style.context(["default", _RULES]):
        yield


def head(lines: Sequence[str]) -> float:
    """Return the height that a title with lines under it takes up [inch]."""
    return 0.44 + LINE * len(lines)


def fitted(texts: Iterable[str], width: float) -> list[str]:
    """Return texts as lines that fit a picture of that width [inch] under its title."""
    return [line for text in texts for line in textwrap.wrap(text, int((width - 0.5) * 15)) or [""]]


def sheet(width: float, height: float, title: str = "", lines: Sequence[str] = ()) -> Figure:
    """Return an empty picture with its title at the top left.

    Parameters
    ----------
    width, height : float
        [inch]
    title : str
    lines : sequence of str
        Smaller lines under it.
    """
    figure = Figure(figsize=(width, height))
    FigureCanvasAgg(figure)
    figure.text(0.25 / width, 1 - 0.2 / height, title, size=LARGE, weight="bold", va="top")
    for number, line in enumerate(lines):
        figure.text(0.25 / width, 1 - (0.43 + LINE * number) / height, line, size=NORMAL, color=GREY, va="top")
    return figure


def widest(figure: Figure, texts: Iterable[str], size: float, weight: str = "normal") -> float:
    """Return the width of the widest of some texts [inch]; 0 for none."""
    renderer = figure.canvas.get_renderer()  # type: ignore[attr-defined]
    widths = [0.0]
    for text in texts:
        mark = figure.text(0, 0, text, size=size, weight=weight)
        widths.append(mark.get_window_extent(renderer).width / figure.dpi)
        mark.remove()
    return max(widths)


def kind_of(path: Path) -> str:
    """Return the suffix that decides the format.

    Raises
    ------
    UserError
        If it is none of ``.png``, ``.svg`` and ``.pdf``.
    """
    suffix = path.suffix.lower()
    if suffix not in _METADATA:
        said = f"{path.name!r} ends in none of .png, .svg and .pdf, which say what kind of picture to make."
        raise UserError(Problem(said, meant=nearest(suffix, _METADATA) if suffix else ""))
    return suffix


def save(figure: Figure, path: Path | str) -> Path:
    """Write a picture, with the same bytes each time.

    Returns
    -------
    Path
        Where it was written.

    Raises
    ------
    UserError
        If the path's suffix is no kind of picture, or the file cannot be written.
    """
    path = Path(path)
    suffix = kind_of(path)
    try:
        figure.savefig(path, format=suffix[1:], metadata=_METADATA[suffix])
    except OSError as error:
        raise UserError(f"{path}: the picture could not be written: {error.strerror or error}.") from error
    return path


#: Matplotlib's arguments for a key: no box, lined up with what is above it.
KEY: dict[str, Any] = {
    "frameon": False,
    "handlelength": 3.2,
    "borderaxespad": 0,
    "borderpad": 0.2,
    "columnspacing": 1.6,
}
