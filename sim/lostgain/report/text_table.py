"""What ``lostgain table`` says of a signature table."""

from __future__ import annotations

from lostgain.quantities import show
from lostgain.report.text_layout import joined, section, table, wrapped
from lostgain.signatures import Table

#: Failures that could not be simulated, listed at most.
LISTED = 20


def table_text(found: Table) -> str:
    """Return what a signature table holds, and what could not be simulated.

    Parameters
    ----------
    found : Table
    """
    unit = found.circuit.unit
    samples = found.data.sizes["sample"] - 1
    unsettled = int((~found.data["settled"].values.all(axis=1)).sum())
    modes = len({(each.part, each.mode) for each in found.faults})
    facts = [
        ("Table", found.key),
        ("Faults", f"{modes}, at {len(found.faults)} severities in all, and the healthy unit"),
        ("Test points", str(len(found.points))),
        ("Frequencies", ", ".join(show(each, "Hz") for each in found.frequencies)),
        ("Spread", f"over {samples} draws of the part tolerances"),
        ("Unsettled", f"{unsettled} rows, at one frequency or more"),
        ("Made with", f"ngspice {found.data.attrs['ngspice']}"),
    ]
    return joined([wrapped(unit.title), table(facts, indent=""), _failed(found)])


def _failed(found: Table) -> list[str]:
    if not found.failed:
        return []
    rows = [(each.label if each else "healthy", why) for each, why in found.failed[:LISTED]]
    more = len(found.failed) - LISTED
    tail = [f"  and {more} more"] if more > 0 else []
    return [*section("Not simulated, in whole or in part"), *table(rows), *tail]
