"""Whole units end to end: a table, a bench sheet, and three technicians' readings matched to the fault that was in.

Their whole tables take one to eight minutes each to build. Tables with fewer faults serve: all of the parts
that were at fault, and one fault of every twelfth other part.
"""

from __future__ import annotations

import tomllib
from functools import cache
from typing import Any

import pytest

from lostgain import build_circuit, match, open_unit, read_readings, sheet, sheet_text
from lostgain.circuit import Circuit
from lostgain.faults import Fault, listing
from lostgain.readings import Reading, Readings
from lostgain.signatures import Table
from tests.tables import with_some_faults

#: Unit, readings file, and how probable the part that was at fault must be: it then leads, or looks like what leads.
CASES = [
    ("listening-desk", "bright-side", 0.9),
    ("listening-desk", "no-good-channel", 0.5),
    ("listening-desk", "part-way", 0.5),
    ("choir-desk", "hum-on-one-strip", 0.5),
    ("choir-desk", "no-good-channel", 0.9),
    ("choir-desk", "part-way", 0.5),
    ("ferry-terminal", "weak-zone", 0.9),
    ("ferry-terminal", "no-good-channel", 0.4),  # R23 open looks the same
    ("ferry-terminal", "part-way", 0.2),  # half of the readings are not taken yet
    ("clubhouse-guitar-amplifier", "hums", 0.5),
    ("clubhouse-guitar-amplifier", "no-good-channel", 0.5),
    ("clubhouse-guitar-amplifier", "part-way", 0.5),
    ("planetarium-loudspeaker", "dull", 0.5),
    ("planetarium-loudspeaker", "no-good-channel", 0.5),
    ("planetarium-loudspeaker", "part-way", 0.5),
    ("state-variable-filter", "peaks", 0.4),  # R6 off the other way looks the same
    ("state-variable-filter", "no-good-channel", 0.2),  # R5 off the same way looks the same
    ("state-variable-filter", "part-way", 0.5),
]
#: Units whose tables here have their further generator levels too, which make them half as dear again.
WITH_LEVELS = ("state-variable-filter",)
UNITS = sorted({unit for unit, _, _ in CASES})


def truths(name: str) -> dict[str, Any]:
    return tomllib.loads((open_unit(name).folder / "readings" / "truth.toml").read_text("utf-8"))


def some_faults(circuit: Circuit) -> list[Fault]:
    """All faults of the parts that were at fault, shorted output pairs, and one fault of every twelfth other part."""
    guilty = {truth["fault"].split()[0] for truth in truths(circuit.unit.name).values()}
    every = listing(circuit)
    others = list({fault.part: fault for fault in reversed(every) if fault.part not in guilty}.values())
    return [
        fault for fault in every
        if fault.part in guilty or fault.mode == "output-pair-shorted" or fault in others[::12]
    ]  # fmt: skip


@cache
def table(name: str) -> Table:
    # The others' own readings are all at the generator's own level.
    return with_some_faults(build_circuit(open_unit(name)), some_faults, levels=name in WITH_LEVELS)


@pytest.mark.parametrize(("name", "file", "least"), CASES)
def test_the_part_that_was_at_fault_leads(name: str, file: str, least: float) -> None:
    unit = open_unit(name)
    folder = unit.folder / "readings"
    truth = truths(name)[file]
    verdict = match(table(name), read_readings(folder / f"{file}.csv", unit))
    first = verdict.suspects[0]
    assert truth["part"] in {each.part for each in verdict.suspects if each.group == first.group}
    assert first.part == truth["part"] or least < 0.5
    assert first.channel in (truth["channel"], "all")
    assert sum(each.probability for each in verdict.suspects if each.part == truth["part"]) >= least
    assert truth["mode"] in {each.mode for each in verdict.suspects if each.part == truth["part"]}
    assert verdict.healthy < (0.02 if least >= 0.5 else 0.1)


@pytest.mark.parametrize("name", UNITS)
def test_every_point_in_reach_is_on_the_sheet(name: str) -> None:
    text = sheet_text(sheet(table(name)))
    unit = open_unit(name)
    for point in unit.points:
        if point.reach:
            assert point.name in text
    assert unit.title in text


def test_exchanged_leads_are_told_even_where_a_fault_explains_them() -> None:
    """A healthy 14.6 V noted as -14.6 V: a shorted output pair would make it too, and is rarer than a slip.

    Common practice, no source.
    """
    ferry = table("ferry-terminal")
    healthy = dict(zip(ferry.points, ferry.values("dc")[0, 0], strict=True))
    odd, *others = ("R18, C10 end", "U1 pin 1", "C4, plus end", "R5, hot end")
    assert healthy[odd] > 10
    rows = [_dc(odd, -healthy[odd]), *(_dc(name, healthy[name]) for name in others)]
    verdict = match(ferry, Readings(tuple(rows)))
    assert verdict.contradiction is rows[0]
    assert "the sign, or the leads exchanged" in verdict.warnings[0]
    assert not verdict.faulty
    # What no rail and no other pair of leads gives is what it was.
    plain = match(ferry, Readings((_dc(odd, -healthy[odd] / 2), *rows[1:])))
    assert plain.contradiction is None or "leads" not in plain.warnings[0]


def _dc(point: str, volts: float) -> Reading:
    return Reading(point, "dc", "Zone A", volts, instrument="dmm-trms", text=f"{volts:.3g} V")
