"""Acts of a drill that put the power on a unit, or a load on its output."""

from __future__ import annotations

from dataclasses import replace

from lostgain.problems import UserError, nearest
from lostgain.readings import instruments
from lostgain.readings.model import Instrument
from lostgain.teach.done import Done, one_of
from lostgain.teach.hazards import Hazard, of_power_on
from lostgain.teach.hidden import Bench
from lostgain.teach.looking import Seen
from lostgain.teach.rig import Rig
from lostgain.teach.standing import left
from lostgain.unit.loads import load_names, parse_load

#: A dummy load light enough that no output gives way to it.
DUMMY = "10k"
#: The limiter's lamp glows from this current of a rail on [A], and so many times a healthy unit's. Common practice, no
#: source.
GLOW_AMPS, GLOW_TIMES = 0.2, 3.0


def load(rig: Rig, bench: Bench, rest: str) -> Done:
    """Hang something on the output."""
    if rest.strip().casefold() in ("loudspeaker", "speaker"):
        rest = load_names()[0]
    try:
        found = parse_load(rest)
    except ValueError as error:
        raise UserError(f"{error} {nearest(rest, load_names())}".strip()) from error
    now = replace(bench, load="" if found == rig.unit.setup.load else rest.strip())
    done = Done(now, f"On the output: {found.text}.")
    return replace(done, hazard=_with_power(rig, now)) if bench.power else done


def power(rig: Rig, bench: Bench, rest: str) -> Done:
    """Switch the unit on or off."""
    if not one_of(rest, {"on": True, "off": False}):
        stored = bool(rig.unit.reservoirs or rig.unit.supplies or rig.unit.mains)
        now = replace(bench, power=False, discharged=not stored)
        tail = " The reservoirs are still charged." if stored and bench.power else ""
        return Done(now, f"The power is off.{tail}")
    now = _blown_again(rig, replace(bench, power=True, discharged=False))
    found = _with_power(rig, now)
    says = "The power is on."
    if found is None and len(_fuses(rig, now)) < len(_fuses(rig, bench)):
        says += " The new fuse blows at once: what blew the first one is still there."
    elif found is None and now.limiter and lamp_glows(rig, now):
        says += " The lamp of the limiter glows: something draws far too much."
    return Done(replace(now, repaired=False), says, hazard=found)


def lamp_glows(rig: Rig, bench: Bench) -> bool:
    """Tell whether a rail delivers so much more than in a healthy unit that the limiter's lamp glows."""
    well = Rig(rig.unit, replace(rig.hidden, faults=()), rig.pool)
    for rail in rig.unit.rails if rig.unit.mains else ():
        here, there = (each.current(bench, rail.name) for each in (rig, well))
        if here > GLOW_AMPS and here > GLOW_TIMES * there:
            return True
    return False


def _fuses(rig: Rig, bench: Bench) -> list[str]:
    return [part for _, part in bench.replaced if rig.unit.parts.get(part) and rig.unit.parts[part].kind == "fuse"]


def _blown_again(rig: Rig, bench: Bench) -> Bench:
    """Blow new fuses again while any other part is left of those that failed together with them."""
    together = [fault for fault in rig.hidden.faults if fault.members]
    here = {fault.part for _, fault in left(rig.hidden, bench, rig.unit)}
    for fault in together:
        fuses = {each.part for each in fault.members if rig.unit.parts[each.part].kind == "fuse"}
        rest = {each.part for each in fault.members} - fuses
        if rest & here:
            bench = replace(bench, replaced=tuple(each for each in bench.replaced if each[1] not in fuses))
    return bench


def _with_power(rig: Rig, bench: Bench) -> Hazard | None:
    """Return what is unsafe about the power being on; DC is that on a dummy load, ahead of what a loudspeaker does."""
    found = rig.load(bench)
    volts = None
    if found.speaker is not None:
        dummy = replace(bench, load=DUMMY)
        for channel in rig.unit.channels:
            circuit = rig.circuit(dummy, channel.name)
            seen = rig.see(dummy, channel.name, (circuit.output, circuit.cold), _voltmeter(rig), None)
            if isinstance(seen, Seen) and abs(seen.dc) > abs(volts or 0.0):
                volts = seen.dc
    return of_power_on(rig.unit, bench, found, volts)


def _voltmeter(rig: Rig) -> Instrument:
    return instruments(rig.unit.folder)["dmm-trms"]
