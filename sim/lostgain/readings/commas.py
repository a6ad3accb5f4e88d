"""A decimal comma in a file whose cells end at commas: one number then stands in two cells."""

from __future__ import annotations

import re
from collections.abc import Mapping

from lostgain.readings.values import unit_of


def parted(cells: Mapping[str, str]) -> str:
    """Return the number that a decimal comma has parted, ``1,2 Vpp``; empty where none was.

    Parameters
    ----------
    cells : mapping
        A line's cells by column, in the order of the file.
    """
    columns = list(cells)
    place = columns.index("value") if "value" in columns else len(columns)
    if place + 1 >= len(columns):
        return ""
    whole, rest = cells["value"].strip(), cells[columns[place + 1]].strip()
    fraction = re.fullmatch(r"[0-9]+\s*(\D{1,8})", rest)
    if fraction and re.fullmatch(r"[<>~]?\s*[-+]?[0-9]+", whole) and unit_of(fraction[1]) is not None:
        return f"{whole},{rest}"
    return ""
