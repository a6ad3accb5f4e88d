"""Whole units end to end: a table, a bench sheet, and three technicians' readings matched to the fault that was in.

The tables take a minute or so each to build on two cores; they are kept with the other tests' tables.
"""

from __future__ import annotations

import tomllib
from functools import cache

import pytest

from lostgain import build_circuit, match, open_unit, read_readings, sheet, sheet_text, signature_table
from lostgain.signatures import Table

#: Unit, readings file, and how probable the part that was at fault must be.
CASES = [
    ("listening-desk", "bright-side", 0.9),
    ("listening-desk", "no-good-channel", 0.5),
    ("listening-desk", "part-way", 0.5),
    ("choir-desk", "hum-on-one-strip", 0.5),
    ("choir-desk", "no-good-channel", 0.9),
    ("choir-desk", "part-way", 0.5),
]
UNITS = sorted({unit for unit, _, _ in CASES})


@cache
def table(name: str) -> Table:
    return signature_table(build_circuit(open_unit(name)))


@pytest.mark.parametrize(("name", "file", "least"), CASES)
def test_the_part_that_was_at_fault_leads(name: str, file: str, least: float) -> None:
    unit = open_unit(name)
    folder = unit.folder / "readings"
    truth = tomllib.loads((folder / "truth.toml").read_text("utf-8"))[file]
    verdict = match(table(name), read_readings(folder / f"{file}.csv", unit))
    assert verdict.suspects[0].part == truth["part"]
    assert verdict.suspects[0].channel in (truth["channel"], "all")
    assert sum(each.probability for each in verdict.suspects if each.part == truth["part"]) >= least
    assert truth["mode"] in {each.mode for each in verdict.suspects if each.part == truth["part"]}
    assert verdict.healthy < 0.02


@pytest.mark.parametrize("name", UNITS)
def test_every_point_in_reach_is_on_the_sheet(name: str) -> None:
    text = sheet_text(sheet(table(name)))
    unit = open_unit(name)
    for point in unit.points:
        if point.reach:
            assert point.name in text
    assert unit.title in text
