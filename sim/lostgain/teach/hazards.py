"""Acts that endanger people or equipment, each with the reason why it stops a drill."""

from __future__ import annotations

import tomllib
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

from lostgain.quantities import show
from lostgain.readings.model import UNPOWERED, Instrument, Reading
from lostgain.teach.hidden import Bench
from lostgain.unit.branches import on_output, output_stages
from lostgain.unit.load import Load
from lostgain.unit.model import Unit

#: DC at an output above which no loudspeaker may hang on it [V] (common practice, no source).
SPEAKER_VOLTS = 0.5


@dataclass(frozen=True)
class Hazard:
    """An unsafe act.

    Parameters
    ----------
    name, title : str
    danger : str
        ``people`` or ``equipment``.
    says : str
        The reason.
    """

    name: str
    title: str
    danger: str
    says: str


@cache
def _file() -> dict[str, Any]:
    return tomllib.loads(Path(__file__).with_name("hazards.toml").read_text(encoding="utf-8"))


def hazard(name: str, **figures: str) -> Hazard:
    """Return a hazard with its figures filled in."""
    row = _file()[name]
    return Hazard(name, row["title"], row["danger"], row["says"].format(**figures))


def title(name: str) -> str:
    """Return what a hazard is called for people."""
    row = _file().get(name, {})
    return str(row.get("title", name))


def names() -> tuple[str, ...]:
    """Return all hazards' names."""
    return tuple(_file())


def of_reading(bench: Bench, reading: Reading, instrument: Instrument) -> Hazard | None:
    """Return what is unsafe about a reading; None for a safe one."""
    if reading.quantity in UNPOWERED:
        return None if safe_inside(bench) else hazard("live-ohms")
    if instrument.earthed and reading.against and bench.power:
        return hazard("earthed-clip")
    return None


def of_handling(bench: Bench) -> Hazard | None:
    """Return what is unsafe about hands and tools on the parts; None where the unit is off and empty."""
    if bench.power:
        return hazard("live-part")
    return None if bench.discharged else hazard("charged-part")


def safe_inside(bench: Bench) -> bool:
    """Tell whether the power is off and the reservoirs were measured empty."""
    return not bench.power and bench.discharged


def of_power_on(unit: Unit, bench: Bench, load: Load, volts: float | None) -> Hazard | None:
    """Return what is unsafe about a unit with its power on, as the bench stands.

    Parameters
    ----------
    unit : Unit
    bench : Bench
    load : Load
        What hangs on the output.
    volts : float or None
        DC at the output [V]; None where it is not known.
    """
    if bench.repaired and unit.output_stage and not bench.limiter:
        return hazard("no-limiter")
    if load.is_open:
        for stage in output_stages(unit.stages) if unit.netlist is None else ():
            for _, unloaded in on_output(unit.stages, stage):
                if not unloaded.allowed:
                    return hazard("unloaded", why=unloaded.says)
    if load.speaker is not None and volts is not None and abs(volts) > SPEAKER_VOLTS:
        return hazard("speaker-on-dc", volts=show(volts, "V"))
    return None
