"""Stray paths: what the table holds of faults that are no part's."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lostgain import build_circuit, match, open_unit
from lostgain.engine import Pool
from lostgain.faults import put_stray, strays
from lostgain.readings.model import Reading
from lostgain.report.text_match import verdict_text
from lostgain.signatures.rows import RowTask, run_row
from tests.diagnosis.megaphone import UNITS, dc, level, megaphone, probability, readings, taken, word


def test_a_stray_path_lies_where_no_part_does() -> None:
    circuit = build_circuit(open_unit(UNITS / "megaphone"))
    found = strays(circuit)
    assert found
    for stray in found:
        for name, place in circuit.parts.items():
            pins = {circuit.node_of(name, pin) for pin in place.pins}
            assert not set(stray.nodes) <= pins, (stray, name)
        assert stray.stages
        assert len(put_stray(circuit.flat, stray).elements) == len(circuit.flat.elements) + 1
    assert len({(each.nodes, each.ohms) for each in found}) == len(found)


def test_the_table_holds_them_after_the_faults() -> None:
    table = megaphone()
    labels = [str(each) for each in table.data.fault.values]
    assert labels[0] == "healthy"
    assert labels[1 + len(table.faults) :] == [stray.label for stray in table.strays]


def read(ohms: float, nodes: tuple[str, str]) -> list[Reading]:
    """Level and DC at every point of the small unit with a stray path in it."""
    table = megaphone()
    stray = replace(next(each for each in table.strays if each.nodes == nodes), ohms=ohms)
    with Pool(1) as pool:
        row = pool.map(run_row, [RowTask(table.circuit, (), [], np.zeros((0, 0)), 0, stray=stray)])[0].value
    rows = []
    for place, name in enumerate(table.points):
        for index, frequency in enumerate(table.frequencies):
            volts = float(row.level[0, place, index])
            rows.append(
                level(name, volts, "Port", frequency) if volts > 2e-3 else word(name, "nothing", "Port", frequency)
            )
        rows.append(dc(name, float(row.dc[0, place])))
    return rows


@pytest.mark.parametrize(("stage", "end", "ohms"), [("First stage", "VP", 12e3), ("Input coupling", "ground", 500.0)])
def test_dirt_between_a_node_and_a_rail_is_placed(stage: str, end: str, ohms: float) -> None:
    """At a resistance between those of the table; which it is, is known within a factor of two."""
    nodes = next(each.nodes for each in megaphone().strays if each.end == end and each.stages == (stage,))
    rows = readings(*read(ohms, nodes))
    verdict = match(megaphone(), rows)
    assert verdict.unexplained > 0.5
    assert 0.5 < verdict.elsewhere[0].ohms / ohms < 2
    assert verdict.elsewhere[0].stages == (stage,)
    assert verdict.elsewhere[0].probability <= verdict.unexplained
    text = " ".join(verdict_text(verdict, megaphone().circuit.unit, rows).split())
    assert f"to {end}" in text
    assert "solder, dirt or another fault there" in text


def test_a_bridge_between_two_outputs_is_placed() -> None:
    nodes = [each.nodes for each in megaphone().strays if not each.end and "Second stage" in each.stages][-1]
    verdict = match(megaphone(), readings(*read(0.5, nodes)))
    assert verdict.unexplained > 0.5
    assert verdict.elsewhere[0].text == "like a bridge between U1A pin out and U1B pin out"


def test_a_part_of_the_catalogue_is_not_taken_for_one() -> None:
    verdict = match(megaphone(), readings(*taken("C1 open")))
    assert probability(verdict, "C1") > 0.9
    assert verdict.unexplained < 0.02
