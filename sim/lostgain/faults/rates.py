"""How often each kind of part fails, and in which mode: the prior of a diagnosis, from ``rates.toml``."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files

from lostgain.faults.catalogue import modes_for
from lostgain.problems import UserError, nearest
from lostgain.unit.kinds import kinds


@dataclass(frozen=True)
class Rates:
    """A named set of rates.

    Parameters
    ----------
    name, title, source : str
    per_part : mapping
        Kind or family to failures of a part of it, relative to a film resistor's.
    modes : mapping
        Kind or family to shares of its modes.
    other : float
        Share of a mode that is not listed.
    """

    name: str
    title: str
    source: str
    per_part: Mapping[str, float]
    modes: Mapping[str, Mapping[str, float]]
    other: float

    def of_kind(self, kind: str) -> float:
        """Return how often a part of this kind fails, relative to a film resistor."""
        family = "cluster" if kind == "cluster" else kinds()[kind].family
        return self.per_part.get(kind, self.per_part.get(family, 1.0))

    def of_cluster(self, mode: str) -> float:
        """Return how often parts fail together in this way, relative to a film resistor's failures."""
        return self.modes.get("cluster", {}).get(mode, self.per_part["cluster"])

    def of_mode(self, kind: str, mode: str) -> float:
        """Return the share of a mode among the failures of a kind; shares of a kind add up to one."""
        shares = self.modes.get(kind) or self.modes.get(kinds()[kind].family) or {}
        listed = {each.name: shares.get(each.name, self.other) for each in modes_for(kind)}
        return listed[mode] / sum(listed.values())


@cache
def rates(name: str = "bench") -> Rates:
    """Return a set of rates.

    Parameters
    ----------
    name : str
        ``bench`` or ``handbook``, or another table of ``rates.toml``.

    Raises
    ------
    UserError
        If there is no set of that name.
    """
    data = tomllib.loads(files("lostgain.faults").joinpath("rates.toml").read_text(encoding="utf-8"))
    if name not in data:
        raise UserError(f"there is no set of failure rates called '{name}'. {nearest(name, data)}")
    row = data[name]
    modes = {key: value for key, value in row.items() if isinstance(value, dict) and key != "per_part"}
    return Rates(name, row["title"], row["source"], row["per_part"], modes, row["other"])
