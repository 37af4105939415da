"""A distribution told by quantiles, beside closed forms and beside sums over samples."""

from __future__ import annotations

import math
from statistics import NormalDist

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import t as student

from flightlog.errors import UsageError
from flightlog.prediction.quantiles import LEVELS, Quantiles, levels_with


def normal(mean=30.0, std=2.0, levels=LEVELS):
    return Quantiles.of(NormalDist(mean, std).inv_cdf, levels)


def crps_of_normal(mean, std, seen):
    """Closed form (Gneiting, Raftery, Westveld & Goldman 2005, equation 5)."""
    w = (seen - mean) / std
    plain = NormalDist()
    return std * (w * (2 * plain.cdf(w) - 1) + 2 * plain.pdf(w) - 1 / math.sqrt(math.pi))


@given(st.floats(5, 60), st.floats(0.1, 8), st.floats(-6, 6))
@settings(max_examples=60)
def test_of_a_normal_distribution_everything_is_exact(mean, std, away):
    seen, kept = mean + away * std, normal(mean, std)

    assert kept.crps(seen) == pytest.approx(crps_of_normal(mean, std, seen), rel=1e-6, abs=1e-7)
    assert kept.below(seen) == pytest.approx(NormalDist(mean, std).cdf(seen), abs=1e-8)
    assert kept.quantile(0.9321) == pytest.approx(NormalDist(mean, std).inv_cdf(0.9321))


@pytest.mark.parametrize("seen", [17.0, 27.4, 30.0, 31.9, 52.0])
def test_of_a_student_t_it_is_close_to_the_integral(seen):
    t = student(6.0, 30.0, 2.0)
    # ∫ (F(x) - [x >= seen])² dx, by a sum over fine steps.
    x = np.arange(-150.0, 250.0, 0.005) + 0.0025
    truth = float(np.sum((t.cdf(x) - (x >= seen)) ** 2) * 0.005)

    assert Quantiles.of(lambda p: float(t.ppf(p))).crps(seen) == pytest.approx(truth, rel=0.01)


def test_the_levels_next_to_a_value():
    kept = normal()

    assert kept.around(30.0) == (0.5, 0.5)
    assert kept.around(30.001) == (0.5, 0.525)
    assert kept.around(1.0) == (0.0, 0.005)
    assert kept.around(99.0) == (0.995, 1.0)


def test_a_level_that_was_written_comes_back_as_it_was():
    kept = Quantiles.of(NormalDist(30, 2).inv_cdf, levels_with(0.93))

    assert NormalDist(30, 2).inv_cdf(0.93) == kept.quantile(0.93)
    assert len(LEVELS) + 1 == len(kept.levels)
    assert LEVELS == levels_with(0.95)


@pytest.mark.parametrize(
    ("levels", "values"),
    [
        ((0.1, 0.5, 0.9), (1.0, 2.0, 3.0)),
        (LEVELS, tuple(range(len(LEVELS) - 1))),
        (LEVELS, tuple([1.0] * len(LEVELS))),
        (LEVELS, tuple(float(-n) for n in range(len(LEVELS)))),
        ((*LEVELS[:-1], 1.0), tuple(float(n) for n in range(len(LEVELS)))),
        ((*LEVELS[:-1], math.nan), tuple(float(n) for n in range(len(LEVELS)))),
        (LEVELS, (*(float(n) for n in range(len(LEVELS) - 1)), math.inf)),
    ],
)
def test_what_is_no_distribution_is_refused(levels, values):
    with pytest.raises(UsageError):
        Quantiles(tuple(levels), tuple(values))
