"""The cautions of a unit: the usual wording, with the figures computed."""

from __future__ import annotations

import math
import tomllib
from collections.abc import Iterator
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from lostgain.quantities import show
from lostgain.unit import library
from lostgain.unit.branches import on_output, output_stages
from lostgain.unit.facts import Unloaded
from lostgain.unit.model import Unit
from lostgain.unit.summary import value_shown

#: A reservoir counts as empty at this voltage [V] (common practice, no source).
SAFE_VOLTS = 1.0
#: A discharging resistor is chosen so that it starts at about this current [A] (common practice, no source).
DISCHARGE_AMPS = 0.2
#: Rails above this voltage [V] are high tension here. Touch-safe limits differ with code and place: common practice, no
#: source; the cautions defer to local codes.
HIGH_TENSION = 60.0
_E3 = (1.0, 2.2, 4.7, 10.0)


@dataclass(frozen=True)
class Caution:
    """What to mind before a step at the bench.

    Parameters
    ----------
    topic : str
        ``Stored energy``
    text : str
        One to four sentences, figures included.
    when : str
        ``before`` (anything is opened), ``off`` (power off), ``limiter`` (first power-up, no load) or ``signal``.
    severity : str
        ``danger`` (to people), ``damage`` (to the unit, a loudspeaker or an instrument) or ``note``.
    """

    topic: str
    text: str
    when: str
    severity: str


def stored_energy(capacitance: float, volts: float) -> float:
    """Return the energy in a charged capacitor, ½CV² [1]_.

    Parameters
    ----------
    capacitance : float
        [F]
    volts : float
        [V]

    Returns
    -------
    float
        [J]

    References
    ----------
    .. [1] P. Horowitz and W. Hill, *The Art of Electronics*, 3rd ed., section 1.4, on capacitors.
    """
    return 0.5 * capacitance * volts**2


def discharge_time(capacitance: float, resistance: float, volts: float, safe: float = SAFE_VOLTS) -> float:
    """Return the time a resistor takes to discharge a capacitor, RC ln(V/V1) [1]_.

    Parameters
    ----------
    capacitance : float
        [F]
    resistance : float
        Across it [ohm].
    volts, safe : float
        At the start and at the end [V]; the sign of `volts` does not matter.

    Returns
    -------
    float
        [s]; 0 where `volts` is not above `safe`.

    References
    ----------
    .. [1] P. Horowitz and W. Hill, *The Art of Electronics*, 3rd ed., section 1.4.2, on RC circuits.
    """
    return resistance * capacitance * math.log(max(abs(volts) / safe, 1.0))


def load_watts(level: float, resistance: float) -> float:
    """Return the power in a load, V²/R.

    Parameters
    ----------
    level : float
        [V rms]
    resistance : float
        [ohm]

    Returns
    -------
    float
        [W]
    """
    return level**2 / resistance


def cautions(unit: Unit, output_level: float | None = None) -> list[Caution]:
    """Return the cautions that hold for a unit, in the order in which a bench works.

    Parameters
    ----------
    unit : Unit
    output_level : float or None
        Highest healthy level across the load at the set-up's drive [V rms], from a simulation; None where it is not
        known yet, and then the watts in the dummy load are left open.

    Returns
    -------
    list of Caution
    """
    return [*_always(unit), *_power_off(unit), *_powering_up(unit), *_with_signal(unit, output_level)]


@cache
def _wording() -> dict[str, dict[str, Any]]:
    return tomllib.loads(Path(__file__).with_name("cautions.toml").read_text(encoding="utf-8"))


def _caution(name: str, text: str | None = None, **figures: str) -> Caution:
    """Fill in one caution of the wording; `text` stands in for its own."""
    row = _wording()[name]
    wording = row["text"] if text is None else text
    return Caution(row["topic"], wording.format(**figures), row["when"], row["severity"])


def _always(unit: Unit) -> Iterator[Caution]:
    if unit.mains:
        yield _caution("mains")
    if not unit.isolated:
        yield _caution("referenced")
    else:
        yield _caution("earth")
    highest = max((abs(rail.volts) for rail in unit.rails), default=0.0)
    if highest > HIGH_TENSION:
        yield _caution("high_tension", volts=show(highest, "V"))
    if any(part.kind in ("triode", "pentode") for part in unit.parts.values()):
        yield _caution("valves")
    for text in unit.cautions:
        row = _wording()["own"]
        yield Caution(row["topic"], text, row["when"], row["severity"])
    yield _caution("local")


def _power_off(unit: Unit) -> Iterator[Caution]:
    alike: dict[tuple[float, float, float | None], list[str]] = {}
    for one in unit.reservoirs:
        alike.setdefault((one.capacitance, abs(one.volts), one.bleeder), []).append(one.designator)
    for (farads, volts, bleeder), names in alike.items():
        yield _stored(names, farads, volts, bleeder)
    if unit.reservoirs or unit.mains:
        yield _caution("meters")
    fuses = [part for part in unit.parts.values() if part.kind == "fuse"]
    if fuses or unit.mains:
        known = ", ".join(f"{fuse.designator} {value_shown(fuse)}".strip() for fuse in fuses)
        yield _caution("fuses", known=f" ({known})" if known else "")


def _stored(names: list[str], farads: float, volts: float, bleeder: float | None) -> Caution:
    """The caution of reservoirs that are alike."""
    row = _wording()["stored"]
    safe = show(SAFE_VOLTS, "V")
    drained = row["no_bleeder"]
    if bleeder:
        time = show_time(discharge_time(farads, bleeder, volts))
        drained = row["bleeder"].format(ohms=show(bleeder, "ohm"), safe=safe, time=time)
    ohms = discharging_resistor(volts)
    return _caution(
        "stored",
        parts=" and ".join(names) + (", each" if len(names) > 1 else ""),
        capacitance=show(farads, "farad"),
        volts=show(volts, "V"),
        energy=show(stored_energy(farads, volts), "J"),
        bleeder=drained,
        ohms=show(ohms, "ohm"),
        watts=show(5.0 if load_watts(volts, ohms) <= 25 else 10.0, "W"),
        discharge=show_time(discharge_time(farads, ohms, volts)),
        safe=safe,
    )


def discharging_resistor(volts: float) -> float:
    """Return a resistor to discharge a reservoir with [ohm], for its voltage [V]: an E3 value, some 0.2 A at the start.

    Common practice, no source.
    """
    wanted = max(abs(volts) / DISCHARGE_AMPS, 10.0)
    decade = 10.0 ** math.floor(math.log10(wanted))
    return next(decade * step for step in _E3 if decade * step >= wanted * (1 - 1e-9))


def show_time(seconds: float) -> str:
    """Return a time as one says it: ``0.8 s``, ``34 s``, ``3 min``, ``2 h``; rounded up, since it is waited for."""
    if seconds < 10:
        return f"{math.ceil(seconds * 10) / 10:.1f} s"
    if seconds < 120:
        return f"{math.ceil(seconds)} s"
    if seconds < 7200:
        return f"{math.ceil(seconds / 60)} min"
    return f"{math.ceil(seconds / 3600)} h"


def _powering_up(unit: Unit) -> Iterator[Caution]:
    for _, stage, unloaded in _on_outputs(unit):
        if not unloaded.allowed:
            yield _caution("loaded", stage=stage, says=unloaded.says)
    if not unit.output_stage:
        return
    if unit.mains:
        yield _caution("limiter_loaded" if never_open(unit) else "limiter")
    if never_open(unit):
        return  # no DC comes through an output transformer
    worst = ""
    ohms = unit.setup.load.ohms
    if unit.rails and ohms:
        volts = max(abs(rail.volts) for rail in unit.rails) * (2 if _bridged(unit) else 1)
        watts = show(load_watts(volts, ohms), "W", 2)
        worst = f": {show(volts, 'V')} across {show(ohms, 'ohm')} is {watts}"
    yield _caution("loudspeaker", worst=worst)


def _on_outputs(unit: Unit) -> Iterator[tuple[str, str, Unloaded]]:
    """The outputs, by their last stage, with each stage to which it matters that they are open, and what it means."""
    for output in output_stages(unit.stages) if unit.netlist is None else ():
        for stage, unloaded in on_output(unit.stages, output):
            yield output, stage, unloaded


def never_open(unit: Unit) -> bool:
    """Say whether some output may not be left open, not even at first power-up."""
    return any(not unloaded.allowed for _, _, unloaded in _on_outputs(unit))


def _bridged(unit: Unit) -> bool:
    """Whether a load hangs between two outputs, by the unit file or by a stage of the library."""
    return unit.bridged or any(
        stage.source == "library" and bool(library.stage(stage.library).cold) for stage in unit.stages
    )


def _with_signal(unit: Unit, level: float | None) -> Iterator[Caution]:
    setup, row = unit.setup, _wording()["dummy"]
    if _bridged(unit):
        yield _caution("bridged")
    for output, stage, unloaded in _on_outputs(unit):
        if unloaded.allowed and setup.loads.get(output, setup.load).is_open:
            yield _caution("open_output", stage=stage, says=unloaded.says)
    ohms = setup.load.ohms
    if not ohms or not (unit.output_stage or setup.load_rating):
        return
    figures = {"ohms": show(ohms, "ohm")}
    rating = setup.load_rating
    if rating:
        figures |= {"rating": show(rating, "W"), "limit": show(math.sqrt(rating * ohms), "V")}
    if level is None or math.isnan(level):
        text = row["unsimulated"] if rating else row["unknown"]
    else:
        watts = load_watts(level, ohms)
        figures |= {"level": show(level, "V"), "watts": show(watts, "W", 2)}
        text = row["unrated"]
        if rating:
            figures["share"] = show(watts / rating, "%", 2)
            text = row["known"] if watts <= rating else row["over"]
        if (loudest := max(setup.levels, default=0.0)) > setup.generator:
            most = watts * (loudest / setup.generator) ** 2  # what clips takes less
            figures |= {"loudest": show(loudest, "V rms"), "most": show(most, "W", 2)}
            text += f" {row['louder_over' if rating and most > rating else 'louder']}"
    text = f"{text} {row['loud' if setup.load.speaker else 'hot']}"
    yield _caution("dummy", f"{text} {row['shares']}" if len(unit.channels) > 1 else text, **figures)
