"""The facts of ``moves.toml``: what a technician may do next, its minutes and its risk."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from importlib.resources import files
from typing import Any


@dataclass(frozen=True)
class MoveKind:
    """A move; the file says what each key is for."""

    name: str
    title: str
    says: str
    of: str
    minutes: float
    finds: float
    misleads: float
    power: str
    risk: str
    kinds: tuple[str, ...] = ()
    modes: tuple[str, ...] = ()


@dataclass(frozen=True)
class ReadingTimes:
    """Minutes of a reading with the probe in place, and of one of the whole unit; what reads DC."""

    stay: float
    switch: float
    current: float
    current_risk: str
    watts: float
    dc_instrument: str


@dataclass(frozen=True)
class PowerOffTimes:
    """Minutes of readings with the power off, and of switching between them and others."""

    enter: float
    each: float
    back: float
    risk: str


@dataclass(frozen=True)
class StopRule:
    """When another reading is not worth taking."""

    sure: float
    idle_bits: float
    idle_right: float
    alike: float


@dataclass(frozen=True)
class Facts:
    """All of the file."""

    reading: ReadingTimes
    stop: StopRule
    power_off: PowerOffTimes
    moves: Mapping[str, MoveKind]


@cache
def facts() -> Facts:
    """Return the moves as shipped."""
    data = tomllib.loads(files("lostgain.diagnosis").joinpath("moves.toml").read_text(encoding="utf-8"))
    reading, stop = ReadingTimes(**data.pop("reading")), StopRule(**data.pop("stop"))
    power_off = PowerOffTimes(**data.pop("power-off"))
    return Facts(reading, stop, power_off, {name: _move(name, row) for name, row in data.items()})


def _move(name: str, row: dict[str, Any]) -> MoveKind:
    lists = {key: tuple(row.get(key, ())) for key in ("kinds", "modes")}
    return MoveKind(name=name, **{**row, **lists})
