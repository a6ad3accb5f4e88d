"""Whether a fault shows as a drill of some level wants it: what would be noticed at the output, or by a meter."""

from __future__ import annotations

from dataclasses import replace

import numpy as np

from lostgain.engine import Pool
from lostgain.readings import instruments
from lostgain.readings.model import OFF
from lostgain.readings.words import quantities
from lostgain.signatures.poweroff_places import across, alone
from lostgain.teach.hidden import Bench, Hidden
from lostgain.teach.looking import Seen
from lostgain.teach.order import Level, symptoms
from lostgain.teach.rig import Rig
from lostgain.unit.model import Unit

#: A meter shows a fault if it reads so many times, or this far [ohm or V], off the healthy unit's.
OFF_TIMES, OFF_SIZE = 1.6, 0.2


def at_start(unit: Unit, level: Level) -> Bench:
    """Return how the bench stands when a drill begins: the unit's own set-up, the lamp limiter in."""
    setup = unit.setup
    return Bench(setup.generator, setup.frequencies[0], power=level.power, discharged=not level.power)


def under_condition(hidden: Hidden, bench: Bench, unit: Unit) -> Bench:
    """Return the bench with the condition met under which the fault shows."""
    stage = hidden.members[0].stage if hidden.members else ""
    return replace(bench, warm=True, shaken=stage, generator=max(bench.generator, unit.setup.generator))


def noticed(unit: Unit, hidden: Hidden, level: Level, pool: Pool) -> tuple[str, ...]:
    """Return what a customer notices of a hidden fault; nothing where it is no drill of that level.

    Parameters
    ----------
    unit : Unit
    hidden : Hidden
    level : Level
    pool : Pool
    """
    if level.symptoms:  # these show at the middle frequency already
        unit = replace(unit, setup=replace(unit.setup, frequencies=unit.setup.frequencies[:1]))
    rig = Rig(unit, hidden, pool)
    bench = under_condition(hidden, at_start(unit, level), unit)
    if not level.power:
        return ("off",) if all(_metered(rig, hidden, bench, part) for part in hidden.parts) else ()
    if level.faults > 1:
        single = [replace(hidden, faults=(each,)) for each in hidden.faults]
        if not all(at_output(Rig(unit, each, pool), bench) for each in single):
            return ()
    found = at_output(rig, bench)
    if level.symptoms:
        found = tuple(each for each in found if each in level.symptoms)
        if {"none"} & set(at_output(rig, bench)):
            return ()
    return found


def at_output(rig: Rig, bench: Bench) -> tuple[str, ...]:
    """Return what is noticed at the output of the channel that has failed."""
    hidden, unit = rig.hidden, rig.unit
    well = Rig(unit, replace(hidden, faults=()), rig.pool)
    instrument = instruments(unit.folder)[unit.setup.instrument]
    seen: list[list[Seen]] = []
    volts, ripples = [], []
    for each in (well, rig):
        circuit = each.circuit(bench, hidden.channel)
        nodes = (circuit.output, circuit.cold)
        looks = [each.see(bench, hidden.channel, nodes, instrument, hertz) for hertz in unit.setup.frequencies]
        dc = each.see(bench, hidden.channel, nodes, instrument, None)
        good = [replace(one, floor=instrument.floor_level) for one in looks if isinstance(one, Seen)]
        if len(good) < len(looks) or not isinstance(dc, Seen):
            return ()
        seen.append(good)
        volts.append(dc.dc)
        point = next((name for name, node in circuit.points.items() if node == circuit.output), "")
        ripples.append(each.ripple(bench, hidden.channel, point) if point else float("nan"))
    return symptoms(seen[0], seen[1], (volts[0], volts[1]), (ripples[0], ripples[1]))


def _metered(rig: Rig, hidden: Hidden, bench: Bench, part: str) -> bool:
    """Tell whether a meter across a part, in circuit or out of it, shows that it failed."""
    well = Rig(rig.unit, replace(hidden, faults=()), rig.pool)
    known = instruments(rig.unit.folder)
    circuit = rig.circuit(bench, hidden.channel)
    kind = circuit.parts[part].part.kind
    for quantity in OFF:
        if (quantity == "esr") != (kind in ("electrolytic", "tantalum")):
            continue
        instrument = known[quantities()[quantity].instrument]
        largest = instrument.largest(quantity)
        for place in (*across(circuit, part), *alone(circuit, part)):
            pair = [each.off(bench, hidden.channel, place, instrument, quantity) for each in (well, rig)]
            one, other = (min(value, largest) for value in pair)
            if not np.isfinite([one, other]).all():
                continue
            if abs(one - other) > OFF_SIZE and max(one, other) > OFF_TIMES * min(one, other):
                return True
    return False
