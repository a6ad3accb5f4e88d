"""The catalogue, read from ``catalogue.toml``."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from lostgain.unit.kinds import kinds


@dataclass(frozen=True)
class Edit:
    """One change to the circuit.

    Parameters
    ----------
    do : str
        ``set``, ``times``, ``series``, ``across``, ``model``, ``inside``, ``add``, ``swap`` or ``conduct``; what each
        does is said at the head of the catalogue.
    pins : tuple of str
        The pins it concerns.
    ohms, to, by : float or None
        Fixed numbers; where they are missing, the severity takes their place.
    parameter : str
        Model parameter, for ``model``.
    fact : str
        Name under the device class's ``[faults]`` that says which element changes, for ``inside`` and ``add``.
    """

    do: str
    pins: tuple[str, ...] = ()
    ohms: float | None = None
    to: float | None = None
    by: float | None = None
    parameter: str = ""
    fact: str = ""


@dataclass(frozen=True)
class Mode:
    """A failure mode of some kinds of part.

    Parameters
    ----------
    kinds : tuple of str
        Kinds of part, or families of them.
    name : str
    also : tuple of str
        Other ways to type it.
    says : str
        A sentence with ``{part}``, ``{value}``, ``{now}`` and ``{severity}`` to fill in.
    severity : str
        Empty, or the unit of its severity: ``times``, ``share`` or ``ohm``.
    levels, weights : tuple of float
        The severities a table holds, and how likely each is among them.
    edits : tuple of Edit
    makers_affair : bool
        True where what a device then does depends on its maker.
    usual : float or None
        The severity that is meant where none is typed.
    """

    kinds: tuple[str, ...]
    name: str
    says: str
    also: tuple[str, ...] = ()
    severity: str = ""
    levels: tuple[float, ...] = ()
    weights: tuple[float, ...] = ()
    edits: tuple[Edit, ...] = ()
    makers_affair: bool = False
    usual: float | None = None


@cache
def catalogue() -> tuple[Mode, ...]:
    """Return every mode, in the order of the file."""
    text = files("lostgain.faults").joinpath("catalogue.toml").read_text(encoding="utf-8")
    return tuple(_mode(row) for row in tomllib.loads(text)["mode"])


@cache
def modes_for(kind: str) -> tuple[Mode, ...]:
    """Return the modes of a kind of part."""
    family = kinds()[kind].family
    return tuple(mode for mode in catalogue() if kind in mode.kinds or family in mode.kinds)


def _mode(row: dict) -> Mode:  # type: ignore[type-arg]
    return Mode(
        kinds=tuple(row["kinds"]),
        name=row["mode"],
        says=row["says"],
        also=tuple(row.get("also", ())),
        severity=row.get("severity", ""),
        levels=tuple(float(level) for level in row.get("levels", ())),
        weights=tuple(float(weight) for weight in row.get("weights", ())),
        edits=tuple(_edit(edit) for edit in row["edits"]),
        makers_affair=bool(row.get("makers_affair", False)),
        usual=row.get("usual"),
    )


def _edit(row: dict) -> Edit:  # type: ignore[type-arg]
    pins = tuple(row.get("pins", ())) or ((row["pin"],) if "pin" in row else ())
    return Edit(
        row["do"], pins, row.get("ohms"), row.get("to"), row.get("by"), row.get("parameter", ""), row.get("fact", "")
    )
