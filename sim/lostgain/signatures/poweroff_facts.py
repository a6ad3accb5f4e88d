"""What is stated of a unit with the power off: ``poweroff.toml``, and a unit's own file over it."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache
from importlib.resources import files

from lostgain import quantities
from lostgain.problems import nearest
from lostgain.signatures.poweroff_esr import SERIES
from lostgain.unit.model import Unit
from lostgain.unit.source import Source, Table, own_source

#: A unit's own file, in its folder.
OWN_FILE = "poweroff.toml"


@dataclass(frozen=True)
class Facts:
    """What is stated of a unit with the power off; ``poweroff.toml`` says what each is for. SI units.

    Parameters
    ----------
    generator, load : bool
        Whether they are connected.
    rail_ohms, rail_times, stand_in_ohms, stand_in_times : float
    relay_closed, mute_closed : bool
    chip_supply, chip_pins : str
        Diode models.
    leak_seconds, leak_times : float
    disagree, predicted : float
    rails : mapping
        Rail name to what lies between it and ground [ohm], where the unit says so.
    esr : mapping
        Designator to what a good one of its make reads [ohm].
    series : mapping
        Designator to the series of the ESR table.
    """

    generator: bool
    load: bool
    rail_ohms: float
    rail_times: float
    stand_in_ohms: float
    stand_in_times: float
    relay_closed: bool
    mute_closed: bool
    chip_supply: str
    chip_pins: str
    leak_seconds: float
    leak_times: float
    disagree: float
    predicted: float
    rails: Mapping[str, float] = field(default_factory=dict)
    esr: Mapping[str, float] = field(default_factory=dict)
    series: Mapping[str, str] = field(default_factory=dict)


def facts(unit: Unit) -> Facts:
    """Return what is stated of a unit with the power off.

    Parameters
    ----------
    unit : Unit
        A file ``poweroff.toml`` in its folder may say otherwise what differs from unit to unit: ``[load]``
        (``connected``), ``[rails]`` (ohms to ground by rail), ``[esr]`` (ohms by designator, as read on a good one of
        the same make) and ``[series]`` (of the ESR table, by designator).

    Raises
    ------
    UserError
        With every mistake in that file.
    """
    found = dict(_shipped())
    own = own_source(unit.folder, OWN_FILE)
    if own is not None:
        found |= _own(own, unit)
    return Facts(**found)  # type: ignore[arg-type]


@cache
def _shipped() -> Mapping[str, object]:
    rows = tomllib.loads(files("lostgain.signatures").joinpath("poweroff.toml").read_text(encoding="utf-8"))
    return {
        "generator": rows["generator"]["connected"], "load": rows["load"]["connected"],
        "rail_ohms": rows["rail"]["ohms"], "rail_times": rows["rail"]["times"],
        "stand_in_ohms": rows["stand-in"]["ohms"], "stand_in_times": rows["stand-in"]["times"],
        "relay_closed": rows["relay"]["closed"], "mute_closed": rows["mute"]["closed"],
        "chip_supply": rows["chip"]["supply"], "chip_pins": rows["chip"]["pins"],
        **rows["electrolytic"], **rows["doubt"],
    }  # fmt: skip


def _own(source: Source, unit: Unit) -> dict[str, object]:
    top = Table(source, (), "the file", source.data)
    load = top.table("load", "[load]")
    connected = load.flag("connected", bool(_shipped()["load"]))
    load.finish()
    capacitors = [name for name, part in unit.parts.items() if part.kind in ("electrolytic", "tantalum")]
    found: dict[str, object] = {
        "load": connected,
        "rails": _ohms(top.table("rails", "[rails]"), [rail.name for rail in unit.rails], "rail"),
        "esr": _ohms(top.table("esr", "[esr]"), capacitors, "electrolytic or tantalum"),
        "series": _series(top.table("series", "[series]"), capacitors),
    }
    top.finish()
    source.settle()
    return found


def _ohms(table: Table, names: list[str], what: str) -> dict[str, float]:
    """Read resistances by name."""
    found = {}
    for key in table.data:
        text = table.text(key)
        if key.upper() not in names:
            table.wrong(key, f"“{key}” is no {what} of this unit.", nearest(key.upper(), names))
            continue
        try:
            ohms = quantities.component(text, "ohm")
        except ValueError as error:
            table.wrong(key, f"{key}: {error}")
            continue
        if ohms <= 0:
            table.wrong(key, f"{key} = “{text}” should be above zero, for example “4k7”.")
        found[key.upper()] = ohms
    return found


def _series(table: Table, names: list[str]) -> dict[str, str]:
    found = {}
    for key in table.data:
        text = table.text(key)
        if key.upper() not in names:
            table.wrong(key, f"“{key}” is no electrolytic or tantalum of this unit.", nearest(key.upper(), names))
        elif text not in SERIES:
            table.wrong(key, f"{key}: there is no series “{text}” in the ESR table.", nearest(text, SERIES))
        found[key.upper()] = text
    return found
