"""Signs that are seen and not measured: noise, oscillation, hum."""

from __future__ import annotations

import tomllib
from collections.abc import Mapping
from functools import cache
from importlib.resources import files

import numpy as np
from numpy.typing import NDArray

from lostgain.diagnosis.hypotheses import Hypotheses
from lostgain.readings.model import Reading
from lostgain.signatures import Table

SIGNS = ("noise", "oscillation", "hum")


@cache
def rates() -> Mapping[str, Mapping[str, float]]:
    """Return ``signs.toml``."""
    return tomllib.loads(files("lostgain.diagnosis").joinpath("signs.toml").read_text(encoding="utf-8"))


def sign_likelihood(table: Table, found: Hypotheses, reading: Reading, faulty: str) -> NDArray[np.float64]:
    """Return the logarithm of how likely a sign is: array, (hypothesis,).

    Parameters
    ----------
    table : Table
    found : Hypotheses
    reading : Reading
        With ``seen`` or ``not seen``.
    faulty : str
        The channel that holds the fault.
    """
    row = rates()[reading.quantity]
    each = np.array([row.get(fault.mode, row["other"]) for fault in found.suspects])
    chance = np.where(found.fault >= 0, each[found.fault], row["healthy"])
    chance = np.where(found.stray >= 0, row["other"], chance)
    if "unsettled" in row:
        unsettled = ~np.all(np.asarray(table.data.settled.values), axis=1)[found.row]
        chance = np.where(unsettled, np.maximum(chance, row["unsettled"]), chance)
    here = found.shared | (reading.channel in (faulty, ""))
    chance = np.where(here, chance, row["healthy"])
    return np.asarray(np.log(chance if reading.word == "seen" else 1 - chance))
