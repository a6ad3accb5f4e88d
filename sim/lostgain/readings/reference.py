"""An intermittent unit while it works is its own good channel."""

from __future__ import annotations

from dataclasses import replace

from lostgain.problems import Problem, UserError, Where
from lostgain.readings.good import TAKEN
from lostgain.readings.model import SIGNS, WHOLE_UNIT, Reading, Readings
from lostgain.readings.taken import WORKING


def with_reference(faulty: Readings, working: Readings) -> Readings:
    """Return the readings of an intermittent unit's faulty state, with those of its working state as the good channel.

    What is read of the whole unit, and signs, are taken from the faulty state only. "Same as good" in the faulty state
    is then said of the working state. A second channel that is also known to be good stays an ordinary healthy one.

    Parameters
    ----------
    faulty, working : Readings
        The same channel of one unit, with the same set-up: the fault there, and gone.

    Returns
    -------
    Readings
        Rows of the working state carry the channel's name with " (working)" behind it; `good` is that name, which is
        none of the unit's channels.

    Raises
    ------
    UserError
        If a file says that it holds the other state, or if the readings are not all of one channel, the same in both.
    """
    for readings, state in ((faulty, "faulty"), (working, "working")):
        if readings.state not in ("", state):
            message = f"this file says that the unit was {readings.state}; readings while it was {state} are wanted."
            raise UserError(Problem(message, Where(readings.path)))
    channel = _only_channel(working, "working")
    if channel != (other := _only_channel(faulty, "faulty")):
        message = f"these readings of the working state are of {channel}, those of the faulty state of {other}."
        raise UserError(Problem(message, Where(working.path), "Both have to be of one channel."))
    if blind := next((row for row in working.rows if row.word == "same as good"), None):
        message = f"'{blind.text}': the working state is what the faulty one is compared with."
        raise UserError(Problem(message, blind.where, "Write the value that was read."))
    name = channel + WORKING
    good = [replace(row, channel=name) for row in working.rows if _of_a_channel(row)]
    return replace(
        faulty,
        rows=(*faulty.rows, *good),
        # Which of two channels is the good one no longer matters: the working state is.
        warnings=tuple(each for each in (*faulty.warnings, *working.warnings) if TAKEN not in each),
        unreachable=tuple(dict.fromkeys((*faulty.unreachable, *working.unreachable))),
        good=name,
        state="",
    )


def _of_a_channel(row: Reading) -> bool:
    return row.quantity not in (*WHOLE_UNIT, *SIGNS)


def _only_channel(readings: Readings, state: str) -> str:
    """Return the channel that all of one state's readings are of."""
    names = sorted({row.channel for row in readings.rows if _of_a_channel(row)})
    if len(names) != 1:
        said = f"are of {' and '.join(names)}" if names else "hold no level and no dc"
        message = f"the readings of the {state} state {said}; those of one channel are wanted."
        raise UserError(Problem(message, Where(readings.path)))
    return names[0]
