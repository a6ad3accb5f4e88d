"""What ``lostgain table`` says of a signature table."""

from __future__ import annotations

import re

from lostgain.quantities import show
from lostgain.report.text_layout import joined, section, table, wrapped
from lostgain.signatures import Table

#: Failures that could not be simulated, listed at most.
LISTED = 20
#: A fault of which some tolerance draws gave no result, and what ngspice says of an analysis that gave none.
_ROUGH = r"(?:(?:^|; )\d+ (?:transients of|of \d+) tolerance draws did not converge)+"
_INNER = r" \(doAnalyses.*?\)(?=;|$)"
MISSING = "What has no numbers where something was read cannot be excluded; match says so."
ROUGH = "Some draws of the part tolerances gave no result: how far these faults vary is known less well."


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
        *([("Generator", _levels(found))] if unit.setup.levels else []),
        ("Spread", f"over {samples} draws of the part tolerances"),
        ("Unsettled", f"{unsettled} rows: still changing, at one frequency or more, when they were left"),
        ("Made with", f"ngspice {found.data.attrs['ngspice']}"),
    ]
    return joined([wrapped(unit.title), table(facts, indent=""), _failed(found)])


def _levels(found: Table) -> str:
    """Return the generator's levels: ``200 mV rms, and at 500 Hz 20 mV rms``."""
    setup = found.circuit.unit.setup
    further = ", ".join(show(each, "V rms") for each in setup.levels)
    return f"{show(setup.generator, 'V rms')}, and at {show(setup.frequencies[0], 'Hz')} also {further}"


def _failed(found: Table) -> list[str]:
    """Return what could not be simulated: with its reason what lacks numbers, in one list what has a rougher spread."""
    rows, rough = [], []
    for each, why in found.failed:
        label = each.label if each else "healthy"
        if re.fullmatch(_ROUGH, why):
            rough.append(label)
        else:
            rows.append((label, re.sub(_INNER, "", why)))
    lines = []
    if rows:
        more = len(rows) - LISTED
        lines += [*section("Not simulated, in whole or in part"), *table(rows[:LISTED])]
        lines += [f"  and {more} more"] if more > 0 else []
        lines += wrapped(MISSING)
    if rough:
        listed = ", ".join(rough[:LISTED]) + (f" and {len(rough) - LISTED} more" if len(rough) > LISTED else "")
        lines += [
            *([""] if rows else []),
            *section("With a rougher spread"),
            *wrapped(listed, "  ", "  "),
            *wrapped(ROUGH),
        ]
    return lines
