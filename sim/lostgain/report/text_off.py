"""What a failure changes with the power off, for the terminal and for other programs."""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

from lostgain.quantities import show
from lostgain.readings.model import UNITS
from lostgain.report.text_layout import section, table, wrapped
from lostgain.signatures.poweroff_predict import OffChange

#: Readings shown, at most.
LINES = 12


def off_text(changes: Sequence[OffChange]) -> str:
    """Return the readings with the power off that a failure changes.

    Parameters
    ----------
    changes : sequence of OffChange
    """
    lines = section("With the power off")
    if not changes:
        return "\n".join([*lines, *wrapped("No reading across a part or from a test point changes.", "  ", "  ")])
    rows = []
    for each in changes[:LINES]:
        rows.append([_place(each), each.quantity, _shown(each.healthy, each), _shown(each.faulty, each)])
        if each.reversed is not None:
            rows.append(["  leads exchanged", "", *(_shown(value, each) for value in each.reversed)])
    lines += table(rows, "<<>>", ["Across", "", "Healthy", "Failed"])
    if len(changes) > LINES:
        lines += wrapped(f"and {len(changes) - LINES} more.", "  ", "  ")
    return "\n".join(lines)


def off_record(changes: Sequence[OffChange]) -> list[dict[str, Any]]:
    """Return the same as plain records; what is above the largest that an instrument shows is None."""

    def number(value: float, each: OffChange) -> float | None:
        return value if math.isfinite(value) and value <= each.largest else None

    return [
        {
            "quantity": each.quantity,
            "instrument": each.instrument,
            "point": each.point,
            "against": each.against or None,
            "lifted": each.lifted,
            "healthy": number(each.healthy, each),
            "faulty": number(each.faulty, each),
            "leads_exchanged": None if each.reversed is None else [number(value, each) for value in each.reversed],
        }
        for each in changes
    ]


def _place(each: OffChange) -> str:
    name = f"{each.point} to {each.against}" if each.against else each.point
    return f"{name} lifted" if each.lifted else name


def _shown(value: float, each: OffChange) -> str:
    if not math.isfinite(value):
        return "?"
    return "OL" if value > each.largest else show(value, UNITS[each.quantity])
