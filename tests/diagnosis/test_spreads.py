"""Spreads over the draws, and predictions astray."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from lostgain.diagnosis.allowances import allowances
from lostgain.diagnosis.astray import prices, with_some_astray
from lostgain.diagnosis.common import common_allowance
from lostgain.diagnosis.features import DC, OHMS, Feature
from lostgain.diagnosis.hypotheses import hypotheses
from lostgain.diagnosis.likelihood import gaussian
from lostgain.diagnosis.makers import BOTH, NEAR, WILD, far_from_healthy, makers_affair
from lostgain.diagnosis.moments import moments, pairs_of
from lostgain.diagnosis.widened import widen
from lostgain.signatures.shapes import distortion
from tests.diagnosis.megaphone import megaphone

FEATURES = [Feature(0, 0, floor=1e-3), Feature(0, 1, floor=1e-3), Feature(1, 0, floor=1e-3), Feature(0, DC)]


@settings(max_examples=60)
@given(st.integers(0, 10_000), st.lists(st.sampled_from([0, 1, 3, 7, 16]), min_size=5, max_size=5))
def test_spreads_are_covariances_however_many_draws_there_are(seed: int, followed: list[int]) -> None:
    rng = np.random.default_rng(seed)
    mix = rng.normal(size=(5, 5))
    predictions = np.einsum("rsf,fg->rsg", rng.normal(size=(3, 17, 5)), mix)
    for feature, many in enumerate(followed):
        predictions[1:, 1 + many :, feature] = np.nan
    found = moments(predictions)
    for each in found.cov:
        assert each == pytest.approx(each.T)
        assert np.linalg.eigvalsh(each).min() > -1e-9 * np.trace(each)
        assert (np.diag(each) > 0).all()


def test_many_draws_give_the_usual_mean_and_variance() -> None:
    """numpy's own mean and unbiased variance."""
    predictions = np.random.default_rng(3).normal(size=(2, 17, 4))
    found = moments(predictions)
    assert found.mean == pytest.approx(predictions[:, 1:].mean(axis=1))
    assert np.diagonal(found.cov, axis1=1, axis2=2) == pytest.approx(predictions[:, 1:].var(axis=1, ddof=1))


def test_three_draws_take_the_correlation_of_the_healthy_unit() -> None:
    """Two points that carry one signal are no two witnesses, however few draws say so."""
    rng = np.random.default_rng(5)
    predictions = np.repeat(rng.normal(size=(2, 17, 1)), 2, axis=2)
    predictions[1, 4:] = np.nan
    cov = moments(predictions).cov[1]
    assert cov[0, 1] / np.sqrt(cov[0, 0] * cov[1, 1]) > 0.5


def astray(value: np.ndarray, may: np.ndarray) -> tuple[float, float]:
    """Log density with some astray, and with none."""
    spread = np.diag([1.0, 1.0, 1.0, 0.01])[None] + 0.2 * np.diag([1.0, 1.0, 1.0, 0.0])[None]
    features = FEATURES * 3
    wide = np.kron(np.eye(3), spread[0])[None]
    log = gaussian(value, np.zeros((1, 12)), wide)
    price = prices(allowances(), features)
    return float(with_some_astray(log, value, np.zeros((1, 12)), wide, may[None], price)[0]), float(log[0])


def test_a_reading_that_is_far_off_costs_its_price_and_no_more() -> None:
    value = np.full(12, 0.1)
    value[5] = 60.0
    value[3::4] = 0.01
    found, none = astray(value, np.ones(12, dtype=bool))
    rest = np.delete(value, 5)
    wide = np.delete(np.delete(np.kron(np.eye(3), np.diag([1.2, 1.2, 1.2, 0.01])), 5, 0), 5, 1)
    without = float(gaussian(rest, np.zeros((1, 11)), wide[None])[0])
    allow = allowances()
    price = np.log(allow.model_astray / (allow.prior_broad_db * np.sqrt(2 * np.pi)))
    assert found == pytest.approx(without + price, abs=1e-4)
    assert found > none + 1000


def test_what_agrees_is_not_taken_out_and_what_may_not_be_stays() -> None:
    agree = np.full(12, 0.05)
    assert astray(agree, np.ones(12, dtype=bool))[0] == astray(agree, np.ones(12, dtype=bool))[1]
    wild = agree.copy()
    wild[5] = 60.0
    found, none = astray(wild, np.zeros(12, dtype=bool))
    assert found == none


def test_a_makers_affair_is_wider_where_it_does_something_else() -> None:
    off = makers_affair(allowances(), FEATURES)
    far = np.array([[-40.0, -40.0, -20.0, 2.0], [0.0, 0.0, 0.0, 0.0]])
    sizes = {}
    for kind in (NEAR, WILD, BOTH):
        spread = np.zeros((2, 4, 4))
        off.add(spread, np.abs(far), pairs_of(np.arange(4), np.arange(4)), kind)
        assert not spread[1].any()
        sizes[kind] = np.diag(spread[0])
        assert np.linalg.eigvalsh(spread[0]).min() > -1e-9
        assert spread[0][0, 1] > 0.9 * spread[0][0, 0]  # one point at two frequencies is off alike
        assert spread[0][0, 2] == 0.0
    assert (sizes[NEAR] < sizes[BOTH]).all()
    assert (sizes[BOTH] < sizes[WILD]).all()


def test_a_level_that_is_healthy_by_chance_is_believed_as_little_as_the_others_there() -> None:
    mean = np.array([[0.0, 0.0, 0.0, 0.0], [-40.0, 0.1, 0.2, 1.0]])
    far = far_from_healthy(FEATURES, mean, 0.5)
    assert far[1] == pytest.approx([40.0, 20.0, 0.2, 1.0])
    assert far[0] == pytest.approx(np.zeros(4))
    assert far_from_healthy(FEATURES, mean, 0.0)[1] == pytest.approx([40.0, 0.1, 0.2, 1.0])


def test_with_the_power_off_nothing_is_a_makers_affair() -> None:
    off = Feature(-1, OHMS, lead="R1", meter="ohmmeter")
    far = far_from_healthy([*FEATURES, off], np.array([[0.0] * 5, [-40.0, 0.1, 0.2, 1.0, 7.0]]), 0.5)
    assert far[1] == pytest.approx([40.0, 20.0, 0.2, 1.0, 0.0])


def test_a_distorted_level_is_known_less_well() -> None:
    """A sine is as well known as before; half a sine (distortion 0.43 by its Fourier series) is so much less."""
    table = megaphone()
    waves = table.values("wave")
    point, size = waves.shape[1] - 1, waves.shape[-1]
    features = [Feature(point, index) for index in range(len(table.frequencies))]
    cov = np.zeros((len(waves), len(features), len(features)))
    widen(table, features, cov)
    allow = allowances()
    assert (cov[0] < 0.02).all()
    share = distortion(np.asarray(waves[:, point, 0], dtype=float))
    settled = np.asarray(table.data.settled.values)[:, 0]
    row = int(np.where(settled & (share < 1), share, 0).argmax())
    assert share[row] > 0.2
    each, alike = allow.model_distorted_each_db, allow.model_distorted_point_db
    assert cov[row, 0, 0] == pytest.approx(share[row] ** 2 * (each**2 + alike**2), rel=1e-2)
    assert np.linalg.eigvalsh(cov).min() > -1e-9
    half = np.maximum(np.sin(2 * np.pi * np.arange(size) / size), 0)
    assert distortion(half[None])[0] == pytest.approx(0.435, abs=0.005)


def test_what_feedback_leaves_at_a_virtual_earth_is_not_known() -> None:
    """The smaller a level is beside its stage's largest, the less; next to nothing at that one itself."""
    table = megaphone()
    levels = table.values("level")[0, 0, :, 0]
    features = [Feature(point, 0, floor=1e-6) for point in range(len(table.points))]
    cov = np.zeros((len(table.values("level")), len(features), len(features)))
    widen(table, features, cov)
    stages = [each.stage for name in table.points for each in table.circuit.unit.points if each.name == name]
    for number, stage in enumerate(stages):
        most = max(levels[other] for other, its in enumerate(stages) if its == stage)
        share = allowances().model_residue * most / levels[number]
        wanted = 20 * np.log10(1 + share)
        assert np.sqrt(cov[0, number, number]) == pytest.approx(wanted, abs=0.05)


def test_another_instrument_is_no_other_witness_of_what_is_not_known() -> None:
    table = megaphone()
    meters = Feature(0, 0, swing=True, floor=1e-3), Feature(0, 0, floor=1e-3)
    points = range(len(table.points))
    features = [replace(by, point=point, frequency=at) for point in points for at in (0, 2) for by in meters]
    features += [Feature(point, DC, ohms=ohms) for point in points for ohms in (1e6, 1e7)]
    cov = np.zeros((len(table.values("level")), len(features), len(features)))
    widen(table, features, cov)
    assert (np.diagonal(cov, axis1=1, axis2=2).max(axis=0) > 0).mean() > 0.9
    for one in range(0, len(features), 2):
        own, other, both = cov[:, one, one], cov[:, one + 1, one + 1], cov[:, one, one + 1]
        assert both == pytest.approx(np.sqrt(own * other), rel=1e-6)
    assert np.linalg.eigvalsh(cov).min() > -1e-6


def test_two_channels_errors_stay_a_covariance() -> None:
    """A point's errors are shared between channels alike at all frequencies, however differently a fault moves them."""
    table = megaphone()
    features = [Feature(point, index) for point in range(2) for index in range(len(table.frequencies))]
    keys = [(channel, feature) for channel in ("Port", "Starboard") for feature in features]
    common = common_allowance(table, keys)
    healthy = np.zeros(len(keys))
    moved = np.random.default_rng(1).uniform(-40, 40, (200, len(keys)))
    moved[:, len(features) :] = 0.0
    assert np.linalg.eigvalsh(common.shared(moved, healthy)).min() > -1e-9


def test_a_part_of_a_spread_is_that_part_of_the_whole() -> None:
    table = megaphone()
    features = [Feature(point, frequency) for point in range(4) for frequency in (0, 2, DC)]
    found = hypotheses(table, features)
    which = np.arange(len(found.fault))
    whole = found.cov(which)
    one, other = np.array([7, 0, 3]), np.array([1, 3, 11, 5])
    assert np.array_equal(found.variance(which, one), whole[:, one, one])
    assert np.array_equal(found.between(which, one, other), whole[:, one[:, None], other[None, :]])
