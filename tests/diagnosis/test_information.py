"""What a reading is expected to tell: the invariants of information, and a value integrated another way."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays
from scipy.integrate import quad
from scipy.stats import norm

from lostgain.diagnosis.information import BINS, told, yes_or_no

ROWS = 12
means = arrays(float, ROWS, elements=st.floats(-40, 20))
sigmas = arrays(float, ROWS, elements=st.floats(0.1, 5))
weights = arrays(float, ROWS, elements=st.floats(0.01, 1))
decisions = arrays(int, ROWS, elements=st.integers(0, 4))
#: Cutting a reading into bins loses a little; two cuts of nearly the same reading may differ by this much [bit].
CUT = 0.05


def bits(decision, weight, mean, sigma) -> float:
    return float(told(decision, weight, mean[:, None], sigma[:, None]).bits[0])


@given(decisions, weights, st.floats(-40, 20), st.floats(0.1, 5))
def test_the_same_prediction_under_all_suspects_tells_nothing(decision, weight, mean, sigma) -> None:
    found = told(decision, weight, np.full((ROWS, 1), mean), np.full((ROWS, 1), sigma))
    assert found.bits[0] == pytest.approx(0, abs=1e-9)
    assert found.right[0] == pytest.approx(0, abs=1e-9)
    assert found.alike[0][decision] == pytest.approx(np.ones(ROWS), abs=1e-6)


@given(decisions, weights, means, sigmas)
def test_no_reading_tells_more_than_there_is_to_know(decision, weight, mean, sigma) -> None:
    share = np.bincount(decision, weight) / weight.sum()
    most = -sum(each * np.log2(each) for each in share if each > 0)
    assert -1e-9 <= bits(decision, weight, mean, sigma) <= most + 1e-9


@settings(max_examples=60)
@given(decisions, weights, means, sigmas, st.floats(1.0, 10.0))
def test_a_wider_error_lowers_the_expected_information(decision, weight, mean, sigma, error) -> None:
    narrow = bits(decision, weight, mean, sigma)
    assert bits(decision, weight, mean, np.hypot(sigma, error)) <= narrow + CUT


@given(decisions, weights, means, sigmas, st.floats(0.01, 100), st.floats(-50, 50))
def test_scale_and_origin_do_not_matter(decision, weight, mean, sigma, scale, origin) -> None:
    moved = bits(decision, weight, scale * mean + origin, scale * sigma)
    assert moved == pytest.approx(bits(decision, weight, mean, sigma), abs=1e-3)


def test_the_order_of_equal_predictions_moves_no_edge() -> None:
    """A difference that a larger origin swallows: which of the two is summed first is chance."""
    decision, weight = np.array([0] + [1] * 11), np.array([1.0] + [0.5] * 11)
    sigma = np.array([0.25] + [2.0] * 11)
    mean = np.zeros(12)
    mean[1] = 1.2e-75
    assert bits(decision, weight, mean + 1, sigma) == pytest.approx(bits(decision, weight, mean, sigma), abs=1e-6)


def test_a_fault_split_in_two_halves_tells_the_same() -> None:
    decision, weight = np.array([0, 1, 2]), np.array([0.5, 0.3, 0.2])
    mean, sigma = np.array([0.0, 3.0, 5.0]), np.array([1.0, 1.0, 2.0])
    split = [np.append(each, each[1]) for each in (decision, weight, mean, sigma)]
    split[1][[1, 3]] /= 2
    # The bins' edges move a little with one hypothesis more.
    assert bits(*split) == pytest.approx(bits(decision, weight, mean, sigma), abs=0.002)


@pytest.mark.parametrize("apart", [0.5, 2.0, 6.0])
def test_two_normals_against_numerical_integration(apart: float) -> None:
    """Check value: mutual information from its definition, integrated with scipy.integrate.quad."""

    def integrand(x: float) -> float:
        one, two = norm.pdf(x), norm.pdf(x, apart)
        middle = (one + two) / 2
        return sum(0.5 * each * np.log2(each / middle) for each in (one, two) if each > 0)

    exact = quad(integrand, -10, apart + 10, limit=400)[0]
    found = bits(np.array([0, 1]), np.ones(2), np.array([0.0, apart]), np.ones(2))
    assert found == pytest.approx(exact, abs=0.01)
    assert found <= exact + 1e-9  # a cut reading never tells more than the reading itself
    assert BINS >= 16


def test_a_move_that_shows_nothing_tells_nothing() -> None:
    decision, weight = np.array([0, 1, 1]), np.array([0.2, 0.5, 0.3])
    assert yes_or_no(decision, weight, np.full(3, 0.4))[0] == pytest.approx(0, abs=1e-12)
    # A certain answer tells all there is to know: the entropy of 0.2 and 0.8, from its definition.
    sure = yes_or_no(decision, weight, np.array([1.0, 0.0, 0.0]))
    assert sure[0] == pytest.approx(-0.2 * np.log2(0.2) - 0.8 * np.log2(0.8))
    assert sure[1] == pytest.approx(0.2)


def test_what_is_next_to_impossible_tells_no_infinity() -> None:
    """Products of such probabilities are zero to a computer."""
    weight = np.array([1.0, 1e-200, 1e-300])
    found = told(np.array([0, 1, 2]), weight, np.array([[0.0], [40.0], [80.0]]), np.ones((3, 1)))
    assert found.bits[0] == pytest.approx(0.0, abs=1e-20)
