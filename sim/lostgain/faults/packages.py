"""Parts in one housing that lose together what they share: a chip's supply pin, a bottle's heater."""

from __future__ import annotations

import re
import tomllib
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from lostgain.faults.model import Fault
from lostgain.unit.model import Part, Unit

_SECTION = re.compile(r"(.*\d)[A-Z]", re.IGNORECASE)


@dataclass(frozen=True)
class Package:
    """What parts in one housing lose together.

    Parameters
    ----------
    kinds : tuple of str
        Kinds of part.
    mode : str
        The fault's mode.
    member : str
        The mode of the catalogue that all of them then have.
    says : str
        What is wrong, for people.
    alone : bool
        False where none of them can have that mode by itself.
    """

    kinds: tuple[str, ...]
    mode: str
    member: str
    says: str
    alone: bool


@cache
def packages() -> tuple[Package, ...]:
    """Return what is known of housings, in the order of ``packages.toml``."""
    text = files("lostgain.faults").joinpath("packages.toml").read_text(encoding="utf-8")
    rows = tomllib.loads(text)["package"]
    return tuple(
        Package(tuple(row["kinds"]), row["mode"], row["member"], row["says"], bool(row["alone"])) for row in rows
    )


def together(unit: Unit) -> list[Fault]:
    """Return the faults that parts in one housing have together; the first of them gives its name."""
    found = []
    for package in packages():
        housings: dict[str, list[Part]] = {}
        for part in unit.parts.values():
            section = _SECTION.fullmatch(part.designator)
            if section and part.kind in package.kinds:
                housings.setdefault(section[1].upper(), []).append(part)
        for parts in housings.values():
            if len(parts) > 1:
                members = tuple(Fault(part.designator, package.member, stage=part.stage) for part in parts)
                found.append(Fault(parts[0].designator, package.mode, None, parts[0].stage, members))
    return found


def never_alone(unit: Unit) -> set[tuple[str, str]]:
    """Return the parts and modes that no part has by itself, because it shares the pin with others."""
    by_mode = {package.mode for package in packages() if not package.alone}
    return {(member.part, member.mode) for fault in together(unit) if fault.mode in by_mode for member in fault.members}


def said(mode: str) -> str:
    """Return what a fault of a housing is, for people; empty if none is called that."""
    return next((package.says for package in packages() if package.mode == mode), "")
