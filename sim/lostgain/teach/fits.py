"""Whether a drill from a file fits its unit: a file may come from anybody, and has to name what is there."""

from __future__ import annotations

import re
from collections.abc import Iterator
from math import isfinite
from pathlib import Path

from lostgain.circuit import Circuit
from lostgain.faults import Fault, modes_for
from lostgain.faults.listing import clusters
from lostgain.problems import Problem, UserError, Where
from lostgain.readings import instruments
from lostgain.readings.model import Reading
from lostgain.teach.draw import made_of
from lostgain.teach.hidden import CONDITIONS, Bench, Built
from lostgain.teach.order import levels
from lostgain.teach.places import READ
from lostgain.teach.record import SIGNED_OFF, UNSAFE, Drill
from lostgain.unit.loads import parse_load

#: What a model's parameter may be called: it is written into a netlist.
_PARAMETER = re.compile(r"\w+ \w+", re.ASCII)
#: What a unit may be called in a file: a name, and no path.
_NAME = re.compile(r"[\w-]+", re.ASCII)


def is_name(text: object) -> bool:
    """Tell whether a text is the name of a unit, and no path."""
    return isinstance(text, str) and _NAME.fullmatch(text) is not None


def check_fits(drill: Drill, circuit: Circuit, path: Path) -> str:
    """Return a warning where a unit has changed since a drill was drawn; empty where it has not.

    Parameters
    ----------
    drill : Drill
    circuit : Circuit
        Of the unit.
    path : Path
        The drill's file, for messages.

    Raises
    ------
    UserError
        If the drill is about something that the unit does not have, or holds numbers that mean nothing.
    """
    unit = circuit.unit
    try:
        wrong = list(dict.fromkeys(_wrong(drill, circuit)))
    except (LookupError, TypeError, AttributeError, ValueError) as error:
        wrong = [f"something is of another sort ({error})"]
    if wrong:
        said = ", ".join(wrong[:5])
        raise UserError(Problem(f"this drill does not fit {unit.name}: {said}.", Where(path)))
    if drill.hidden.made_of != made_of(circuit):
        return f"{unit.name} has changed since this drill was drawn: its readings may differ from those of others."
    return ""


def _wrong(drill: Drill, circuit: Circuit) -> Iterator[str]:
    """Yield what does not fit."""
    hidden, unit = drill.hidden, circuit.unit
    names = {channel.name for channel in unit.channels}
    if hidden.level not in levels():
        yield f"there is no level {hidden.level}"
    if hidden.channel not in names or hidden.good not in {"", *names} or set(hidden.built) != names:
        yield "its channels are others"
    if hidden.condition not in ("", *CONDITIONS):
        yield "a condition that is not known"
    if not hidden.faults:
        yield "nothing has failed"
    for fault in (*hidden.faults, *hidden.members):
        yield from _wrong_fault(fault, circuit)
    for built in (*hidden.built.values(), hidden.spares):
        yield from _wrong_numbers(built)
    numbers = [hidden.generator, *(each for pair in hidden.meters.values() for each in pair)]
    if not all(isfinite(each) for each in numbers) or hidden.generator <= 0 or hidden.seed < 0:
        yield "a number that means nothing"
    if drill.ended not in ("", SIGNED_OFF, UNSAFE):
        yield "an end that is not known"
    texts = [*drill.order, *(each for step in drill.steps for each in (step.typed, step.act, step.says, step.turned))]
    if not all(isinstance(each, str) for each in texts):
        yield "words that are none"
    yield from _wrong_bench(drill.bench, circuit)
    for reading in (*drill.start, *drill.readings):
        yield from _wrong_reading(reading, circuit)
    for step in drill.steps:
        numbers = [step.minutes, step.money, step.left, step.gone]
        if not all(part in unit.parts for part in step.parts) or not all(isfinite(each) for each in numbers):
            yield "a step that nobody took"


def _wrong_fault(fault: Fault, circuit: Circuit) -> Iterator[str]:
    place = circuit.parts.get(fault.part)
    if place is None:
        yield f"it has no part {fault.part}"
        return
    if fault.members:
        if fault.mode not in {each.mode for each in clusters(circuit.unit)}:
            yield f"a failure of {fault.part}"
        return
    mode = next((each for each in modes_for(place.part.kind) if each.name == fault.mode), None)
    sized = fault.severity is not None and isfinite(fault.severity) and fault.severity > 0
    if mode is None or (mode.severity and not sized) or fault.stage != place.part.stage:
        yield f"a failure of {fault.part}"


def _wrong_numbers(built: Built) -> Iterator[str]:
    values = [*(each for pair in built.values.values() for each in pair), *built.parameters.values(),
              *built.losses.values()]  # fmt: skip
    if not all(isfinite(each) for each in values):
        yield "a number that means nothing"
    if not all(_PARAMETER.fullmatch(key) for key in built.parameters):
        yield "a parameter that no model has"


def _wrong_bench(bench: Bench, circuit: Circuit) -> Iterator[str]:
    unit = circuit.unit
    names = {channel.name for channel in unit.channels}
    places = (*bench.lifted, *bench.replaced, *bench.bridged)
    turned = [(channel, part, value) for channel, each in bench.controls.items() for part, value in each.items()]
    if not all(channel in names and part in circuit.parts for channel, part in places):
        yield "work on a part that it does not have"
    if not all(channel in names and part in unit.parts and 0 <= value <= 1 for channel, part, value in turned):
        yield "a control that it does not have"
    if not all(part in circuit.parts for part in bench.swapped):
        yield "work on a part that it does not have"
    if not (0 < bench.generator <= 10 and 1 <= bench.frequency <= 200e3):
        yield "a generator that does not exist"
    if bench.instrument not in {"", *instruments(unit.folder)}:
        yield f"the instrument {bench.instrument}"
    if bench.load:
        try:
            parse_load(bench.load)
        except ValueError:
            yield f"the load {bench.load}"


def _wrong_reading(reading: Reading, circuit: Circuit) -> Iterator[str]:
    unit = circuit.unit
    known = {*(point.name for point in unit.points), *unit.parts, *(rail.name for rail in unit.rails), "ground"}
    ends = [each for each in (reading.point, reading.against) if each]
    there = all(each in known or each.split(" ")[0] in unit.parts for each in ends)
    numbers = [each for each in (reading.value, reading.frequency, reading.generator) if each is not None]
    if not there or reading.quantity not in READ or not all(isfinite(each) for each in numbers):
        yield "a reading that nobody can take"
    if reading.instrument not in instruments(unit.folder) or reading.channel not in {"", *(
            channel.name for channel in unit.channels)}:  # fmt: skip
        yield "a reading that nobody can take"
