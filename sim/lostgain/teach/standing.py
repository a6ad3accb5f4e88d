"""Which faults stand at one moment of a drill, in which channel: after replacing and swapping, and by its condition."""

from __future__ import annotations

from lostgain.faults import Fault
from lostgain.teach.hidden import Bench, Hidden
from lostgain.unit.model import Unit


def other_channel(unit: Unit, channel: str) -> str:
    """Return the channel that parts are swapped with; empty where there is none."""
    return next((each.name for each in unit.channels if each.name != channel), "")


def left(hidden: Hidden, bench: Bench, unit: Unit) -> list[tuple[str, Fault]]:
    """Return the faults that no new part has done away with, each with the channel it is in now.

    A shared part is in every channel; it is kept under the first one's name.
    """
    found = []
    for fault in hidden.members:
        channel = unit.channels[0].name if fault.shared else hidden.channel
        if fault.part in bench.swapped:
            channel = other_channel(unit, channel)
        if (channel, fault.part) not in bench.replaced:
            found.append((channel, fault))
    return found


def gone(hidden: Hidden, bench: Bench, unit: Unit) -> int:
    """Return how many of the faults have been done away with: nothing of them is left."""
    still = {fault for _, fault in left(hidden, bench, unit)}
    return sum(not still & set(fault.members or (fault,)) for fault in hidden.faults)


def whole(hidden: Hidden, bench: Bench, unit: Unit) -> bool:
    """Tell whether something that failed is left, and no half of what failed together."""
    still = {fault for _, fault in left(hidden, bench, unit)}
    parts = [set(fault.members or (fault,)) for fault in hidden.faults]
    return bool(still) and all(each <= still or not each & still for each in parts)


def shows(hidden: Hidden, bench: Bench, usual: float) -> bool:
    """Tell whether the condition holds under which a fault shows.

    Parameters
    ----------
    hidden : Hidden
    bench : Bench
    usual : float
        The generator level of the unit's own set-up [V rms].
    """
    stages = {each.stage for each in hidden.members}
    if hidden.condition == "warm":
        return bench.warm or bench.warmed in stages
    if hidden.condition == "level":
        return bench.generator >= 0.95 * usual
    if hidden.condition == "vibration":
        return bench.shaken in stages
    return True


def standing(hidden: Hidden, bench: Bench, unit: Unit, channel: str) -> tuple[Fault, ...]:
    """Return the faults that show in a channel now."""
    if not shows(hidden, bench, unit.setup.generator):
        return ()
    return tuple(fault for where, fault in left(hidden, bench, unit) if fault.shared or where == channel)
