"""``[stage.does]`` of a unit file: what each part of a netlist is there for. Of library stages their facts say it."""

from __future__ import annotations

from dataclasses import replace

from lostgain.problems import nearest
from lostgain.unit.draft import Draft
from lostgain.unit.source import Table


def say_what_parts_do(table: Table, stage: str, draft: Draft, broken: bool) -> None:
    """Give the parts of a stage their `does`.

    Parameters
    ----------
    table : Table
        The ``[[stage]]``; its ``does`` is designator to text.
    stage : str
        Its name.
    draft : Draft
        Its parts are replaced.
    broken : bool
        Whether the netlist could not be read: that a part is missing then is no mistake of its own.
    """
    rows = table.table("does", "[stage.does]")
    own = {name for name, part in draft.parts.items() if part.stage == stage}
    seen: dict[str, str] = {}
    for key in rows.data:
        designator = key.upper()
        text = rows.text(key).strip()
        if designator in seen:
            rows.wrong(key, f"what {designator} does is said twice, as {seen[designator]} and {key}.")
        elif designator in own:
            draft.parts[designator] = replace(draft.parts[designator], does=text)
        elif not broken and designator not in draft.unread:
            rows.wrong(key, f"the stage “{stage}” has no part “{key}”.", nearest(designator, own))
        seen.setdefault(designator, key)
