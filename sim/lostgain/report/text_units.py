"""The list of units, for the terminal."""

from __future__ import annotations

from collections.abc import Sequence

from lostgain.report.text_layout import joined, table, wrapped
from lostgain.unit.find import Found


def units_text(units: Sequence[Found]) -> str:
    """Return the units that could be opened, those shipped first.

    Parameters
    ----------
    units : sequence of Found
        From `find_units`.
    """
    blocks = []
    for title, shipped in (("Shipped with lostgain", True), ("In this folder", False)):
        rows = [(one.name, one.title or "(its unit file cannot be read: see lostgain check)") for one in units
                if one.shipped is shipped]  # fmt: skip
        if rows:
            blocks.append([title, *table(rows)])
        elif not shipped:
            blocks.append(wrapped("No folder here has a unit.toml."))
    return joined(blocks)
