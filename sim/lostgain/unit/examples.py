"""``[example]`` of a library stage: a worked example, written as in a unit file, and what it should show."""

from __future__ import annotations

from collections.abc import Iterable, Iterator

from lostgain.problems import nearest
from lostgain.unit.facts import Example, Shown
from lostgain.unit.source import Table

#: What an example can show.
QUANTITIES = ("gain", "phase", "dc", "lower corner", "upper corner", "distortion", "swing")


def read_example(top: Table, roles: Iterable[str], rails: Iterable[str], nodes: Iterable[str]) -> Example | None:
    """Return the worked example of a stage; None where it has none.

    Parameters
    ----------
    top : Table
        The stage's file.
    roles, rails, nodes : iterable of str
        What it may name.
    """
    if "example" not in top.data:
        return None
    table = top.table("example", "[example]")
    example = Example(
        says=table.text("says", required='"gain of ten, flat to 20 kHz"'),
        source=table.text("source", required='"common practice, no source"'),
        parts=_texts(table, "parts", roles),
        rails=dict(_known(table, "rails", rails).data),
        setup=dict(table.table("setup", "[example.setup]").data),
        shows=tuple(_shows(table, {"in", "out", *nodes})),
    )
    table.finish()
    return example


def _known(table: Table, key: str, names: Iterable[str]) -> Table:
    rows = table.table(key, f"[example.{key}]")
    known = list(names)
    for name in rows.data:
        if name not in known:
            rows.wrong(name, f"the stage has no “{name}”.", nearest(name, known))
    return rows


def _texts(table: Table, key: str, names: Iterable[str]) -> dict[str, str]:
    rows = _known(table, key, names)
    return {name: str(rows.get(name, str, "a part in quotes: “R1 22k”", "")) for name in list(rows.data)}


def _shows(table: Table, nodes: set[str]) -> Iterator[Shown]:
    for row in table.tables("shows", "[[example.shows]]"):
        shown = Shown(
            quantity=row.text("quantity", required='"gain"'),
            at=row.text("at", "out"),
            against=row.text("against", "in"),
            frequency=row.text("frequency"),
            value=row.text("value"),
            within=row.text("within"),
            at_most=row.text("at_most"),
            at_least=row.text("at_least"),
            says=row.text("says"),
        )
        if shown.quantity and shown.quantity not in QUANTITIES:
            row.wrong("quantity", f"an example shows no “{shown.quantity}”.", nearest(shown.quantity, QUANTITIES))
        for key, node in (("at", shown.at), ("against", shown.against)):
            if node not in nodes:
                row.wrong(key, f"the stage names no node “{node}”.", nearest(node, nodes))
        if bool(shown.value) != bool(shown.within):
            row.wrong(None, "value and within go together: value = “20.8 dB”, within = “0.2 dB”.")
        if not (shown.value or shown.at_most or shown.at_least):
            row.wrong(None, "say what is to be seen: value and within, at_most or at_least.")
        row.finish()
        yield shown
