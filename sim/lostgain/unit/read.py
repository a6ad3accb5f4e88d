"""From a unit's folder, file or name to a `Unit`, or to every mistake in it."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from lostgain.problems import nearest
from lostgain.unit.branches import check_inputs, read_from
from lostgain.unit.channels import read_channels
from lostgain.unit.doubts import doubts
from lostgain.unit.draft import Draft
from lostgain.unit.find import unit_file
from lostgain.unit.model import Stage, TestPoint, Unit
from lostgain.unit.names import NODE
from lostgain.unit.points import in_order, listed_points, stage_points
from lostgain.unit.rails import read_rails, read_reservoirs, read_tolerances
from lostgain.unit.setup import read_setup
from lostgain.unit.source import Source, Table
from lostgain.unit.stages import netlist_file, read_stage
from lostgain.unit.supplies import charged, check_heated, read_supplies
from lostgain.unit.whole import read_whole

#: Most stages of a channel; one of a mixing desk has some twenty.
MOST_STAGES = 200

_SECTIONS = (
    "unit",
    "channel",
    "rails",
    "reservoir",
    "setup",
    "tolerances",
    "stage",
    "parts",
    "point",
    "mains",
    "supply",
)


def open_unit(name_or_path: str | Path) -> Unit:
    """Return a unit.

    Parameters
    ----------
    name_or_path : str or Path
        The unit's folder, its unit file, or the name of a shipped unit.

    Raises
    ------
    UserError
        With every mistake found in its files.
    """
    file = unit_file(name_or_path)
    folder = file.parent.absolute()  # workers read its netlists too, and stand elsewhere
    source = Source(file)
    source.respell(_SECTIONS)
    top = Table(source, (), "the unit file", source.data)
    draft = Draft(source, read_tolerances(top))
    draft.rails = read_rails(top, draft)
    reservoirs = read_reservoirs(top, draft)
    head = top.table("unit", "[unit]")
    title = head.text("title", required='"Two-zone announcement amplifier"')
    head.respell("netlist")  # what the rest of the file may hold depends on it
    netlist = netlist_file(head, head.text("netlist"), folder) if "netlist" in head.data else None
    of_netlist = "netlist" in head.data
    supplies, supply_points, feed = read_supplies(top, draft)
    reservoirs += charged(supplies, draft)
    stages, points = _stages(top, draft, folder, of_netlist)
    points += supply_points
    check_heated(supplies, draft)
    if of_netlist and netlist:
        stages = read_whole(top, draft, netlist, folder, stages)
    elif not of_netlist and "parts" in top.data:
        top.taken.add("parts")
        top.wrong("parts", "[parts] is for a unit that is one netlist; [unit] names none.")
    else:
        top.taken.add("parts")
    points += listed_points(top, stages, draft, of_netlist)
    ordered = in_order(points, {**{stage.name: stage for stage in supplies}, **stages}, draft)
    unit = Unit(
        name=file.parent.resolve().name if file.name == "unit.toml" else file.stem,
        title=title,
        folder=folder,
        file=file,
        stages=tuple(stages.values()),
        parts=draft.parts,
        points=ordered,
        channels=read_channels(top, draft, ordered),
        setup=read_setup(top, draft, stages.values()),
        about=head.text("about"),
        invented=head.flag("invented"),
        netlist=netlist,
        input=_node(head, "input", "in", of_netlist),
        output=_node(head, "output", "out", of_netlist),
        rails=draft.rails,
        supplies=supplies,
        feed=feed,
        reservoirs=reservoirs,
        mains=head.flag("mains"),
        isolated=head.flag("isolated", True),
        bridged=head.flag("bridged"),
        output_stage=head.flag("output_stage"),
        cautions=tuple(head.names("cautions", "a list of texts")),
        left_out=tuple(draft.left_out),
        doubts=tuple(doubts(draft.parts.values(), reservoirs)),
    )
    head.finish()
    _check_start(top, unit)
    for key in top.rest()[:100]:
        top.wrong(key, f"a unit file has no [{key}].", nearest(key, _SECTIONS))
    source.settle()
    return unit


def _stages(top: Table, draft: Draft, folder: Path, of_netlist: bool) -> tuple[dict[str, Stage], list[TestPoint]]:
    """Read every ``[[stage]]`` with its test points."""
    stages: dict[str, Stage] = {}
    points: list[TestPoint] = []
    plain: dict[str, str] = {}  # names that differ in punctuation only would be one name in a netlist
    tables = top.tables("stage", "[[stage]]")
    if not tables and not of_netlist and not isinstance(top.data.get("stage"), dict):
        top.wrong(None, "the unit has no [[stage]], and [unit] names no netlist.")
    if len(tables) > MOST_STAGES:
        tables[MOST_STAGES].wrong(None, f"the unit has {len(tables)} stages; at most {MOST_STAGES} are read.")
    for table in tables[:MOST_STAGES]:
        takes_from = "" if of_netlist else read_from(table, stages)
        stage = replace(read_stage(table, draft, folder, of_netlist), takes_from=takes_from)
        last = takes_from.partition("/")[0] or next(reversed(stages), "")
        check_inputs(table, stage, stages.get(last))
        key = "".join(letter for letter in stage.name.lower() if letter.isalnum())
        if key and key in plain:
            table.wrong("name", f"the stages “{plain[key]}” and “{stage.name}” can't be told apart by name.")
        plain.setdefault(key, stage.name)
        stages.setdefault(stage.name, stage)
        points += stage_points(table, stage)
    return stages, points


def _node(head: Table, key: str, default: str, of_netlist: bool) -> str:
    """Read the node the generator drives or the load hangs on."""
    if not of_netlist:
        if key in head.data:
            head.taken.add(key)
            head.wrong(key, f"{key} is for a unit that is one netlist; a chain has its ends.")
        return default
    node = head.text(key, default, required=f'"{default}"')
    if node and not NODE.fullmatch(node):
        head.wrong(key, f"“{node}” can't be a node of the netlist.")
        return default
    return node


def _check_start(top: Table, unit: Unit) -> None:
    """A description may start at a test point; one that is listed must then be the first stage's input."""
    for point in unit.points:
        if unit.setup.start != point.name or unit.netlist or not unit.stages:
            continue
        if point.node not in ("in", f"{unit.stages[0].name}/in"):
            top.source.wrong(
                ("setup", "start"),
                f"start = “{point.name}” lies inside the unit; the first stage must begin there.",
                "Leave out the stages ahead of it.",
            )
