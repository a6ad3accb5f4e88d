"""``[mains]`` and ``[[supply]]`` of a unit file: the stages that deliver its rails, from the mains on."""

from __future__ import annotations

from dataclasses import replace

from lostgain.problems import UserError, nearest
from lostgain.unit import library
from lostgain.unit.draft import Draft
from lostgain.unit.facts import StageFacts
from lostgain.unit.kinds import kinds
from lostgain.unit.model import Mains, Reservoir, Stage, TestPoint
from lostgain.unit.names import name_fault
from lostgain.unit.parttext import PartText
from lostgain.unit.points import stage_points
from lostgain.unit.rails import part_text, quantity
from lostgain.unit.roles import read_roles
from lostgain.unit.source import Table

_OWN_KEYS = ("name", "use", "rails", "points", "heats")
#: Frequencies a mains may have [Hz]; aircraft and railways included.
_LOWEST, _HIGHEST = 10.0, 1000.0


def read_supplies(top: Table, draft: Draft) -> tuple[tuple[Stage, ...], list[TestPoint], Mains | None]:
    """Read the supply stages, and mark the rails that they deliver.

    Returns
    -------
    stages : tuple of Stage
        From the mains on. Their `rails` say which rail each port delivers, and which one ``in`` takes.
    points : list of TestPoint
    mains : Mains or None
        None where no supply is described.
    """
    tables = top.tables("supply", "[[supply]]")
    if not tables:
        if "mains" in top.data:
            top.taken.add("mains")
            top.wrong("mains", "[mains] is for a unit whose supply is described, with [[supply]].")
        return (), [], None
    feed, fuse = _mains(top)
    stages: list[Stage] = []
    points: list[TestPoint] = []
    for table in tables:
        stage = _stage(table, draft)
        if stage is None:
            continue
        if stage.name in {each.name for each in stages}:
            table.wrong("name", f"two supply stages are called “{stage.name}”.")
            continue
        stages.append(stage)
        points += stage_points(table, stage)
    first = next((stage for stage in stages if library.stage(stage.library).from_mains), None)
    if fuse is not None and first is not None:
        where = top.source.where("mains", "fuse")
        does = "mains fuse: open, nothing has any supply, and something has blown it"
        part = draft.make(fuse, first.name, "fuse", where, does, pins=kinds()["fuse"].pins)
        if draft.add(part, shared=True):
            feed = replace(feed, fuse=part.designator)
    return tuple(stages), points, feed


def check_heated(stages: tuple[Stage, ...], draft: Draft) -> None:
    """Refuse a supply stage that heats what is no valve of the unit."""
    valves = [part.designator for part in draft.parts.values() if part.kind in ("triode", "pentode")]
    for number, stage in enumerate(stages):
        for valve in set(stage.heats) - set(valves):
            draft.source.wrong(("supply", number, "heats"), f"there is no valve “{valve}”.", nearest(valve, valves))


def charged(stages: tuple[Stage, ...], draft: Draft) -> tuple[Reservoir, ...]:
    """Return the capacitors of the supply stages that stay charged, each with the rail's voltage and its bleeder."""
    volts = {rail.name: rail.volts for rail in draft.rails}
    found = []
    for stage in stages:
        facts = library.stage(stage.library)
        mine = {part.role: part for part in draft.parts.values() if part.stage == stage.name}
        for number, port in enumerate(facts.delivers, 1):
            ends = ("", str(number))
            part = next((mine[f"C{end}"] for end in ends if f"C{end}" in mine), None)
            bleeder = next((mine[f"RB{end}"].value for end in ends if f"RB{end}" in mine), None)
            if part is not None and part.value and port in stage.rails:
                rail = volts.get(stage.rails[port], 0.0)
                found.append(Reservoir(part.designator, part.value, rail, bleeder, part.where))
    return tuple(found)


def _mains(top: Table) -> tuple[Mains, PartText | None]:
    """Read the mains, and the fuse that all supply stages hang behind; None where each has its own or none."""
    table = top.table("mains", "[mains]")
    for key, example in (("volts", "230 V"), ("frequency", "50 Hz")):
        if key not in table.data:
            table.lacks(key, f"[mains] needs {key}, for example {key} = “{example}”: a supply is described.")
    volts = quantity(table, "volts", "voltage", "230 V", 230.0) or 230.0
    frequency = quantity(table, "frequency", "frequency", "50 Hz", 50.0) or 50.0
    if not _LOWEST <= frequency <= _HIGHEST:
        table.wrong("frequency", f"a mains of {frequency:g} Hz can’t be.", "Example: “50 Hz”.")
    fuse = part_text(table, "fuse", "fuse", "F1 1A")
    if fuse and not fuse.value:
        table.wrong("fuse", f"the fuse {fuse.designator} needs its current, for example “F1 1A”.")
    table.taken.add("fuse")
    table.finish()
    return Mains(volts, frequency), fuse


def _stage(table: Table, draft: Draft) -> Stage | None:
    """Read one supply stage; None where its kind is not known, which is noted."""
    name = table.text("name", required='"Rectifier"')
    if name and (fault := name_fault(name)):
        table.wrong("name", f"the supply stage’s name “{name}” {fault}.")
    use = table.text("use", required='"supply-bridge"')
    known = [each for each in library.stage_names() if library.stage(each).supplies]
    try:
        facts = library.stage(use)
    except UserError as error:
        if use in library.stage_names():
            raise  # the library's own files are at fault
        table.wrong("use", error.problems[0].message, nearest(use, known))
        facts = None
    if facts is not None and not facts.supplies:
        table.wrong("use", f"{use} delivers no rail and heats no valves.", f"Supply stages: {', '.join(known)}.")
        facts = None
    if facts is None:
        table.taken.update((*table.data,))
        return None
    rails = _rails(table, facts, name, draft)
    table.taken.add("points")
    heats = tuple(each.upper() for each in table.names("heats", 'a list of valves: ["V1A", "V1B"]'))
    if heats and not facts.heats:
        table.wrong("heats", f"{facts.name} feeds no heaters.")
    read_roles(table, facts, name, draft, _OWN_KEYS)
    return Stage(name, "library", library=use, rails=rails, heats=heats, where=table.where())


def _rails(table: Table, facts: StageFacts, name: str, draft: Draft) -> dict[str, str]:
    """Return which rail each port delivers, and which one the input takes; mark those delivered."""
    rows = table.table("rails", "rails")
    found: dict[str, str] = {}
    takes = () if facts.from_mains else ("in",)
    for port in (*facts.delivers, *takes):
        said = rows.text(port, required='"VP"').upper()
        by_name = {rail.name: rail for rail in draft.rails}
        if not said or said in draft.unread_rails:
            continue
        if said not in by_name:
            rows.wrong(port, f"there is no rail “{said}”.", nearest(said, by_name))
            continue
        rail = by_name[said]
        sign = facts.delivers.get(port)
        if sign and (rail.volts > 0) != (sign == "positive"):
            rows.wrong(port, f"{facts.name} delivers a {sign} rail at {port}; {said} is at {rail.volts:g} V.")
        elif sign and rail.fed_by:
            rows.wrong(port, f"rail {said} is delivered twice, by “{rail.fed_by}” and “{name}”.")
        elif not sign and not rail.fed_by:
            rows.wrong(port, f"{name} takes rail {said}, which no supply stage ahead of it delivers.")
        elif sign:
            draft.rails = tuple(replace(each, fed_by=name) if each is rail else each for each in draft.rails)
            draft.parts.pop(said, None)  # what fails is what delivers it
        found[port] = said
    for port in rows.rest():
        rows.wrong(port, f"{facts.name} has no rail at “{port}”.", nearest(port, (*facts.delivers, *takes)))
    return found
