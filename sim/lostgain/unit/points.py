"""Test points of a unit file: ``[stage.points]`` and ``[[point]]``."""

from __future__ import annotations

from collections.abc import Mapping

from lostgain.problems import nearest
from lostgain.unit import library
from lostgain.unit.draft import Draft
from lostgain.unit.model import Printed, Stage, TestPoint
from lostgain.unit.names import NODE, name_fault
from lostgain.unit.rails import volts
from lostgain.unit.setup import level
from lostgain.unit.source import Table


def stage_points(table: Table, stage: Stage) -> list[TestPoint]:
    """Read ``[stage.points]``: node of the stage to a name, or to a table with name, minutes, reach, printed, about."""
    rows = table.table("points", "[stage.points]")
    found = []
    for node in list(rows.data):
        if isinstance(rows.data[node], str):
            rows.taken.add(node)
            row = Table(rows.source, (*rows.path, node), f"point {node}", {"name": rows.data[node]})
            at_name = None
        else:
            row, at_name = rows.table(node, f"point {node}"), "name"
        if fault := _node_fault(node, stage):
            rows.wrong(node, *fault)
            continue
        name = row.text("name", required='"U2 pin 7"')
        whole = f"{stage.name}/{node}" if stage.source != "boundary" else node
        found.append(_point(row, name, at_name, whole, stage.name))
    return found


def _node_fault(node: str, stage: Stage) -> tuple[str, str] | None:
    """Return message and guess for a node that the stage doesn't have, as far as its facts tell."""
    if not NODE.fullmatch(node):
        return f"“{node}” can't be the name of a node.", ""
    if stage.source == "library":
        facts = library.stage(stage.library)
        known = {*facts.ports, *facts.nodes}
    elif stage.source == "stand-in":
        known = {"in", "out"}
    else:
        return None  # a netlist's own nodes are known once ngspice has read it
    if node in known:
        return None
    return f"{stage.library or stage.source} has no node “{node}”.", nearest(node, known)


def listed_points(top: Table, stages: Mapping[str, Stage], draft: Draft, of_netlist: bool) -> list[TestPoint]:
    """Read ``[[point]]``."""
    found = []
    for row in top.tables("point", "[[point]]"):
        name = row.text("name", required='"TP4"')
        node = row.text("node", required='"lp"' if of_netlist else '"Preamplifier/inn"')
        stage = _stage_of(row, node, stages, draft, of_netlist) if node else ""
        found.append(_point(row, name, "name", node, stage))
    return found


def _stage_of(row: Table, node: str, stages: Mapping[str, Stage], draft: Draft, of_netlist: bool) -> str:
    """Return the stage a listed point lies in; note a node that can't be."""
    said = row.text("stage")
    if said and said not in stages:
        row.wrong("stage", f"there is no stage “{said}”.", nearest(said, stages))
        return ""
    if of_netlist:
        if not NODE.fullmatch(node):
            row.wrong("node", f"“{node}” can't be a node of the netlist.")
        by_output = next((stage.name for stage in stages.values() if stage.output == node), "")
        return said or by_output or draft.stage_of_node.get(node.lower(), "")
    if node == "in":
        return said or next(iter(stages), "")
    name, slash, inner = node.partition("/")
    if not slash:
        example = f"{next(iter(stages), 'Preamplifier')}/out"
        row.wrong("node", f"“{node}” is no node: expected STAGE/NODE, for example “{example}”.")
    elif name not in stages:
        row.wrong("node", f"“{node}”: there is no stage “{name}”.", nearest(name, stages))
    elif fault := _node_fault(inner, stages[name]):
        row.wrong("node", *fault)
    elif said and said != name:
        row.wrong("stage", f"the node is in stage “{name}”, not in “{said}”.")
    return name if name in stages else ""


def _point(row: Table, name: str, at_name: str | None, node: str, stage: str) -> TestPoint:
    """Read what all test points have: name, minutes, reach, printed values, what is seen there."""
    if name and (fault := name_fault(name)):
        row.wrong(at_name, f"the test point's name “{name}” {fault}.")
    minutes = float(row.get("minutes", (int, float), "a number of minutes", 1.0))
    if not 0 <= minutes <= 600:
        row.wrong("minutes", f"minutes = {minutes:g} should lie between 0 and 600.")
    reach = row.flag("reach", True)
    printed = _printed(row.table("printed", "printed"))
    about = row.text("about")
    row.finish(("node", "stage"))
    return TestPoint(name, node, stage, minutes, reach, printed, row.where(), about)


def _printed(table: Table) -> tuple[Printed, ...]:
    """Read the level and the DC voltage printed on the schematic."""
    found = []
    for quantity, read, example in (("dc", volts, "0 V"), ("level", level, "310 mV rms")):
        value = read(table, quantity, example)
        if value is not None:
            found.append(Printed(quantity, value, table.data[quantity], table.where(quantity)))
    table.finish()
    return tuple(found)


def in_order(points: list[TestPoint], stages: Mapping[str, Stage], draft: Draft) -> tuple[TestPoint, ...]:
    """Return the points in the order of the stages, supply stages first; note two of one name."""
    seen: dict[str, TestPoint] = {}
    for point in points:
        key = point.name.lower()
        if key and key in seen:
            first = seen[key].where.line
            draft.wrong(point.where, f"two test points are called “{point.name}”; the first is in line {first}.")
        seen.setdefault(key, point)
    order = {name: number for number, name in enumerate(stages)}
    return tuple(sorted(points, key=lambda point: -1 if point.node == "in" else order.get(point.stage, len(order))))
