"""What each act of a drill does to the bench; readings apart."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import replace

from lostgain.problems import UserError, nearest
from lostgain.quantities import measure, show, show_level
from lostgain.readings import instruments
from lostgain.readings.instruments import called as instruments_called
from lostgain.readings.instruments import spoken
from lostgain.teach.done import Done, one_of
from lostgain.teach.handling import bridge, lift, replace_part, resolder, swap, unbridge
from lostgain.teach.hazards import hazard
from lostgain.teach.hidden import Bench
from lostgain.teach.places import part_of
from lostgain.teach.powering import load, power
from lostgain.teach.rig import Rig
from lostgain.unit.controls import share


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


def limiter(rig: Rig, bench: Bench, rest: str) -> Done:
    """Put the lamp limiter in, or take it out."""
    into = one_of(rest, {"in": True, "out": False})
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


def discharge(rig: Rig, bench: Bench, rest: str) -> Done:
    """Discharge the reservoirs, and measure them."""
    if bench.power:
        raise UserError("switch the power off first.")
    return Done(replace(bench, discharged=True), "The plug is out; every reservoir measures below 1 V.")


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
    """Tap a part: what comes with it goes with the next tap at the same stage, and stays so until then."""
    channel, parts = part_of(rig.unit, rest, rig.hidden.channel)
    stage = rig.unit.parts[parts[0]].stage
    shaken = bench.shaken
    if stage in {each.stage for each in rig.hidden.members}:
        shaken = "" if shaken == stage else stage
    says = f"{rest.strip()} was tapped, and what is around it shook with it. Read again."
    return Done(replace(bench, shaken=shaken), says, channel, parts)


def _powered(bench: Bench) -> None:
    if not bench.power:
        raise UserError("the power is off: nothing would show.")


def earth(rig: Rig, bench: Bench, rest: str) -> Done:
    """Lift the oscilloscope's earth, which nobody does."""
    lifted = one_of(rest, {"lift": True, "join": False})
    return Done(bench, "The oscilloscope is earthed.", hazard=hazard("lifted-earth") if lifted else None)


#: By the word that is typed.
DOES: dict[str, Callable[[Rig, Bench, str], Done]] = {
    "generator": generator, "frequency": frequency, "control": control, "load": load, "limiter": limiter,
    "instrument": instrument, "power": power, "discharge": discharge, "lift": lift, "resolder": resolder,
    "replace": replace_part, "swap": swap, "bridge": bridge, "unbridge": unbridge, "warm": warm, "cool": cool,
    "tap": tap, "earth": earth,
}  # fmt: skip
