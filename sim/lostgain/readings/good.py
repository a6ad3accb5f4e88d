"""Which channel "same as good" compares with."""

from __future__ import annotations

from collections.abc import Sequence

from lostgain.problems import Problem
from lostgain.readings.model import Reading
from lostgain.readings.words import words

#: What is said of a channel that is taken as the good one without being named so.
TAKEN = "is taken as the good channel"


def good_channel(rows: Sequence[Reading], names: Sequence[str], good: str) -> tuple[str, list[Problem], str]:
    """Return the good channel, what is wrong with readings that compare with it, and a warning where it is a guess.

    Parameters
    ----------
    rows : sequence of Reading
    names : sequence of str
        The unit's channels.
    good : str
        What the file says; with two channels and nothing said, the one that is not compared.
    """
    compared = [row for row in rows if row.word and words()[row.word].comparison == "same"]
    if not compared:
        return good, [], ""
    first, warning = compared[0], ""
    if len(names) == 1:
        message = f"'{first.text}' needs a second channel to compare with, and this unit has one."
        return good, [Problem(message, row.where, "Write the value that was read.") for row in compared], ""
    if not good:
        others = [name for name in names if all(row.channel != name for row in compared)]
        line = "Put a line '# good channel: {}' at the top."
        if len(others) != 1 or len(names) > 2:
            both = " It is said of both." if len(names) == 2 else ""
            message = f"'{first.text}': which channel is the good one?{both}"
            return good, [Problem(message, first.where, line.format(names[0]))], ""
        good = others[0]
        warning = f"{first.where}: '{first.text}': {good} {TAKEN}, since nothing says which is. "
        warning += line.format(good)
    wrong = [row for row in compared if row.channel == good]
    message = "'{}': {} is the good channel itself."
    problems = [Problem(message.format(row.text, good), row.where, "Write the value that was read.") for row in wrong]
    return good, problems, warning
