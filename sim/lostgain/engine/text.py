"""Netlist text, cleaned: comments gone, continuation lines joined, each line with the number it has in its file."""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass
from pathlib import Path

from lostgain.problems import Problem, Where

#: ngspice cuts lines at 4,095 characters in silence.
LONGEST_LINE = 4000

_COMMENT = re.compile(r";|//|(?:(?<=[\s,])|^)\$")
_CONTROL = re.compile(r"[\x00-\x08\x0b-\x1f\x7f]")
_PART = re.compile(r"[RCLVIDQMJX]\d+\w*\s+\S+\s+\S+\s+\S", re.IGNORECASE)


@dataclass(frozen=True)
class Line:
    """One line of a netlist, its continuations joined.

    Parameters
    ----------
    text : str
    number : int
        Of its first line in the file, from 1.
    """

    text: str
    number: int


def clean(lines: Sequence[str], where: Path | None, title: bool) -> tuple[list[Line], list[Problem]]:
    """Strip comments and join continuations, so that nothing in a comment ever reaches ngspice.

    ngspice runs what stands behind ``*#`` in a comment, and the whole file after ``*ng_script``.

    Parameters
    ----------
    lines : sequence of str
    where : Path or None
        For messages.
    title : bool
        Whether the first line is a title, as in every complete netlist.

    Returns
    -------
    list of Line, list of Problem
    """
    cleaned: list[Line] = []
    problems: list[Problem] = []

    def wrong(number: int, message: str, meant: str = "") -> None:
        problems.append(Problem(message, Where(where, number), meant))

    for number, raw in enumerate(lines, start=1):
        text = raw.rstrip("\r\n").expandtabs(1).strip()
        if text.lower().startswith("*ng_script"):
            wrong(
                number,
                "*ng_script makes ngspice run the file as commands, which a unit may not do.",
                "Delete the line.",
            )
            continue
        if text.startswith("*#"):
            wrong(number, "ngspice runs what follows *# as a command, which a unit may not do.", "Delete the line.")
            continue
        if number == 1 and title and text and text[0] not in "*.":
            if _PART.match(text):
                message = "The first line of a netlist is its title and is not simulated; this one reads like a part."
                wrong(number, message, "Put a title line above it, or a * in front if it is the title.")
            continue
        if "\n" in text or "\r" in text or _CONTROL.search(text):
            wrong(number, "There is a character here that no netlist can hold.", "Is this a text file?")
            continue
        comment = _COMMENT.search(text)
        text = (text[: comment.start()] if comment else text).strip()
        if not text or text.startswith("*"):
            continue
        if text.startswith("+"):
            if cleaned:
                cleaned[-1] = Line(f"{cleaned[-1].text} {text[1:].strip()}".strip(), cleaned[-1].number)
            else:
                wrong(number, "A line that starts with + continues the line above, and there is none.")
            continue
        cleaned.append(Line(text, number))
    for line in cleaned:
        if len(line.text) > LONGEST_LINE:
            wrong(
                line.number,
                f"The line is longer than {LONGEST_LINE} characters, where ngspice would cut it in silence.",
            )
    return cleaned, problems
