"""What a work order tells besides the symptom, as `lostgain.diagnosis` takes it."""

from __future__ import annotations

from collections.abc import Iterable

from lostgain.diagnosis.knowledge import Knowledge
from lostgain.teach.hidden import Hidden
from lostgain.teach.order import level


def told_stage(hidden: Hidden) -> str:
    """Return the stage that the order names; empty where it names none."""
    return hidden.faults[0].stage if level(hidden.level).stage else ""


def known_from(hidden: Hidden, new: Iterable[str] = ()) -> Knowledge:
    """Return what is known before anything is read.

    Parameters
    ----------
    hidden : Hidden
    new : iterable of str
        Parts that were changed since, as their board calls them.
    """
    return Knowledge(new=tuple(sorted(new)), stage=told_stage(hidden))


def may_be_live(hidden: Hidden) -> bool:
    """Tell whether the unit may be switched on."""
    return level(hidden.level).power
