"""Names fit for a netlist."""

from __future__ import annotations

from lostgain.unit.model import Stage


def slug(name: str) -> str:
    """Return a name fit for a netlist: lower-case letters, digits and underscores."""
    return "".join(letter if letter.isascii() and letter.isalnum() else "_" for letter in name.lower()).strip("_")


def supply_path(number: int, stage: Stage) -> str:
    """Return the name of a supply stage's subcircuit; `number` counts from one, in the order of the unit file."""
    return f"p{number}_{slug(stage.name)}"
