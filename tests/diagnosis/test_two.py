"""Two failures at once."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest

from lostgain import build_circuit, open_unit
from lostgain.diagnosis import two_at_once, unexplained_alone
from lostgain.diagnosis.driven import drives_of, predicted_again
from lostgain.diagnosis.features import Feature
from lostgain.engine import Pool
from lostgain.faults import Fault, listing
from lostgain.signatures.row import RowTask
from lostgain.signatures.rows import run_row
from tests.diagnosis.megaphone import UNITS, ask, dc, level, megaphone, readings, row_of, word
from tests.tables import with_some_faults


def test_two_failures_that_no_single_one_explains_are_found() -> None:
    """C1 leaks away most of the bass and the gain of the second stage has gone up: no part does both."""
    table = megaphone()
    pair: tuple[Fault, ...] = tuple(table.faults[row_of(label) - 1] for label in ("C1 lost 0.001", "R6 drift 2.5"))
    with Pool(2) as pool:
        row = pool.map(run_row, [RowTask(table.circuit, pair, [], np.zeros((0, 0)), 0)])[0].value
        rows = []
        for place, name in enumerate(table.points):
            for index, frequency in enumerate(table.frequencies):
                volts = float(row.level[0, place, index])
                rows.append(
                    level(name, volts, "Port", frequency) if volts > 2e-3 else word(name, "nothing", "Port", frequency)
                )
            rows.append(dc(name, float(row.dc[0, place])))
        verdict = ask(*rows)
        assert unexplained_alone(verdict)
        tried = two_at_once(table, readings(*rows), pool)
    assert 0 < tried.tried <= tried.possible
    assert set(tried.pairs[0].parts) <= {"C1", "R6", "R5"}
    assert "C1" in tried.pairs[0].parts
    assert tried.pairs[0].probability > 0.3


def test_the_time_stated_is_kept() -> None:
    rows = [level("J1 tip", 0.0993), level("R2, left end", 1.7), level("R2, right end", 0.01), level("U1 pin 1", 3.0)]
    with Pool(1) as pool:
        tried = two_at_once(megaphone(), readings(*rows), pool, seconds=0.0)
    assert tried.tried <= 1
    assert tried.possible > 5


def test_readings_at_a_further_level_of_the_generator_are_for_two_as_well() -> None:
    """At half of what the set-up gives: only what was read at is simulated, and it is what ngspice gives there."""
    circuit = build_circuit(open_unit(UNITS / "megaphone"))
    setup = replace(circuit.unit.setup, levels=(circuit.unit.setup.generator / 2,))
    table = with_some_faults(
        replace(circuit, unit=replace(circuit.unit, setup=setup)),
        lambda circuit: [each for each in listing(circuit) if each.part in ("C1", "R6")],
        levels=True,
    )
    labels = [fault.label for fault in table.faults]
    pair = tuple(table.faults[labels.index(label)] for label in ("C1 lost 0.001", "R6 drift 2.5"))
    many = len(table.frequencies)
    places = range(len(table.points))
    features = [Feature(place, frequency) for place in places for frequency in range(many + 1)] + [Feature(0, -1)]
    drives = drives_of(table.circuit, features)
    assert [(each.first, each.circuit.unit.setup.generator) for each in drives] == [
        (0, setup.generator), (many, setup.generator / 2)]  # fmt: skip
    with Pool(2) as pool:
        found = pool.map(run_row, [RowTask(each.circuit, pair, [], np.zeros((0, 0)), 0) for each in drives])
        made = [each.value for each in found]
        volts = np.concatenate([each.level[0] for each in made], axis=1)
        rows = [replace(level(name, float(volts[place, number]), frequency=drive.frequency), generator=drive.generator)
                for place, name in enumerate(table.points) for number, drive in enumerate(table.drives)
                if volts[place, number] > 2e-3]  # fmt: skip
        tried = two_at_once(table, readings(*rows), pool)
    shown = predicted_again(drives, made, features, "").reshape(-1)
    assert shown[-2] == pytest.approx(20 * np.log10(volts[-1, -1]), abs=0.01)
    assert shown[-1] == pytest.approx(0.0, abs=1e-3)  # the input has no DC
    assert set(tried.pairs[0].parts) == {"C1", "R6"}
    own = drives_of(table.circuit, [Feature(0, 1)])
    assert [each.first for each in own] == [0]
    assert len(drives_of(table.circuit, [Feature(0, 0), Feature(0, many)])) == 2
