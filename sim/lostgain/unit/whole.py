"""A unit that is one netlist: its parts, and which stage each belongs to."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path

from lostgain.problems import nearest
from lostgain.unit.does import say_what_parts_do
from lostgain.unit.draft import Draft
from lostgain.unit.model import Stage
from lostgain.unit.netlistboard import parts_of
from lostgain.unit.netlistparts import read_netlist
from lostgain.unit.source import Table

#: The only stage of a unit that names none.
WHOLE = "Circuit"


def read_whole(top: Table, draft: Draft, netlist: Path, folder: Path, stages: dict[str, Stage]) -> dict[str, Stage]:
    """Add the parts of the unit's netlist to the draft, each in its stage.

    Returns
    -------
    dict
        The stages; one called ``Circuit`` with all parts where the unit file names none.
    """
    found = read_netlist(netlist, folder)
    if not stages and "stage" not in top.data:
        output = str(top.data["unit"].get("output", "out"))
        stages = {WHOLE: Stage(WHOLE, "boundary", output=output, where=top.where("unit"))}
    parts = parts_of(top.table("parts", "[parts]"), found, "", draft)
    rows = _rows(top)
    owner = _owners(rows, {part.designator for part in parts}, bool(found.problems))
    only = next(iter(stages), "") if WHOLE in stages and "stage" not in top.data else ""
    homeless = []
    for part in parts:
        stage = owner.get(part.designator, only)
        if not stage:
            homeless.append(part.designator)
        draft.add(replace(part, stage=stage))
    for row in rows:
        say_what_parts_do(row, str(row.data.get("name", "")), draft, bool(found.problems))
    nodes = {element.name: element.nodes for element in found.elements}
    order = {name: number for number, name in enumerate(stages)}
    for part in sorted(draft.parts.values(), key=lambda part: order.get(part.stage, len(order))):
        for node in nodes.get(part.role, ()) if part.stage in stages else ():
            draft.stage_of_node.setdefault(node.lower(), part.stage)
    if homeless and stages:
        top.wrong(
            "stage", f"{', '.join(homeless[:12])} {'belongs' if len(homeless) == 1 else 'belong'} to no stage.",
            "Add to the parts of one.",
        )  # fmt: skip
    return stages


def _rows(top: Table) -> list[Table]:
    """Return each ``[[stage]]`` once more: what it says of parts can be read when the netlist has been."""
    rows = top.data.get("stage", [])
    return [
        Table(top.source, ("stage", number), "[[stage]]", row)
        for number, row in enumerate(rows if isinstance(rows, list) else [])
        if isinstance(row, dict)
    ]


def _owners(rows: list[Table], known: set[str], broken: bool) -> dict[str, str]:
    """Return the stage of each part, from the ``parts`` of each ``[[stage]]``."""
    owner: dict[str, str] = {}
    for table in rows:
        for text in table.names("parts", 'a list of designators: ["R4", "C2"]'):
            designator = text.upper()
            if designator not in known and not broken:
                table.wrong("parts", f"the netlist has no part “{text}”.", nearest(designator, known))
            elif designator in owner:
                table.wrong("parts", f"{designator} is in “{owner[designator]}” already.")
            else:
                owner[designator] = str(table.data.get("name", ""))
        if "parts" not in table.data:
            table.wrong(None, "a boundary needs its parts, for example parts = [“R4”, “C2”].")
    return owner
