"""Netlist text from anybody: what may be run, and what is refused with its likely meaning."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from lostgain.engine.elements import checked
from lostgain.engine.includes import resolve_includes
from lostgain.engine.values import safe_name, safe_number

__all__ = ["refuse", "resolve_includes", "safe_name", "safe_number"]


def refuse(lines: Sequence[str], where: Path | None = None, *, title: bool = False) -> list[str]:
    """Raise for netlist text that may not be run, and return it cleaned.

    Parameters
    ----------
    lines : sequence of str
        Netlist text, one line of the file each.
    where : Path or None
        The file they come from, for messages.
    title : bool
        Whether the first line is a title, as in every complete netlist.

    Returns
    -------
    list of str
        The same circuit without comments, title, analyses and print lines, its continuation lines joined.

    Raises
    ------
    UserError
        With every mistake, its line number and its likely meaning.
    """
    return [line.text for line in checked(lines, where, title)]
