"""The work order of a drill: its levels, what the customer noticed, and how a customer says so."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from lostgain.problems import UserError
from lostgain.teach.distortion import thd
from lostgain.teach.hidden import Hidden
from lostgain.teach.looking import Seen
from lostgain.unit.model import Unit

#: Below this share of the healthy level there is nothing, and this far from it is low, or loud [dB].
NOTHING_DB, OFF_DB = -40.0, 3.0
#: Rated impedance of loudspeakers, at most [ohm] (common practice, no source).
SPEAKER_OHMS = 16.0
#: A level at a low or a high frequency this far below what the middle one lost is missing bass or treble [dB].
BAND_DB = 4.0
#: DC at an output this far from healthy is heard as a thump [V].
THUMP = 0.5
#: Ripple so many times the healthy unit's, and at least this much, is heard as hum [V peak to peak].
HUM_TIMES, HUM_VOLTS = 4.0, 5e-3
#: Distortion above this, and so many times the healthy unit's, is heard.
HEARD, HEARD_TIMES = 0.02, 3.0
#: … unless there is so little left that nobody would speak of its sound [dB].
FAINT_DB = -20.0


@dataclass(frozen=True)
class Level:
    """A level of drills; ``levels.toml`` says what each key is for."""

    number: int
    title: str
    stage: bool = False
    good: bool = False
    alone: bool = False
    power: bool = True
    faults: int = 1
    condition: bool = False
    symptoms: tuple[str, ...] = ()


@cache
def levels() -> dict[int, Level]:
    """Return the levels by number."""
    rows = _file("levels.toml")
    return {
        int(number): Level(int(number), **{**row, "symptoms": tuple(row.get("symptoms", ()))})
        for number, row in rows.items()
    }


def level(number: int) -> Level:
    """Return a level.

    Raises
    ------
    UserError
        If there is none of that number.
    """
    known = levels()
    if number not in known:
        told = "; ".join(f"{each.number}: {each.title}" for each in known.values())
        raise UserError(f"there is no level {number}. {told}.")
    return known[number]


@cache
def _file(name: str) -> dict[str, Any]:
    return tomllib.loads(Path(__file__).with_name(name).read_text(encoding="utf-8"))


def titles(symptoms: tuple[str, ...]) -> str:
    """Return what the bench calls some symptoms."""
    rows = _file("orders.toml")
    return ", ".join(rows[each]["title"] for each in symptoms)


def drives_loudspeaker(unit: Unit) -> bool:
    """Tell whether a unit drives a loudspeaker, by its output stage or what hangs on its output."""
    load = unit.setup.load
    return unit.output_stage or load.speaker is not None or (load.ohms or np.inf) <= SPEAKER_OHMS


def words(hidden: Hidden, unit: Unit) -> tuple[str, ...]:
    """Return the work order in the customer's words, one sentence each.

    Parameters
    ----------
    hidden : Hidden
    unit : Unit
    """
    rng = np.random.default_rng([hidden.seed, 7])
    rows = _file("orders.toml")
    heard = "loudspeaker" if drives_loudspeaker(unit) else "line"
    said = [*hidden.symptoms, *([hidden.condition] if hidden.condition else [])]
    channel = f"the {hidden.channel} channel" if len(unit.channels) > 1 else "it"
    found = []
    for name in said:
        texts = [*rows[name].get("says", ()), *rows[name].get(heard, ())]
        text = str(texts[int(rng.integers(len(texts)))]).format(unit=unit.title, channel=channel)
        found.append(text[:1].upper() + text[1:])
    return tuple(found)


def symptoms(
    healthy: list[Seen], faulty: list[Seen], dc: tuple[float, float], ripple: tuple[float, float]
) -> tuple[str, ...]:
    """Return what a customer notices at the output, the most striking first.

    Parameters
    ----------
    healthy, faulty : list of Seen
        At the set-up's frequencies: middle, low, high.
    dc, ripple : (float, float)
        Healthy and faulty [V], [V peak to peak]; ripple NaN where it is not known.
    """
    off = [_decibels(sick.rms, well.rms) for sick, well in zip(faulty, healthy, strict=True)]
    found = []
    if abs(dc[1] - dc[0]) > THUMP:
        found.append("dc")
    if np.isfinite(ripple[1]) and ripple[1] > HUM_VOLTS and ripple[1] > HUM_TIMES * ripple[0]:
        found.append("hum")
    if off[0] < NOTHING_DB or faulty[0].nothing:  # the arrival's reading says nothing, too
        return (*found, "none")
    rough = (_roughness(faulty[0]), _roughness(healthy[0]))
    if off[0] > FAINT_DB and rough[0] > HEARD and rough[0] > HEARD_TIMES * rough[1]:
        found.append("distorted")
    if abs(off[0]) > OFF_DB:
        found.append("low" if off[0] < 0 else "loud")
    for index, name in ((1, "no-bass"), (2, "no-treble")):
        if len(off) > index and off[index] - max(off[0], -60.0) < -BAND_DB:
            found.append(name)
    return tuple(found)


def _decibels(one: float, other: float) -> float:
    return float(20 * np.log10(max(one, 1e-6) / max(other, 1e-6)))


def _roughness(seen: Seen) -> float:
    """Return the harmonics' share of a wave."""
    return thd(seen.wave) if seen.rms >= 1e-3 else 0.0
