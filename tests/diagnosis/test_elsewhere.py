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
from lostgain.signatures.row import RowTask
from lostgain.signatures.rows import run_row
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
    """Level and DC at every point of the small unit with a stray path in it, followed in time."""
    table = megaphone()
    stray = replace(next(each for each in table.strays if each.nodes == nodes), ohms=ohms)
    circuit = replace(table.circuit, flat=put_stray(table.circuit.flat, stray))
    with Pool(1) as pool:
        row = pool.map(run_row, [RowTask(circuit, (), [], np.zeros((0, 0)), 0)])[0].value
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
    assert verdict.elsewhere[0].probability <= verdict.unexplained + 1e-9
    text = " ".join(verdict_text(verdict, megaphone().circuit.unit, rows).split())
    assert f"to {end}" in text
    assert "solder, dirt or another fault there" in text


def test_a_bridge_across_a_stage_is_placed() -> None:
    nodes = [each.nodes for each in megaphone().strays if not each.end and "First stage" in each.stages][-1]
    verdict = match(megaphone(), readings(*read(0.5, nodes)))
    assert verdict.unexplained > 0.5
    assert verdict.elsewhere[0].text == "like a bridge between U1A pin out and R3 pin 2"


def test_a_part_of_the_catalogue_is_not_taken_for_one() -> None:
    verdict = match(megaphone(), readings(*taken("C1 open")))
    assert probability(verdict, "C1") > 0.9
    assert verdict.unexplained < 0.02


def test_small_signal_analysis_gives_a_stray_path_what_the_transient_gives_where_nothing_clips() -> None:
    """As far as a bench can tell."""
    table = megaphone()
    task = RowTask(table.circuit, (), [], np.zeros((0, 0)), 0)
    quiet = [each for each in table.strays if each.stages == ("Input coupling",)]
    bridged = [replace(table.circuit, flat=put_stray(table.circuit.flat, each)) for each in quiet]
    with Pool(1) as pool:
        healthy = pool.map(run_row, [task])[0].value
        short = pool.map(run_row, [replace(task, instead=each, healthy=healthy) for each in quiet])
        whole = pool.map(run_row, [replace(task, circuit=each) for each in bridged])
    assert quiet
    for one, other in zip(short, whole, strict=True):
        heard = other.value.level > 1e-3
        assert 20 * np.log10(one.value.level[heard] / other.value.level[heard]) == pytest.approx(0, abs=0.1)
        assert one.value.wave == pytest.approx(other.value.wave, abs=0.02 * np.abs(other.value.wave).max())
        assert one.value.dc == pytest.approx(other.value.dc, abs=1e-6)
