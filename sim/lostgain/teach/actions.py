"""What may be done in a drill: ``actions.toml``, and a typed line taken apart."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from lostgain.unit.kinds import kinds


@dataclass(frozen=True)
class Act:
    """Something that may be done; the file says what each key is for."""

    name: str
    says: str
    follows: str
    minutes: float
    power: str
    condition: bool = False


@cache
def _file() -> dict[str, Any]:
    return tomllib.loads(Path(__file__).with_name("actions.toml").read_text(encoding="utf-8"))


@cache
def acts() -> Mapping[str, Act]:
    """Return all that may be done, by the word it is typed with; readings are none of them."""
    return {name: Act(name, **row) for name, row in _file().items() if name != "price"}


def price(kind: str) -> float:
    """Return what a new part of a kind costs, in the shop's money."""
    prices: dict[str, float] = _file()["price"]
    family = kinds()[kind].family if kind in kinds() else kind
    return float(prices.get(kind, prices.get(family, prices["other"])))


def taken_apart(text: str) -> tuple[str, str]:
    """Return the act that a typed line names, empty for a reading, and what follows.

    Parameters
    ----------
    text : str
        ``lift R4``; ``sign off`` may be written with a blank.
    """
    plain = " ".join(text.split())
    if plain.casefold().replace(" ", "-") == "sign-off":
        return "sign-off", ""
    word, _, rest = plain.partition(" ")
    name = word.casefold()
    if name == "read":
        return "", rest
    return (name, rest) if name in acts() else ("", plain)
