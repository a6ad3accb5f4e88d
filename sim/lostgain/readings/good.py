"""Which channel "same as good" compares with."""

from __future__ import annotations

from collections.abc import Sequence

from lostgain.problems import Problem
from lostgain.readings.model import Reading
from lostgain.readings.words import words


def good_channel(rows: Sequence[Reading], names: Sequence[str], good: str) -> tuple[str, list[Problem]]:
    """Return the good channel, and what is wrong with readings that compare with it.

    Parameters
    ----------
    rows : sequence of Reading
    names : sequence of str
        The unit's channels.
    good : str
        What the file says; with two channels and nothing said, the one that is not compared.
    """
    problems = []
    for row in rows:
        if not row.word or words()[row.word].comparison != "same":
            continue
        message, meant = "", "Write the value that was read."
        if len(names) == 1:
            message = f"'{row.text}' needs a second channel to compare with, and this unit has one."
        else:
            if not good and len(names) == 2:
                good = next(name for name in names if name != row.channel)
            if not good:
                message = f"'{row.text}': which channel is the good one?"
                meant = f"Put a line '# good channel: {names[0]}' at the top."
            elif row.channel == good:
                message = f"'{row.text}': {good} is the good channel itself."
        if message:
            problems.append(Problem(message, row.where, meant))
    return good, problems
