"""Simulated repairs: the same for the same seed, by the stated process, and nothing the catalogue has is missing."""

from __future__ import annotations

import numpy as np
import pytest

from benchmarks import cases
from benchmarks.broken import break_
from benchmarks.cases import Case, make, sheet, simulated
from benchmarks.parts import bench, built
from benchmarks.process import aside, process
from benchmarks.truth import Prior, severity
from lostgain.circuit import build
from lostgain.engine import Pool
from lostgain.faults import listing, modes_for
from lostgain.faults.severities import density
from lostgain.unit import find_units, open_unit

UNITS = [unit.name for unit in find_units(None)]


@pytest.fixture(scope="module")
def priors() -> dict[str, Prior]:
    return {name: Prior(build(open_unit(name))) for name in UNITS}


@pytest.mark.parametrize("unit", UNITS)
def test_every_fault_of_the_catalogue_can_be_put_in(unit: str, priors: dict[str, Prior]) -> None:
    circuit = priors[unit].circuit
    rng = np.random.default_rng(1)
    flat = built(circuit, bench(circuit, rng), rng)
    for fault in listing(circuit):
        assert break_(flat, fault, circuit, rng).lines() != flat.lines(), fault.label


@pytest.mark.parametrize("kind", ["fault", "healthy", "outsider"])
def test_same_seed_same_case(kind: str, priors: dict[str, Prior]) -> None:
    prior = priors["ferry-terminal"]
    one, again, other = (make(prior, kind, (1, number)) for number in (3, 3, 4))
    assert (one.truth, one.job) == (again.truth, again.job)
    assert one.job != other.job


def test_a_leak_at_a_wire_is_in_the_stages_at_both_ends_of_it(priors: dict[str, Prior]) -> None:
    """Where a series resistor is not fitted, the stage before and the one behind meet at one piece of copper."""
    prior = priors["ferry-terminal"]
    flat = prior.circuit.flat.elements
    assert flat["r.xs6_level_coupling.rrs_absent"].nodes == ("xs6_level_coupling.far", "n6_level_coupling")
    found = [prior.outsider(np.random.default_rng(number)) for number in range(2000)]
    there = [truth for truth in found if "leak n6_level_coupling to" in truth.says]
    assert there
    assert {truth.stages for truth in there} == {("Level coupling", "Zone level")}
    assert not any("xs6_level_coupling.far" in truth.says for truth in found), "the same copper under another name"


def test_of_two_parts_off_either_is_bad(priors: dict[str, Prior]) -> None:
    prior = priors["ferry-terminal"]
    found = [prior.outsider(np.random.default_rng(number)) for number in range(100)]
    for truth in found:
        assert len(truth.bad) == (2 if " and " in truth.says else 0)
    assert {len(truth.bad) for truth in found} == {0, 2}


def test_no_device_has_the_tables_numbers(priors: dict[str, Prior]) -> None:
    circuit = priors["ferry-terminal"].circuit
    rng = np.random.default_rng(2)
    flat = built(circuit, bench(circuit, rng), rng)
    for name, text in circuit.flat.models.items():
        assert flat.models.get(name) != text, name
    assert not any(".xu" in name for name in flat.elements), "an op-amp of the table's construction is left"


def test_makers_factors_leave_a_gap_about_one() -> None:
    rng = np.random.default_rng(3)
    drawn = np.array([aside(rng, [1.15, 1.6]) for _ in range(500)])
    assert np.all((drawn > 1.15) | (drawn < 1 / 1.15))
    assert np.abs(np.log(drawn)).max() < np.log(1.6)
    assert 0.4 < np.mean(drawn > 1) < 0.6


@pytest.mark.parametrize(("kind", "name"), [("electrolytic", "lost"), ("resistor", "drift"), ("npn", "low-gain")])
def test_severities_follow_the_stated_density(kind: str, name: str) -> None:
    """The benchmark's own drawing against the density that the diagnosis starts from."""
    mode = next(each for each in modes_for(kind) if each.name == name)
    rng = np.random.default_rng(4)
    drawn = np.log([severity(mode, rng) for _ in range(4000)])
    edges = np.linspace(np.log(min(mode.levels)), np.log(max(mode.levels)), 8)
    fine = np.linspace(edges[0], edges[-1], 7 * 200 + 1)
    height = density(mode, np.exp(fine))
    if mode.severity == "times":
        height = np.where(np.abs(fine) < np.log(1.25), 0, height)
    mass = height[:-1].reshape(7, -1).sum(axis=1)
    np.testing.assert_allclose(np.histogram(drawn, edges)[0] / 4000, mass / mass.sum(), atol=0.03)


def test_prior_follows_the_rates(priors: dict[str, Prior]) -> None:
    """Electrolytics fail twelve times as often as film resistors (rates.toml, bench default)."""
    prior = priors["ferry-terminal"]
    by_part: dict[str, float] = {}
    for fault, share in zip(prior.modes, prior.shares, strict=True):
        if not fault.members:
            by_part[fault.part] = by_part.get(fault.part, 0.0) + share
    assert sum(prior.shares) == pytest.approx(1)
    assert by_part["C6"] / by_part["R9"] == pytest.approx(12, rel=0.05)


@pytest.mark.usefixtures("nothing_kept")
def test_simulated_once_and_read_alike(priors: dict[str, Prior]) -> None:
    circuit = priors["state-variable-filter"].circuit
    case = make(priors["state-variable-filter"], "healthy", (1, 1))
    done: list[int] = []
    with Pool(workers=1, time_limit=30) as pool:
        simulated([case], circuit, pool, lambda count, _: done.append(count))
        again = make(priors["state-variable-filter"], "healthy", (1, 1))
        simulated([again], circuit, pool, lambda count, _: done.append(count))
    assert done == [1], "the second was simulated anew"
    assert case.usable
    assert case.carried is not None
    assert case.carried.confirmed(process()["simulation"]["agree_db"], 1e-3)
    rows = sheet(circuit, case).rows
    assert rows == sheet(circuit, again).rows
    assert len(rows) == 3 * (3 + 1), "three points: a level at each of three frequencies, and DC"
    assert rows != sheet(circuit, case, draw=1).rows


@pytest.mark.usefixtures("nothing_kept")
@pytest.mark.parametrize(("limit", "looks"), [(0.02, 1), (9.0, 2)])
def test_what_takes_too_long_is_not_tried_by_every_run(
    limit: float, looks: int, priors: dict[str, Prior], monkeypatch: pytest.MonkeyPatch
) -> None:
    """It is tried again where the run was less patient than a benchmark is."""
    monkeypatch.setattr(cases, "LIMIT", limit)
    circuit = priors["state-variable-filter"].circuit
    found: list[Case] = [make(priors["state-variable-filter"], "healthy", (1, 2)) for _ in range(2)]
    done: list[int] = []
    with Pool(workers=1, time_limit=0.02) as pool:
        for case in found:
            simulated([case], circuit, pool, lambda count, _: done.append(count))
    assert len(done) == looks
    for case in found:
        assert not case.usable
        assert case.carried is not None
        assert "took longer than 0.02 s" in case.carried.status
