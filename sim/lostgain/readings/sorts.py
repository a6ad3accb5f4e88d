"""What is given in the place of a readings file, and is none."""

from __future__ import annotations

from pathlib import Path

from lostgain.problems import Problem, UserError, Where
from lostgain.unit.find import find_units
from lostgain.unit.sorts import READINGS, sort_of


def refuse_another_sort(path: Path) -> None:
    """Refuse a unit, or a folder, in the place of a readings file, as what it is.

    Raises
    ------
    UserError
    """
    sort = sort_of(path)
    if not sort and not _exists(path) and path.name in {unit.name for unit in find_units()}:
        sort = "the name of a unit"
    if sort not in ("", READINGS):
        message = f"this is {sort}; a readings file (CSV) is wanted here."
        raise UserError(Problem(message, Where(path), "The unit comes first: lostgain match UNIT READINGS."))


def _exists(path: Path) -> bool:
    """Return whether there is something of that name; what can be no name at all is left to the reader to say."""
    try:
        return path.exists()
    except (OSError, ValueError):
        return True
