"""The kinds of part, read from ``kinds.toml``."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path


@dataclass(frozen=True)
class Kind:
    """A kind of part.

    Parameters
    ----------
    name : str
        ``electrolytic``
    family : str
        What a stage's role may ask for instead: ``capacitor``.
    unit : str
        ``ohm``, ``farad``, ``henry``, ``ampere``, ``volt``, ``turns``; empty for a kind without a value.
    tolerance : (float, float)
        Default tolerance as fractions.
    pins : tuple of str
        In netlist order.
    usual : (float, float) or None
        Smallest and largest value that is not doubted [ohm, F, H, A, V, turns].
    device : bool
        Whether a part of it always needs its device class.
    subckt : bool
        Whether its element in a library stage is a subcircuit.
    """

    name: str
    family: str
    unit: str
    tolerance: tuple[float, float]
    pins: tuple[str, ...]
    usual: tuple[float, float] | None = None
    device: bool = False
    subckt: bool = False


@cache
def kinds() -> dict[str, Kind]:
    """Return every kind of part by name."""
    rows = tomllib.loads(Path(__file__).with_name("kinds.toml").read_text(encoding="utf-8"))
    found = {}
    for name, row in rows.items():
        low, high = row.get("tolerance", (0.0, 0.0))
        least, most = row.get("usual", (None, None))
        usual = None if least is None else (float(least), float(most))
        pins = tuple(row["pins"])
        device, subckt = bool(row.get("device")), bool(row.get("subckt"))
        tolerance = (float(low), float(high))
        found[name] = Kind(name, row["family"], row.get("unit", ""), tolerance, pins, usual, device, subckt)
    return found


@cache
def of_family(name: str) -> tuple[Kind, ...]:
    """Return the kinds a role may be filled with: the kind of that name, or every kind of the family of that name."""
    if name in kinds() and kinds()[name].family != name:
        return (kinds()[name],)
    return tuple(kind for kind in kinds().values() if name in (kind.family, kind.name))


@cache
def families() -> frozenset[str]:
    """Return the names of the families."""
    return frozenset(kind.family for kind in kinds().values())


def capacitor_kind(value: float | None) -> str:
    """Return the kind a capacitor of that value [F] is where nothing is said (common practice, no source)."""
    if value is None or value >= 0.999e-6:
        return "electrolytic"
    return "film" if value >= 0.999e-9 else "ceramic"
