"""The robust line against the worked example and an independent implementation."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import theilslopes

from flightlog.prediction.mann_kendall import variance
from flightlog.prediction.theil_sen import slope_of, weighted_median
from tests.prediction.test_mann_kendall import RESISTANCE

CYCLES = np.array([2, 5, 9, 14, 18, 23, 29, 34, 40, 46], dtype=float)


def test_the_worked_example_to_full_precision():
    found = slope_of(CYCLES, RESISTANCE, np.ones(10), variance(RESISTANCE))

    assert found.value == pytest.approx(0.08571428571428572, rel=1e-14)
    assert found.low == pytest.approx(0.06666666666666682, rel=1e-14)
    assert found.high == pytest.approx(0.10952380952380938, rel=1e-14)
    assert found.at_zero == pytest.approx(27.542857142857144, rel=1e-14)


@pytest.mark.parametrize("n", [5, 6, 9, 14, 31])
def test_slope_and_interval_are_those_of_another_implementation(n):
    chance = np.random.default_rng(n)
    y, x = chance.normal(size=n), np.sort(chance.choice(100, n, replace=False)).astype(float)
    found = slope_of(x, y, np.full(n, 0.37), variance(y))
    other = theilslopes(y, x)

    assert (found.value, found.low, found.high, found.at_zero) == pytest.approx(
        (other.slope, other.low_slope, other.high_slope, other.intercept), rel=1e-12
    )


@settings(max_examples=40)
@given(st.lists(st.floats(-1e3, 1e3), min_size=5, max_size=12), st.floats(-10, 10))
def test_a_line_that_is_added_is_added_to_slope_and_interval(values, tilt):
    y = np.array(values)
    x = np.arange(len(y), dtype=float)
    plain = slope_of(x, y, np.ones(len(y)), variance(x))
    tilted = slope_of(x, y + tilt * x, np.ones(len(y)), variance(x))

    for one, other in ((plain.value, tilted.value), (plain.low, tilted.low)):
        assert other == pytest.approx(one + tilt, abs=1e-6)
    assert plain.low <= plain.value <= plain.high


def test_a_flight_measured_badly_counts_for_less():
    x = np.arange(9.0)
    y = np.where(x < 5, x, -50.0)  # the last four are far off
    weights = np.where(x < 5, 1.0, 0.05)

    assert slope_of(x, y, np.ones(9), variance(y)).value < 0.0
    assert slope_of(x, y, weights, variance(y)).value == pytest.approx(1.0)


def test_a_median_of_weights():
    assert weighted_median(np.array([3.0, 1.0, 2.0]), np.ones(3)) == 2.0
    assert weighted_median(np.array([3.0, 1.0]), np.ones(2)) == 2.0
    assert weighted_median(np.array([3.0, 1.0]), np.array([3.0, 1.0])) == 3.0
