"""The speed benchmark: its sums, its comparison, and the parts of it that need ngspice on a tiny unit."""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from benchmarks.speed_floor import Floor, ratios
from benchmarks.speed_growth import chain, exponent
from benchmarks.speed_ledger import SMALL, TRANSIENT, added
from benchmarks.speed_part import Part, label, part, samples, spread
from benchmarks.speed_plain import Plain, followed
from benchmarks.speed_same import compared, same_answer
from benchmarks.speed_text import speed_text
from lostgain.circuit import Circuit, build
from lostgain.engine import Pool, Session
from lostgain.faults import listing
from lostgain.signatures.row import RowResult, empty
from tests.circuit.units import make
from tests.signatures.units import RINGING_NETLIST, RINGS


@pytest.fixture(scope="module")
def one_stage(tmp_path_factory: pytest.TempPathFactory) -> Circuit:
    return chain(1, tmp_path_factory.mktemp("chains"))


@pytest.fixture(scope="module")
def drawn(one_stage: Circuit) -> Part:
    return part(one_stage, 6, 2, seed=1)


def test_the_slope_of_a_power_law_is_its_exponent() -> None:
    parts = [5, 10, 20, 40]
    assert exponent(parts, [3 * count**1.7 for count in parts]) == pytest.approx(1.7)


def test_rows_are_drawn_one_from_each_stretch() -> None:
    places = spread(100, 10, np.random.default_rng(3))
    assert [place // 10 for place in places] == list(range(10))
    assert spread(3, 10, np.random.default_rng(3)) == [0, 1, 2]


def test_a_row_of_a_fault_has_all_samples_and_a_stray_path_one(drawn: Part) -> None:
    assert len(list(samples(drawn.faults[0]))) == drawn.samples
    assert len(list(samples(drawn.strays[0]))) == 1
    assert label(drawn.faults[0]) == drawn.faults[0].faults[0].label
    assert label(drawn.healthy) == "healthy"


def test_ratios_are_scaled_to_the_whole_table(drawn: Part) -> None:
    """Worked by hand: a fault takes 3 s against 10 s, a stray path 1 s against 2 s."""
    floor = Floor(
        ours={"fault": [{SMALL: 1.0, TRANSIENT: 2.0}], "stray": [{SMALL: 1.0, TRANSIENT: 0.0}]},
        plain={"fault": [{SMALL: 2.0, TRANSIENT: 8.0}], "stray": [{SMALL: 1.0, TRANSIENT: 1.0}]},
    )
    faults, strays = drawn.all_faults, drawn.all_strays
    found = ratios([(floor, drawn)])
    assert found["whole"] == pytest.approx((3 * faults + strays) / (10 * faults + 2 * strays))
    assert found[TRANSIENT] == pytest.approx(2 * faults / (8 * faults + strays))
    dear = Floor(ours={"fault": [{SMALL: 1.0, TRANSIENT: 9.0}], "stray": []},
                 plain={"fault": [{SMALL: 1.0, TRANSIENT: 9.0}], "stray": []})  # fmt: skip
    both = ratios([(floor, drawn), (dear, drawn)])
    assert both["whole"] == pytest.approx((13 * faults + strays) / (20 * faults + 2 * strays))
    assert added([{SMALL: 1.0, TRANSIENT: 2.0}] * 2) == {SMALL: 2.0, TRANSIENT: 4.0, "whole": 6.0}


def filled(circuit: Circuit, draws: int = 16) -> tuple[RowResult, list[Plain]]:
    """A row with a spread of its own, and the plain build's with the same numbers."""
    row = empty(circuit, draws + 1)
    rng = np.random.default_rng(5)
    row.dc[:] = rng.normal(1, 0.1, row.dc.shape)
    row.level[:] = np.exp(rng.normal(0, 0.05, row.level.shape))
    row.swing[:] = 8**0.5 * row.level
    count = row.level.shape[2]
    plain = [Plain(row.dc[n].copy(), row.level[n].copy(), row.swing[n].copy(), np.full(count, 3),
                   np.ones(count, dtype=bool)) for n in range(draws + 1)]  # fmt: skip
    return row, plain


def rings(session: Session, circuit: Circuit) -> Plain:
    setup = circuit.unit.setup
    return followed(session, circuit.flat, setup.generator, 0.0, setup.frequencies, list(circuit.points.values()))


def test_a_plain_build_is_timed_until_it_has_settled(tmp_path: Path) -> None:
    """From rest, a resonance of quality Q is off by exp(-pi n / Q) after n cycles (any textbook of circuit theory, from
    memory): within 0.1 dB after Q / pi ln(1 / 0.0116) = 8.5 of them. Two successive ones agree long before.
    """  # fmt: skip
    with Pool(workers=1) as pool:
        circuit = build(make(tmp_path / "rings", RINGS, board=RINGING_NETLIST), pool)
        (outcome,) = pool.map(rings, [circuit])
    assert outcome.error is None, outcome.error
    assert outcome.value.settled.all()
    assert 7 <= outcome.value.cycles[0] <= 12


def test_the_same_numbers_are_no_difference(one_stage: Circuit) -> None:
    found = compared("row", *filled(one_stage))
    assert found.mean.max() == pytest.approx(0, abs=1e-12)
    assert found.spread.max() == pytest.approx(0, abs=1e-12)
    assert (found.lacking, found.unsettled) == (0, 0)


def test_a_mean_half_a_spread_off_is_told_as_such(one_stage: Circuit) -> None:
    row, plain = filled(one_stage)
    row.dc[1:, 0] += 0.5 * row.dc[1:, 0].std(ddof=1)
    found = same_answer([compared("row", row, plain)])
    assert found["of_mean"] == pytest.approx(0.5)
    assert found["of_spread"] == pytest.approx(0, abs=1e-9)
    assert found["worst_rows"] == [["row", 0.5]]


def test_draws_that_are_lacking_are_counted(one_stage: Circuit) -> None:
    row, plain = filled(one_stage)
    row.level[4:, :, 1] = np.nan
    assert compared("row", row, plain).lacking == row.level.shape[1]


def test_the_chain_is_as_long_as_asked_and_each_stage_has_as_many_faults(one_stage: Circuit, tmp_path: Path) -> None:
    three = chain(3, tmp_path)
    assert len(three.unit.stages) == 3 * len(one_stage.unit.stages)
    rails = 2  # parts that are there once in any chain
    assert len(three.parts) - rails == 3 * (len(one_stage.parts) - rails)
    assert len(listing(one_stage)) < len(listing(three)) <= 3 * len(listing(one_stage))


def test_figures_are_printed_with_their_goals_and_what_was_not_measured_as_a_dash() -> None:
    text = speed_text({"units": {"one": {"naive_ratio": 31.4}}, "growth": {"one_stage": 1.04}})
    assert any("31.4" in line and "≥ 20" in line for line in text.splitlines())
    assert any("1.04" in line and "≤ 1.3" in line for line in text.splitlines())
    assert any("memory" in line and "—" in line for line in text.splitlines())
