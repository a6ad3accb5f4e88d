"""What each act of a drill does to the bench; readings apart."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace

from lostgain.problems import UserError, nearest
from lostgain.quantities import measure, show, show_level
from lostgain.readings import instruments
from lostgain.readings.instruments import called as instruments_called
from lostgain.readings.instruments import spoken
from lostgain.readings.model import Instrument
from lostgain.teach.actions import price
from lostgain.teach.hazards import Hazard, hazard, of_handling, of_power_on
from lostgain.teach.hidden import Bench
from lostgain.teach.looking import Seen
from lostgain.teach.places import part_of
from lostgain.teach.rig import Rig
from lostgain.teach.standing import left, other_channel
from lostgain.unit.controls import share
from lostgain.unit.loads import load_names, parse_load

#: A dummy load light enough that no output gives way to it.
DUMMY = "10k"
#: The limiter's lamp glows from this current of a rail on [A], and so many times a healthy unit's. Common practice, no
#: source.
GLOW_AMPS, GLOW_TIMES = 0.2, 3.0
CAPACITORS = ("electrolytic", "film", "ceramic", "tantalum")


@dataclass(frozen=True)
class Done:
    """What an act has come to.

    Parameters
    ----------
    bench : Bench
    says : str
    channel : str
    parts : tuple of str
    money : float
    hazard : Hazard or None
        Where the act was unsafe; the drill stops.
    """

    bench: Bench
    says: str
    channel: str = ""
    parts: tuple[str, ...] = ()
    money: float = 0.0
    hazard: Hazard | None = None


def generator(rig: Rig, bench: Bench, rest: str) -> Done:
    """Set the generator's level."""
    try:
        found = measure(rest, "voltage")
    except ValueError as error:
        raise UserError(str(error)) from error
    if not 0 < found.value <= 10:
        raise UserError(f"'{rest}': the generator gives up to 10 V rms, for example generator 100 mV rms.")
    return Done(replace(bench, generator=found.value), f"The generator gives {show_level(found.value)} unloaded.")


def frequency(rig: Rig, bench: Bench, rest: str) -> Done:
    """Set the generator's frequency."""
    try:
        found = measure(rest, "frequency").value
    except ValueError as error:
        raise UserError(str(error)) from error
    if not 1 <= found <= 200e3:
        raise UserError(f"'{rest}': the generator goes from 1 Hz to 200 kHz.")
    return Done(replace(bench, frequency=found), f"The generator is at {show(found, 'Hz')}.")


def control(rig: Rig, bench: Bench, rest: str) -> Done:
    """Turn a control of one channel."""
    name, _, setting = rest.partition(" ")
    channel, parts = part_of(rig.unit, name, rig.hidden.channel)
    part = rig.unit.parts[parts[0]]
    if part.kind != "potentiometer":
        raise UserError(f"{name} is no control.")
    try:
        turned = share(setting, part.taper or "linear")
    except ValueError as error:
        raise UserError(str(error)) from error
    own = {**bench.controls.get(channel, {}), part.designator: turned}
    if abs(turned - rig.unit.setup.controls.get(part.designator, 0.5)) < 1e-9:
        del own[part.designator]
    controls = {**bench.controls, channel: own} if own else {
        each: value for each, value in bench.controls.items() if each != channel}  # fmt: skip
    return Done(replace(bench, controls=controls), f"{name} of {channel} is set to {setting.strip()}.", channel,
                (part.designator,))  # fmt: skip


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


def limiter(rig: Rig, bench: Bench, rest: str) -> Done:
    """Put the lamp limiter in, or take it out."""
    into = _one_of(rest, {"in": True, "out": False})
    if bench.power:
        raise UserError("the lamp limiter goes into the mains lead: switch off first.")
    return Done(replace(bench, limiter=into), f"The lamp limiter is {'in' if into else 'out'}.")


def instrument(rig: Rig, bench: Bench, rest: str) -> Done:
    """Take an instrument."""
    if not rest:
        return Done(replace(bench, instrument=""), "Whatever fits each reading.")
    known = instruments_called(rig.unit.folder)
    name = known.get(spoken(rest))
    if name is None:
        raise UserError(f"there is no instrument '{rest}'. {nearest(rest, instruments(rig.unit.folder))}".strip())
    return Done(replace(bench, instrument=name), f"In your hand: {instruments(rig.unit.folder)[name].title}.")


def power(rig: Rig, bench: Bench, rest: str) -> Done:
    """Switch the unit on or off."""
    if not _one_of(rest, {"on": True, "off": False}):
        stored = bool(rig.unit.reservoirs or rig.unit.supplies or rig.unit.mains)
        now = replace(bench, power=False, discharged=not stored, shaken="")
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


def discharge(rig: Rig, bench: Bench, rest: str) -> Done:
    """Discharge the reservoirs, and measure them."""
    if bench.power:
        raise UserError("switch the power off first.")
    return Done(replace(bench, discharged=True), "The plug is out; every reservoir measures below 1 V.")


def lift(rig: Rig, bench: Bench, rest: str) -> Done:
    """Lift a leg of a part."""
    channel, parts = part_of(rig.unit, rest, rig.hidden.channel)
    places = tuple((channel, each) for each in parts if (channel, each) not in bench.lifted)
    now = replace(bench, lifted=(*bench.lifted, *places))
    return _handled(bench, Done(now, f"One leg of {rest.strip()} is up.", channel, parts))


def resolder(rig: Rig, bench: Bench, rest: str) -> Done:
    """Solder a leg back."""
    channel, parts = part_of(rig.unit, rest, rig.hidden.channel)
    if not any((channel, each) in bench.lifted for each in parts):
        raise UserError(f"{rest.strip()} is not lifted.")
    now = replace(bench, lifted=tuple(each for each in bench.lifted if each[0] != channel or each[1] not in parts))
    return _handled(bench, Done(now, f"{rest.strip()} is soldered back.", channel, parts))


def replace_part(rig: Rig, bench: Bench, rest: str) -> Done:
    """Put a new part in."""
    name, _, value = rest.partition(" with ")
    channel, parts = part_of(rig.unit, name, rig.hidden.channel)
    part = rig.unit.parts[parts[0]]
    if value and part.kind == "fuse" and not _same_rating(value, part.value):
        return Done(bench, "", channel, parts, hazard=hazard("fuse-rating"))
    if value and part.kind != "fuse":
        raise UserError(f"there are only parts of the same value in the drawer: replace {name.strip()}")
    where = rig.unit.channels[0].name if any(_is_shared(rig, each) for each in parts) else channel
    new = tuple((where, each) for each in parts if (where, each) not in bench.replaced)
    now = replace(
        bench, replaced=(*bench.replaced, *new), repaired=True,
        lifted=tuple(each for each in bench.lifted if each[0] != channel or each[1] not in parts),
        bridged=tuple(each for each in bench.bridged if each[0] != channel or each[1] not in parts),
    )  # fmt: skip
    return _handled(bench, Done(now, f"A new {name.strip()} is in.", channel, parts, price(part.kind)))


def _same_rating(text: str, amps: float | None) -> bool:
    try:
        return amps is not None and abs(measure(text, "current").value - amps) < 0.01 * amps
    except ValueError:
        return False


def _is_shared(rig: Rig, part: str) -> bool:
    return any(each.part == part and each.shared for each in rig.hidden.members)


def swap(rig: Rig, bench: Bench, rest: str) -> Done:
    """Exchange a part with the other channel's."""
    channel, parts = part_of(rig.unit, rest, rig.hidden.channel)
    other = other_channel(rig.unit, channel)
    if not other or (rig.hidden.good == "" and len(rig.unit.channels) > 1):
        raise UserError("there is no other channel here to swap with.")
    if any(_is_shared(rig, each) or rig.unit.parts[each].stage == "supply" for each in parts):
        raise UserError(f"{rest.strip()} serves both channels: there is no other one.")
    if any(part in parts for _, part in bench.replaced):
        raise UserError(f"{rest.strip()} is new already.")
    swapped = tuple(each for each in bench.swapped if each not in parts)
    swapped += tuple(each for each in parts if each not in bench.swapped)
    now = replace(bench, swapped=swapped, repaired=True)
    return _handled(bench, Done(now, f"{rest.strip()} and its like in {other} have changed places.", channel, parts))


def bridge(rig: Rig, bench: Bench, rest: str) -> Done:
    """Bridge a capacitor with a good one."""
    channel, parts = part_of(rig.unit, rest, rig.hidden.channel)
    if rig.unit.parts[parts[0]].kind not in CAPACITORS or not rig.unit.parts[parts[0]].value:
        raise UserError(f"{rest.strip()} is no capacitor.")
    now = replace(bench, bridged=tuple(dict.fromkeys([*bench.bridged, (channel, parts[0])])))
    return _handled(bench, Done(now, f"A good capacitor lies across {rest.strip()}.", channel, parts))


def unbridge(rig: Rig, bench: Bench, rest: str) -> Done:
    """Take the good capacitor away."""
    channel, parts = part_of(rig.unit, rest, rig.hidden.channel)
    if (channel, parts[0]) not in bench.bridged:
        raise UserError(f"nothing lies across {rest.strip()}.")
    now = replace(bench, bridged=tuple(each for each in bench.bridged if each != (channel, parts[0])))
    return _handled(bench, Done(now, f"Nothing lies across {rest.strip()} any more.", channel, parts))


def _handled(before: Bench, done: Done) -> Done:
    """Return an act of hands and tools on the parts, which is unsafe with the power on."""
    return replace(done, hazard=done.hazard or of_handling(before))


def warm(rig: Rig, bench: Bench, rest: str) -> Done:
    """Warm the unit, or a part."""
    _powered(bench)
    if not rest:
        return Done(replace(bench, warm=True), "It has run for a while, and is warm all over.")
    channel, parts = part_of(rig.unit, rest, rig.hidden.channel)
    now = replace(bench, warmed=rig.unit.parts[parts[0]].stage)
    return Done(now, f"{rest.strip()} and what is around it is hot. Read again.", channel, parts)


def cool(rig: Rig, bench: Bench, rest: str) -> Done:
    """Let the unit cool down, or cool a part."""
    if not rest:
        return Done(replace(bench, warm=False, warmed=""), "It is cold again.")
    channel, parts = part_of(rig.unit, rest, rig.hidden.channel)
    hot = set(parts) & set(rig.hidden.parts)  # with the part at fault cold, the fault is gone
    now = replace(bench, warm=bench.warm and not hot,
                  warmed="" if bench.warmed == rig.unit.parts[parts[0]].stage else bench.warmed)  # fmt: skip
    return Done(now, f"{rest.strip()} is cold. Read again.", channel, parts)


def tap(rig: Rig, bench: Bench, rest: str) -> Done:
    """Tap a part; what comes with it goes with the next tap at the same stage."""
    _powered(bench)
    channel, parts = part_of(rig.unit, rest, rig.hidden.channel)
    stage = rig.unit.parts[parts[0]].stage
    now = replace(bench, shaken="" if bench.shaken == stage else stage)
    return Done(now, f"{rest.strip()} was tapped. Read again.", channel, parts)


def _powered(bench: Bench) -> None:
    if not bench.power:
        raise UserError("the power is off: nothing would show.")


def earth(rig: Rig, bench: Bench, rest: str) -> Done:
    """Lift the oscilloscope's earth, which nobody does."""
    lifted = _one_of(rest, {"lift": True, "join": False})
    return Done(bench, "The oscilloscope is earthed.", hazard=hazard("lifted-earth") if lifted else None)


def _one_of(text: str, known: Mapping[str, bool]) -> bool:
    word = text.strip().casefold()
    if word not in known:
        raise UserError(f"'{text}' is neither {' nor '.join(known)}.")
    return known[word]


#: By the word that is typed.
DOES: dict[str, Callable[[Rig, Bench, str], Done]] = {
    "generator": generator, "frequency": frequency, "control": control, "load": load, "limiter": limiter,
    "instrument": instrument, "power": power, "discharge": discharge, "lift": lift, "resolder": resolder,
    "replace": replace_part, "swap": swap, "bridge": bridge, "unbridge": unbridge, "warm": warm, "cool": cool,
    "tap": tap, "earth": earth,
}  # fmt: skip
