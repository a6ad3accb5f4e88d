"""The bench sheet: what to read, in the order in which a bench works, and what a healthy unit shows."""

from __future__ import annotations

import math
from collections.abc import Iterator

from lostgain.bench.cautions import cautions, load_watts
from lostgain.bench.healthy import output_level
from lostgain.bench.sheet_model import OutOfReach, Sheet
from lostgain.bench.steps import instrument_of, names_of, steps, wording
from lostgain.quantities import PP_PER_RMS, show
from lostgain.signatures import Table
from lostgain.unit import called
from lostgain.unit.branches import output_stages
from lostgain.unit.load import Load
from lostgain.unit.model import TestPoint, Unit

#: A load that takes less than this [W] is told without its watts.
_TOLD_WATTS = 0.05


def sheet(table: Table) -> Sheet:
    """Return the bench sheet of a unit.

    Parameters
    ----------
    table : Table
        Its signature table; only the healthy row is used.

    Returns
    -------
    Sheet
        Cautions, set-up, and the steps: power off (fuses and output devices); on a lamp limiter and without load
        (rails, DC at the output); DC with the generator off; signal at every frequency of the set-up. In the last two
        every test point in reach comes once.
    """
    unit = table.circuit.unit
    work = tuple(steps(table))
    return Sheet(
        title=unit.title,
        about=" ".join(unit.about.split()),
        invented=unit.invented,
        channels=tuple(channel.name for channel in unit.channels),
        setup=tuple(_setup(table)),
        cautions=tuple(cautions(unit, output_level(table))),
        steps=work,
        out_of_reach=tuple(_out_of_reach(unit)),
        notes=tuple(_notes(table)),
        minutes=sum(step.minutes for step in work),
        table=table.key,
    )


def _setup(table: Table) -> Iterator[tuple[str, str]]:
    unit = table.circuit.unit
    setup = unit.setup
    into = "the input" if setup.start == "input" else setup.start
    dc = f", on {show(setup.start_dc, 'V')} DC" if setup.start_dc else ""
    yield (
        "Generator",
        f"sine, {show(setup.generator, 'V rms')} ({show(setup.generator * PP_PER_RMS, 'Vpp')}) without load, "
        f"from {show(setup.source, 'ohm')}, into {into}{dc}",
    )
    yield "Frequencies", ", ".join(show(value, "Hz") for value in table.frequencies)
    for designator, share in setup.controls.items():
        names = " / ".join(names_of(unit, designator))
        yield "Control", f"{names} {_position(share)}"
    is_dummy = unit.output_stage or setup.load_rating
    label = "Dummy load" if is_dummy and not setup.load.speaker else "Load"
    yield label, _load(table, setup.load, setup.load_rating)
    for stage, load in setup.loads.items():
        yield f"Load, {stage}", load.text
    if unit.rails:
        yield "Rails", ", ".join(f"{rail.name} {'+' * (rail.volts > 0)}{show(rail.volts, 'V')}" for rail in unit.rails)
    yield "Instrument", instrument_of(unit).title


def _position(share: float) -> str:
    """What a control passes, as it is marked: decibels below full."""
    if share <= 0:
        return "shut"
    if share >= 1:
        return "full up"
    return f"at {show(20 * math.log10(share), 'dB')} ({show(share, '%', 2)} of the voltage)"


def _load(table: Table, load: Load, rating: float | None) -> str:
    level = output_level(table)
    text = load.text
    if load.ohms is None:
        return text
    if rating:
        text += f", rated {show(rating, 'W')}"
    if level is not None and load_watts(level, load.ohms) > _TOLD_WATTS:
        text += f"; takes {show(load_watts(level, load.ohms), 'W', 2)} at this set-up"
    unit = table.circuit.unit
    if unit.netlist is None and len(output_stages(unit.stages)) > 1:
        return f"{text}, one at each output"
    return text + (", one a channel" if len(unit.channels) > 1 else "")


def _out_of_reach(unit: Unit) -> Iterator[OutOfReach]:
    for index, point in enumerate(unit.points):
        if not point.reach:
            ahead = [near.name for near in reversed(unit.points[:index]) if near.reach]
            beyond = [near.name for near in unit.points[index + 1 :] if near.reach]
            yield OutOfReach(_names(unit, point), point.stage, (*ahead[:1], *beyond[:1]))


def _names(unit: Unit, point: TestPoint) -> tuple[str, ...]:
    return tuple(called(channel, point.name) for channel in unit.channels)


def _notes(table: Table) -> Iterator[str]:
    texts, unit = wording()["notes"], table.circuit.unit
    draws = table.data.sizes["sample"] - 1
    yield texts["range"].format(draws=draws) if draws else texts["nominal"]
    yield texts["levels"]
    instrument = instrument_of(unit)
    floors = {"level": show(instrument.floor_level, "V rms"), "dc": show(instrument.floor_dc, "V")}
    yield texts["instrument"].format(title=instrument.title, **floors)
    low, high = instrument.bandwidth
    outside = [show(value, "Hz") for value in table.frequencies if not low <= value <= high]
    if outside:
        yield texts["outside"].format(frequencies=", ".join(outside))
    settled = table.data["settled"].values[0]
    if not settled.all():
        slow = [show(value, "Hz") for value, fine in zip(table.frequencies, settled, strict=True) if not fine]
        yield texts["unsettled"].format(frequencies=", ".join(slow))
