"""A drill: begun from a unit, a level and a seed, and taken on step by step. All of it works on a record."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np

from lostgain.circuit import Circuit
from lostgain.circuit.model import balanced
from lostgain.diagnosis.moves import facts as move_facts
from lostgain.engine import Pool
from lostgain.problems import UserError
from lostgain.readings.model import COMMON, LEVELS, OFF, UNPOWERED, WHOLE_UNIT, Instrument, Reading
from lostgain.readings.taken import at_text
from lostgain.readings.words import quantities
from lostgain.signatures.poweroff_places import across, alone, named, node_of
from lostgain.teach.actions import acts, taken_apart
from lostgain.teach.commands import DOES
from lostgain.teach.distortion import distortion_shown
from lostgain.teach.draw import Progress, draw
from lostgain.teach.hazards import Hazard, of_reading
from lostgain.teach.hidden import Bench, Hidden
from lostgain.teach.looking import Seen
from lostgain.teach.meter import level_shown, on_screen, reading_of
from lostgain.teach.order import level, titles, words
from lostgain.teach.places import instrument_of, wanted_reading
from lostgain.teach.prove import at_start, under_condition
from lostgain.teach.record import SIGNED_OFF, UNSAFE, Drill, Step
from lostgain.teach.rig import Rig
from lostgain.teach.standing import gone, left, shows, whole
from lostgain.teach.told import told_stage
from lostgain.unit.model import Unit
from lostgain.unit.setup_model import Drive

#: The generator's level when a fault that comes with level is begun with, as a share of the set-up's.
QUIETLY = 0.25


@dataclass(frozen=True)
class Answer:
    """What a typed line has come to.

    Parameters
    ----------
    drill : Drill
        As it is now.
    step : Step
    seen : Seen or None
        What was at the place of a reading taken with an oscilloscope.
    hazard : Hazard or None
        Why the drill has stopped.
    """

    drill: Drill
    step: Step
    seen: Seen | None = None
    hazard: Hazard | None = None


def begin(unit: Unit, circuit: Circuit, number: int, seed: int, pool: Pool, progress: Progress | None = None) -> Drill:
    """Return a new drill.

    Parameters
    ----------
    unit : Unit
    circuit : Circuit
    number : int
        Its level.
    seed : int
    pool : Pool
    progress : callable, optional

    Raises
    ------
    UserError
        If the unit cannot offer that level.
    """
    hidden = draw(unit, circuit, number, seed, pool, progress)
    return begun(unit, hidden, pool)


def begun(unit: Unit, hidden: Hidden, pool: Pool) -> Drill:
    """Return a drill with what it hides, nothing done yet."""
    wanted = level(hidden.level)
    rig = Rig(unit, hidden, pool)
    bench = at_start(unit, wanted)
    order = list(words(hidden, unit))
    if stage := told_stage(hidden):
        order.append(f"The fault is in the stage {stage}.")
    order.append(f"In bench words: {titles(hidden.symptoms)}.")
    if hidden.good:
        order.append(f"{hidden.good} is good.")
    elif len(unit.channels) > 1:
        order.append(f"Only {hidden.channel} is on the bench.")
    if wanted.faults > 1:
        order.append("More than one part has failed.")
    start = _arrival(unit, rig, under_condition(hidden, bench, unit)) if wanted.power else ()
    if hidden.condition == "level":
        bench = replace(bench, generator=QUIETLY * bench.generator)
    return Drill(hidden, tuple(order), start, bench)


def _arrival(unit: Unit, rig: Rig, bench: Bench) -> tuple[Reading, ...]:
    """Return what was read on arrival: level at the output, or at the last point that a probe gets to."""
    points = rig.circuit(bench, rig.hidden.channel).points
    output = rig.circuit(bench, rig.hidden.channel).output
    reach = [each.name for each in unit.points if each.reach]
    if not reach:
        return ()
    name = next((each for each in reach if points[each] == output), reach[-1])
    wanted = Reading(name, "level", rig.hidden.channel, frequency=unit.setup.frequencies[0],
                     instrument=unit.setup.instrument)  # fmt: skip
    reading, _, _ = simulated(rig, bench, wanted, instrument_of(unit, wanted), 0)
    return (reading,) if reading is not None else ()


def do(drill: Drill, rig: Rig, text: str) -> Answer:
    """Do what was typed.

    Parameters
    ----------
    drill : Drill
    rig : Rig
    text : str
        An act of ``actions.toml``, or the place of a reading.

    Raises
    ------
    UserError
        If it cannot be done as the bench stands; nothing has changed then.
    """
    if drill.ended:
        raise UserError("this drill has ended.")
    name, rest = taken_apart(text)
    if not name:
        return _read(drill, rig, rest)
    if name == "sign-off":
        return _signed_off(drill, rig, text)
    if not rest and acts()[name].follows and not acts()[name].follows.startswith("[") and name != "instrument":
        raise UserError(f"{name} {acts()[name].follows}: {acts()[name].says}.")
    if name == "power" and rest.strip().casefold() == "on" and not level(drill.hidden.level).power:
        raise UserError("the work order says that the unit must not be switched on.")
    done = DOES[name](rig, drill.bench, rest)
    step = Step(text, name, acts()[name].minutes, done.money, done.says, done.channel, done.parts)
    return _went(drill, rig, done.bench, step, done.hazard)


def _went(drill: Drill, rig: Rig, bench: Bench, step: Step, hazard: Hazard | None, seen: Seen | None = None) -> Answer:
    step = replace(step, gone=gone(drill.hidden, bench, rig.unit))
    if hazard is None:
        return Answer(replace(drill, bench=bench, steps=(*drill.steps, step)), step, seen)
    step = replace(step, says=hazard.title, money=0.0)
    return Answer(replace(drill, steps=(*drill.steps, step), ended=UNSAFE, hazard=hazard.name), step, None, hazard)


def _signed_off(drill: Drill, rig: Rig, text: str) -> Answer:
    still = left(drill.hidden, drill.bench, rig.unit)
    open_legs = drill.bench.lifted or drill.bench.bridged
    says = "The unit goes back repaired." if not still and not open_legs else "The unit comes back: it still fails."
    if not still and open_legs:
        says = "The unit comes back: a leg is still lifted, or a capacitor still lies across another."
    answer = _went(drill, rig, drill.bench, Step(text, "sign-off", 0.0, says=says), None)
    return replace(answer, drill=replace(answer.drill, ended=SIGNED_OFF))


def repaired(drill: Drill, unit: Unit) -> bool:
    """Tell whether nothing that failed is left, and all is put back."""
    return not (left(drill.hidden, drill.bench, unit) or drill.bench.lifted or drill.bench.bridged)


def _read(drill: Drill, rig: Rig, text: str) -> Answer:
    """Take a reading."""
    before = drill.readings[-1] if drill.readings else None
    wanted = wanted_reading(rig.unit, drill.hidden, drill.bench, text, before)
    instrument = instrument_of(rig.unit, wanted)
    bench = driven_by(drill.bench, rig.unit, wanted)
    turned = "; ".join(f"{name} {value:.3g}" for name, value in
                       sorted(bench.controls.get(wanted.channel, {}).items()))  # fmt: skip
    step = Step(text, "reading", minutes(rig.unit, wanted, before), channel=wanted.channel, turned=turned)
    if (hazard := of_reading(bench, wanted, instrument)) is not None:
        return _went(drill, rig, drill.bench, step, hazard)
    if wanted.quantity not in UNPOWERED and not drill.bench.power:
        raise UserError("the power is off: there is nothing to read but resistance, diode test, esr and capacitance.")
    reading, says, seen = simulated(rig, bench, wanted, instrument, 1 + len(drill.readings))
    compared = reading is not None and comparable(rig.unit, drill.hidden, bench, reading)
    left_over = seen.left if seen is not None else 1.0
    step = replace(step, reading=reading, says=says, left=left_over, compared=compared)
    return _went(drill, rig, drill.bench, step, None, seen)


def driven_by(bench: Bench, unit: Unit, wanted: Reading) -> Bench:
    """Return the bench with the generator at the level that a reading is wanted at."""
    if wanted.quantity != "level":
        return bench
    return replace(bench, generator=unit.setup.generator if wanted.generator is None else wanted.generator)


def minutes(unit: Unit, reading: Reading, before: Reading | None) -> float:
    """Return what a reading takes from where the probe is [min]; the time of switching is that of the switching."""
    times = move_facts()
    if reading.quantity in UNPOWERED:
        return times.power_off.each
    own = next((each.minutes for each in unit.points if each.name == reading.point), 1.0)
    if before is not None and (before.point, before.channel) == (reading.point, reading.channel):
        return min(own, times.reading.stay if before.quantity == reading.quantity else times.reading.switch)
    return own


def comparable(unit: Unit, hidden: Hidden, bench: Bench, reading: Reading) -> bool:
    """Tell whether a signature table holds what a reading was taken of: a unit with a fault left, in its own set-up.

    A new part in a healthy one's place changes nothing. With one of two faults mended, the unit is one with the other.
    """
    if not quantities()[reading.quantity].compared:
        return False
    changed = not whole(hidden, bench, unit) or bench.swapped or not shows(hidden, bench, unit.setup.generator)
    if reading.quantity in OFF:
        return not (changed or bench.bridged or (bench.lifted and not reading.lifted))
    known = reading.quantity in WHOLE_UNIT or any(each.name == reading.point for each in unit.points)
    turned = bench.controls.get(reading.channel) if reading.channel else bench.controls
    same = known and not turned and not bench.load
    drives = unit.setup.drives
    held = drives if reading.quantity == "level" else drives[: len(unit.setup.frequencies)]
    heard = reading.frequency is None or Drive(reading.frequency, bench.generator) in held
    return bool(same and heard and not (changed or bench.lifted or bench.bridged))


def simulated(
    rig: Rig, bench: Bench, wanted: Reading, instrument: Instrument, number: int
) -> tuple[Reading | None, str, Seen | None]:
    """Return a reading, what to say where there is none, and what was there."""
    hidden, quantity = rig.hidden, wanted.quantity
    channel = wanted.channel or rig.unit.channels[0].name
    seen: Seen | None = None
    says = ""
    if quantity in WHOLE_UNIT:
        value = rig.current(bench, wanted.point)
    elif quantity in OFF:
        value = _off(rig, bench, channel, wanted, instrument)
    elif quantity == "capacitance":
        value = rig.farads(bench, channel, wanted.point, instrument)
    elif quantity == "ripple":
        value = rig.ripple(bench, channel, wanted.point)
        if not np.isfinite(value):
            raise UserError("the supply of this unit is not described: there is no ripple to simulate.")
    else:
        if quantity == COMMON and not balanced(rig.circuit(bench, channel).flat):
            raise UserError("the input of this unit has one leg: there is no common mode.")
        nodes = rig.nodes((wanted.point, wanted.against), bench, channel)
        found = rig.see(bench, channel, nodes, instrument, wanted.frequency, quantity == COMMON)
        if not isinstance(found, Seen):
            return None, f"It moves about, and no value can be read ({found}).", None
        seen = found
        if quantity == "distortion" and wanted.frequency is not None:
            value, says = distortion_shown(seen, instrument, wanted.frequency)
            if np.isnan(value):
                return None, says, None
        else:
            value = level_shown(seen, instrument, wanted.frequency) if wanted.frequency is not None else seen.dc
    if np.isnan(value):
        return None, "It moves about, and no value can be read.", None
    reading = reading_of(hidden, wanted, value, instrument, number)
    return reading, says, on_screen(hidden, seen, reading, value, instrument, number) if seen is not None else None


def _off(rig: Rig, bench: Bench, channel: str, wanted: Reading, instrument: Instrument) -> float:
    circuit = rig.circuit(bench, channel)
    part = wanted.point.split()[0]
    found = named(circuit, replace(wanted, lifted=False))
    if part in circuit.parts:
        own = alone(circuit, part) if wanted.lifted else across(circuit, part)
        found = next((each for each in own if (each.point, each.against) == (wanted.point, wanted.against)), found)
    ends = [node_of(circuit, name) for name in (wanted.point, wanted.against)]
    if wanted.against and ends[0] and ends[0] == ends[1]:
        raise UserError(f"{wanted.point} and {wanted.against} are one and the same point of the board.")
    if found is None or found.lifted != wanted.lifted:
        raise UserError(f"nothing can be read there: {show_place(wanted)}.")
    return rig.off(bench, channel, found, instrument, wanted.quantity)


def show_place(reading: Reading) -> str:
    """Return where and what a reading is, in designators of the first channel."""
    place = f"{reading.point} to {reading.against}" if reading.against else reading.point
    at = at_text(reading.frequency, reading.generator) if reading.quantity in LEVELS else ""
    return f"{place}{' lifted' if reading.lifted else ''}, {reading.quantity}{at}"
