"""The steps of the bench sheet, in the order in which a bench works."""

from __future__ import annotations

import tomllib
from collections.abc import Iterator, Sequence
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np

from lostgain.bench.cautions import SAFE_VOLTS, never_open
from lostgain.bench.healthy import (
    NINE_TENTHS,
    as_read,
    healthy_dc,
    healthy_level,
    healthy_ripple,
    output_point,
    picture,
    spread,
)
from lostgain.bench.off_steps import across_parts
from lostgain.bench.sheet_model import Expected, Range, Row, Step
from lostgain.quantities import PP_PER_RMS, show
from lostgain.readings.instruments import instruments
from lostgain.readings.model import Instrument
from lostgain.signatures import Table
from lostgain.signatures.poweroff_facts import facts as stated_off
from lostgain.unit import called, library
from lostgain.unit.branches import output_stages
from lostgain.unit.model import Part, Rail, TestPoint, Unit
from lostgain.unit.summary import value_shown

#: Points of the output stage count as its output where level [share] and DC [V] are the output's.
_SAME_LEVEL, _SAME_DC = 0.02, 5e-3


@cache
def wording() -> dict[str, Any]:
    """Return the wording and figures of ``sheet.toml``."""
    return tomllib.loads(Path(__file__).with_name("sheet.toml").read_text(encoding="utf-8"))


def instrument_of(unit: Unit) -> Instrument:
    """Return the instrument of the set-up."""
    return instruments(unit.folder)[unit.setup.instrument]


def steps(table: Table) -> Iterator[Step]:
    """Yield the steps: power off, across the parts where the table holds that, first power-up without load, DC, signal.

    DC is read from the output back to the input and the signal from the input on, so that the probe begins each step
    where the step before left it.
    """
    unit = table.circuit.unit
    checks = list(_checks(unit))
    if checks:
        yield _step("off" if output_devices(unit) else "off_fuses", unit, checks)
    if across := list(across_parts(table)):
        yield _step("across", unit, across)
    powered = [*_rails(table), *_output_dc(table)]
    if powered:
        yield _step("limiter_loaded" if never_open(unit) else "limiter", unit, powered)
    reached = [point for point in unit.points if point.reach]
    floor = instrument_of(unit).floor_dc
    backwards = [
        _row(point, unit, (_dc(table, point.name, floor), *_ripple(table, point))) for point in reversed(reached)
    ]
    yield _step("dc", unit, backwards)
    yield _step("signal", unit, [_signal(table, point) for point in reached])
    if common := list(_common(table)):
        yield _step("common", unit, common)


def _step(name: str, unit: Unit, rows: Sequence[Row]) -> Step:
    texts = wording()[name]
    kind = "" if unit.mains else "_no_mains"
    figures = _figures(unit)
    closing = texts.get(f"after{kind}", texts["after"])
    return Step(
        title=texts.get(f"title{kind}", texts["title"]),
        before=tuple(text.format(**figures) for text in texts.get(f"before{kind}", texts["before"])),
        rows=tuple(rows),
        after=tuple(text.format(**figures) for text in closing),
        minutes=sum(row.minutes * len(row.names) for row in rows),
        moves=sum(len(row.names) for row in rows),
    )


def _figures(unit: Unit) -> dict[str, str]:
    """Return what is filled into the wording of every step."""
    texts, setup = wording()["figures"], unit.setup
    frequencies = ", ".join(show(value, "Hz") for value in setup.frequencies)
    is_dummy = unit.output_stage and setup.load.speaker is None
    load = "no_load" if setup.load.is_open else "dummy" if is_dummy else "load"
    return {
        "reading": texts["several" if len(setup.frequencies) > 1 else "single"].format(frequencies=frequencies),
        "first": show(setup.frequencies[0], "Hz"),
        "common": show(setup.common or setup.generator, "V rms"),
        "instrument": instrument_of(unit).title,
        "load": texts[load],
        "off_load": "connected" if stated_off(unit).load else "unplugged",
    }


def names_of(unit: Unit, text: str) -> tuple[str, ...]:
    """Return what each channel calls a place of the first channel; one name where all call it the same."""
    found = tuple(called(channel, text) for channel in unit.channels)
    return found if len(set(found)) > 1 else found[:1]


def _in_channels(unit: Unit, text: str) -> tuple[str, ...]:
    return tuple(called(channel, text) for channel in unit.channels)


def _row(point: TestPoint, unit: Unit, expected: tuple[Expected, ...], **more: Any) -> Row:
    return Row(_in_channels(unit, point.name), point.stage, expected, point.minutes, **more)


# Power off.


def output_devices(unit: Unit) -> list[Part]:
    """Return the transistors of output stages, by their device class."""
    classes = wording()["output_classes"]
    return [part for part in unit.parts.values() if part.device in classes]


def _checks(unit: Unit) -> Iterator[Row]:
    """Reservoirs, fuses, output devices, and the emitter resistors in their stage."""
    texts, minutes = wording()["off"], float(wording()["check_minutes"])
    empty = _look(texts["reservoir"].format(safe=show(SAFE_VOLTS, "V")))
    for one in unit.reservoirs:
        holds = {"capacitance": show(one.capacitance, "farad"), "volts": show(one.volts, "V")}
        note = texts["reservoir_note"].format(**holds)
        yield Row(names_of(unit, one.designator), "supply", (empty,), minutes, note=note)
    devices = output_devices(unit)
    stages = {part.stage for part in devices}
    for part in unit.parts.values():
        if part.kind == "fuse":
            note = texts["fuse_note"].format(rating=value_shown(part)).strip()
            yield Row(names_of(unit, part.designator), part.stage, (_look(texts["fuse"]),), minutes, note=note)
    for part in devices:
        note = texts["device_note"].format(kind=part.kind.upper())
        yield Row(_in_channels(unit, part.designator), part.stage, (_look(texts["device"]),), minutes, note=note)
    for part in unit.parts.values():
        small = part.kind == "resistor" and (part.value or 1e9) <= wording()["emitter_resistor"]
        if small and part.stage in stages:
            look = _look(texts["resistor"].format(value=value_shown(part)))
            yield Row(_in_channels(unit, part.designator), part.stage, (look,), minutes, note=texts["resistor_note"])


def _look(text: str) -> Expected:
    return Expected("check", text=text)


# First power-up, without load.


def _rails(table: Table) -> Iterator[Row]:
    """Every rail, at a test point on it where there is one in reach."""
    circuit, texts = table.circuit, wording()["limiter"]
    unit = circuit.unit
    floor = instrument_of(unit).floor_dc
    for rail in unit.rails:
        name = texts["rail"].format(name=rail.name)
        fused = texts["fused"].format(fuse=rail.fuse) if rail.fuse else ""
        on_it = [point for point in unit.points if point.reach and circuit.points.get(point.name) == rail.name.lower()]
        if on_it:
            note = f"{name}, {fused}" if fused else name
            yield _row(on_it[0], unit, (_dc(table, on_it[0].name, floor),), note=note)
        else:
            expected = Expected("dc", volts=as_read(rail_range(rail), instrument_of(unit), "dc"), floor=floor)
            yield Row((name,), "supply", (expected,), float(wording()["rail_minutes"]), note=fused)


def rail_range(rail: Rail) -> Range:
    """Return where nine rails out of ten lie [V], two standard deviations being the tolerance."""
    low, high = rail.tolerance
    middle, reach = (low + high) / 2, NINE_TENTHS * (high - low) / 4
    ends = sorted((rail.volts * (1 + middle - reach), rail.volts * (1 + middle + reach), rail.volts))
    return Range(rail.volts, ends[0], ends[-1])


def _output_dc(table: Table) -> list[Row]:
    unit = table.circuit.unit
    floor = instrument_of(unit).floor_dc
    return [_row(unit.point(name), unit, (_dc(table, name, floor),)) for name in at_output(table)]


def at_output(table: Table) -> list[str]:
    """Return the test points in reach where the output's DC can be read, in signal order.

    Besides the one at the output those of an output stage that show the same, such as one ahead of the relay.
    """
    unit, output = table.circuit.unit, output_point(table)
    if output is None:
        return []
    order = [stage.name for stage in unit.stages]
    last = max((order.index(part.stage) for part in output_devices(unit) if part.stage in order), default=len(order))
    where = table.points.index(output)
    dc, level = table.values("dc")[0, 0], table.values("level")[0, 0, :, 0]
    found = []
    others = _other_terminals(table)
    for index, name in enumerate(table.points):
        point = unit.point(name)
        later = point.stage in order and order.index(point.stage) >= last
        same = abs(dc[index] - dc[where]) < _SAME_DC and np.isclose(level[index], level[where], rtol=_SAME_LEVEL)
        other = table.circuit.points[name] in others
        if point.reach and (name == output or (later and same) or other):
            found.append(name)
    return found


def _other_terminals(table: Table) -> set[str]:
    """Return the nodes where loads hang besides the unit's own output: further outputs, cold ends of bridged ones."""
    circuit = table.circuit
    if circuit.unit.netlist is not None:
        return set()
    ends = {circuit.stage_ends[name] for name in output_stages(circuit.unit.stages)}
    libraries = {stage.name: library.stage(stage.library) for stage in circuit.unit.stages if stage.library}
    cold = {circuit.stage_ports[f"{name}/{facts.cold}"] for name, facts in libraries.items() if facts.cold}
    return ends | cold


# Power on.


def _dc(table: Table, point: str, floor: float) -> Expected:
    instrument = instrument_of(table.circuit.unit)
    return Expected("dc", volts=as_read(healthy_dc(table, point), instrument, "dc"), floor=floor)


def _ripple(table: Table, point: TestPoint) -> tuple[Expected, ...]:
    """What ripple to expect at a supply's point, and at the output, where the supply is described."""
    unit = table.circuit.unit
    if "ripple" not in table.data:
        return ()
    own = {stage.name for stage in unit.supplies}
    low, middle, high = healthy_ripple(table, point.name)
    if point.stage not in own and point.name != output_point(table):
        return ()
    if not high > PP_PER_RMS * instrument_of(unit).floor_level:
        return (Expected("ripple", text="next to nothing"),)
    return (Expected("ripple", text=f"{show(middle, 'Vpp')}, {show(low, 'Vpp', 2)} … {show(high, 'Vpp', 2)}"),)


def _signal(table: Table, point: TestPoint) -> Row:
    unit = table.circuit.unit
    instrument = instrument_of(unit)
    floor = instrument.floor_level
    expected = tuple(
        Expected(
            "level",
            frequency,
            as_read(healthy_level(table, point.name, index), instrument, "level"),
            healthy_level(table, point.name, index, "swing"),
            floor,
        )
        for index, frequency in enumerate(table.frequencies)
    )
    return _row(point, unit, expected, picture=picture(table, point.name, floor))


def _common(table: Table) -> Iterator[Row]:
    """What is left of a signal on both legs of a balanced input: behind the stage that takes the difference."""
    if "common" not in table.data:
        return
    unit = table.circuit.unit
    instrument = instrument_of(unit)
    facts = {stage.name: library.stage(stage.library) for stage in unit.stages if stage.library}
    takers = [name for name, each in facts.items() if "cold" in each.inputs.values() and "cold" not in each.outputs]
    for point in unit.points:
        if point.reach and point.node in [f"{name}/out" for name in takers]:
            found = spread(table.values("common")[0, :, table.points.index(point.name)])
            volts = as_read(found, instrument, "level")
            swing = Range(*(PP_PER_RMS * value for value in (volts.nominal, volts.low, volts.high)))
            yield _row(point, unit, (Expected("level", table.frequencies[0], volts, swing, instrument.floor_level),))
