"""The stated process, read from ``process.toml``."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

FILE = Path(__file__).with_name("process.toml")


@cache
def process() -> Mapping[str, Any]:
    """Return the stated process."""
    return tomllib.loads(FILE.read_text(encoding="utf-8"))


def between(rng: np.random.Generator, ends: list[float]) -> float:
    """Draw evenly on a logarithmic scale between two ends; evenly on a linear one if the lower is zero."""
    low, high = ends
    return float(rng.uniform(low, high) if low == 0 else np.exp(rng.uniform(np.log(low), np.log(high))))


def aside(rng: np.random.Generator, ends: list[float]) -> float:
    """Draw a factor between two ends above one, or its reciprocal, with equal chance."""
    factor = between(rng, ends)
    return factor if rng.random() < 0.5 else 1 / factor


def normal(rng: np.random.Generator) -> float:
    """Draw a standard normal deviate, cut where tolerances are."""
    cut = float(process()["tolerances"]["cut"])
    while abs(z := rng.standard_normal()) > cut:
        pass
    return float(z)
