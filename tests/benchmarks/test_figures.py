"""Figures of the benchmark on made-up answers whose figures are known."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import binomtest

from benchmarks import figures


def calibrated(count: int, seed: int = 5) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    p = rng.random(count)
    return p, (rng.random(count) < p).astype(float), np.ones(count)


def test_calibrated_probabilities_have_next_to_no_error() -> None:
    p, hit, weight = calibrated(40_000)
    found = figures.calibration_error(p, hit, weight)
    assert found.value < 0.01
    assert found.value == pytest.approx(figures.calibration_by_chance(p, weight), abs=0.005)


@pytest.mark.parametrize("said", [0.9, 0.5])
def test_boasting_and_modest_probabilities_show_by_how_much(said: float) -> None:
    """Right seven times in ten where 0.9 or 0.5 was said: off by 0.2 either way."""
    hit = np.tile([1.0] * 7 + [0.0] * 3, 400)
    found = figures.calibration_error(np.full(len(hit), said), hit, np.ones(len(hit)))
    assert found.value == pytest.approx(0.2)
    assert found.low < 0.2 < found.high


def test_weights_count_like_repeated_cases() -> None:
    p, hit, _ = calibrated(300)
    weight = np.random.default_rng(1).integers(1, 4, 300)
    by_weight = figures.calibration(p, hit, weight.astype(float))
    repeated = [np.repeat(each, weight) for each in (p, hit)]
    by_repeating = figures.calibration(*repeated, np.ones(weight.sum()))
    np.testing.assert_allclose(by_weight, by_repeating)


def test_bins_hold_the_same_weight() -> None:
    p, hit, weight = calibrated(1003)
    inside = figures.calibration(p, hit, weight)[2]
    np.testing.assert_allclose(inside, 100.3)


@pytest.mark.parametrize(("right", "count"), [(0, 12), (7, 10), (45, 50), (30, 30)])
def test_share_has_wilsons_interval(right: int, count: int) -> None:
    """Against scipy.stats.binomtest(...).proportion_ci(method='wilson')."""
    found = figures.share([True] * right + [False] * (count - right))
    theirs = binomtest(right, count).proportion_ci(method="wilson")
    assert (found.value, found.cases) == (right / count, count)
    assert (found.low, found.high) == pytest.approx((theirs.low, theirs.high), abs=1e-6)


def test_bootstrap_of_a_mean_is_as_wide_as_theory_says() -> None:
    """Mean of 400 normal deviates: 1.96/√400 either side (textbook)."""
    x = np.random.default_rng(2).standard_normal(400)
    found = figures.resampled(lambda at: float(x[at].mean()), len(x))
    assert found.high - found.low == pytest.approx(2 * 1.96 * x.std() / 20, rel=0.1)
    assert found.low < found.value < found.high


def test_ratio_is_paired() -> None:
    """Where both are right on the same cases, the ratio has no spread at all, however few cases there are."""
    hits = np.array([1.0, 0.0, 1.0, 1.0, 0.0, 0.0, 1.0])
    found = figures.ratio(hits, hits)
    assert (found.value, found.low, found.high) == (1.0, 1.0, 1.0)
    assert figures.ratio(np.array([1.0, 0.0, 1.0, 0.0]), np.ones(4)).value == 0.5


def test_log_loss() -> None:
    assert figures.log_loss([0.5, 0.5]).value == pytest.approx(math.log(2))
    assert figures.log_loss([0.0]).value == pytest.approx(-math.log(figures.LEAST))


def test_nothing_counted_is_null_in_json() -> None:
    assert figures.share([]).record() == {"value": None, "low": None, "high": None, "cases": 0}
