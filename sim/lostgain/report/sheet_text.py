"""The bench sheet in the terminal: 80 columns of plain text, which reads as well in a pipe."""

from __future__ import annotations

import textwrap

from lostgain.bench.sheet_model import Picture, Row, Sheet, Step
from lostgain.report import sheet_cells as cells

#: Columns of a terminal.
WIDTH = 80
_GAP, _ROOM = "  ", 11
#: What a wave is drawn with, and in how many columns.
_BARS, _DRAWN = "▁▂▃▄▅▆▇█", 40


def render_text(sheet: Sheet) -> str:
    """Return the bench sheet as text, no line longer than 80 characters.

    Parameters
    ----------
    sheet : Sheet

    Returns
    -------
    str
        Ends with a line feed.
    """
    out = [*_wrap(cells.heading(sheet)), "=" * min(len(cells.heading(sheet)), WIDTH)]
    out += [*_wrap(cells.subtitle(sheet)), ""]
    label = max(len(name) for name, _ in sheet.setup) + 2
    for name, text in sheet.setup:
        out += _wrap(text, first=f"{name:<{label}}", rest=" " * label)
    out += ["", "Cautions", "--------"]
    for caution in sheet.cautions:
        out += _wrap(f"{cells.caution_lead(caution)} {caution.text}", first="! ", rest="  ")
    for number, step in enumerate(sheet.steps, 1):
        out += ["", *_step(number, step, sheet.channels)]
    if sheet.out_of_reach:
        out += ["", "Out of reach", "------------"]
        for point in sheet.out_of_reach:
            out += _wrap(cells.out_of_reach(point), first="- ", rest="  ")
    out.append("")
    for note in sheet.notes:
        out += _wrap(note)
    out += _wrap(f"All steps: about {cells.minutes(sheet.minutes)}. {cells.closing(sheet)}.")
    return "\n".join(line.rstrip() for line in out) + "\n"


def _wrap(text: str, first: str = "", rest: str = "") -> list[str]:
    return textwrap.wrap(text, WIDTH, initial_indent=first, subsequent_indent=rest, break_long_words=True)


def _step(number: int, step: Step, channels: tuple[str, ...]) -> list[str]:
    title = f"{cells.step_title(number, step)} ({cells.effort(step)})"
    out = [*_wrap(title), "-" * min(len(title), WIDTH)]
    for text in step.before:
        out += _wrap(text)
    for row in step.rows:
        out += ["", *_row(row, channels)]
    if step.after:
        out.append("")
    for text in step.after:
        out += _wrap(text)
    return out


def _row(row: Row, channels: tuple[str, ...]) -> list[str]:
    """One place: its name in every channel, and for everything to read there a line with room for the readings."""
    out = _wrap(f"{_names(row, channels)}  ({cells.row_note(row)})", rest="    ")
    shared = len(row.names) == 1
    room = ["_" * _ROOM] * (1 if shared else len(channels))
    lines = cells.lines(row)
    label = max(len(each) for each in ("picture", *(line.what for line in lines if line.what != "check"))) + 1
    for line in lines:
        if line.what == "check":
            text = line.healthy
        else:
            text = f"{line.what:<{label}}{line.healthy:<14}{line.healthy_pp:<11}{line.range}"
        out += _with_room(text, room if shared or len(channels) == 1 else _labelled(room, channels))
    if row.picture:
        out.append(f"{_GAP}{'picture':<{label}}{_wave(row.picture)}  {cells.picture_scale(row.picture)}")
    return out


def _wave(picture: Picture) -> str:
    """Draw the picture in one line, from its lowest to its highest point."""
    up = [y for _, y in picture.trace]
    low, high = min(up), max(up)
    steps = len(_BARS) - 1
    drawn = [up[round((number + 0.5) / _DRAWN * (len(up) - 1))] for number in range(_DRAWN)]
    return "".join(_BARS[round((value - low) / (high - low) * steps)] for value in drawn)


def _with_room(text: str, room: list[str]) -> list[str]:
    """Put the room for the readings behind a text, or below it where they do not fit in one line."""
    blanks = "  ".join(room)
    if len(_GAP + text) + 2 + len(blanks) <= WIDTH:
        return [_GAP + text + blanks.rjust(WIDTH - len(_GAP) - len(text))]
    return [*_wrap(text, first=_GAP, rest=_GAP), *_wrap(blanks, first=_GAP + " " * 8, rest=_GAP + " " * 8)]


def _labelled(room: list[str], channels: tuple[str, ...]) -> list[str]:
    """Say which blank is whose: by the channel's first letter or number that tells it from the others."""
    labels = cells.short_names(channels)
    return [f"{label} {blank[len(label) + 1 :]}" for label, blank in zip(labels, room, strict=True)]


def _names(row: Row, channels: tuple[str, ...]) -> str:
    if len(row.names) == 1:
        return row.names[0]
    return "   ".join(f"{channel}: {name}" for channel, name in zip(channels, row.names, strict=True))
