"""Acts of a drill that need hands and tools on the parts; none of them with the power on."""

from __future__ import annotations

from dataclasses import replace

from lostgain.faults.listing import is_shared
from lostgain.problems import UserError
from lostgain.quantities import measure
from lostgain.teach.actions import price
from lostgain.teach.done import Done
from lostgain.teach.hazards import hazard, of_handling
from lostgain.teach.hidden import Bench
from lostgain.teach.places import is_capacitor, part_of
from lostgain.teach.rig import Rig
from lostgain.teach.standing import other_channel


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
    where = rig.unit.channels[0].name if any(is_shared(rig.unit.parts[each], rig.unit) for each in parts) else channel
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


def swap(rig: Rig, bench: Bench, rest: str) -> Done:
    """Exchange a part with the other channel's."""
    channel, parts = part_of(rig.unit, rest, rig.hidden.channel)
    other = other_channel(rig.unit, channel)
    if not other or (rig.hidden.good == "" and len(rig.unit.channels) > 1):
        raise UserError("there is no other channel here to swap with.")
    if any(is_shared(rig.unit.parts[each], rig.unit) for each in parts):
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
    if not is_capacitor(rig.unit, parts[0]) or not rig.unit.parts[parts[0]].value:
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
