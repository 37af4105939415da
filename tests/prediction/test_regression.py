"""The regression against the worked example, the closed form, and draws."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import multivariate_t

from flightlog.prediction.regression import Belief, Regression
from tests.prediction import examples as ex

EIGHT = np.column_stack(
    [
        np.ones(8),
        np.log(np.array(ex.MASS_KG) / 7.4),
        np.log(np.array(ex.DENSITY) / 1.18),
        np.log1p(
            -np.array(ex.HEADWIND)
            / (ex.AIRSPEED_M_S * np.sqrt(np.array(ex.MASS_KG) / 7.4 * 1.18 / np.array(ex.DENSITY)))
        ),
    ]
)
ROLLS = np.log(np.array(ex.ROLL_M))[:, None]


def simple() -> Regression:
    belief = Belief(
        np.array([[math.log(26)], [2.3], [-2.3], [1.85]]),
        np.diag(np.array([0.5, 0.3, 0.4, 0.25]) ** 2) / 0.08**2,
        3.0,
        np.array([0.0128]),
    )
    return Regression(belief, EIGHT, ROLLS, np.eye(8))


def test_the_worked_example_of_independent_errors():
    belief = simple().belief

    assert pytest.approx(ex.SIMPLE_MEAN, rel=1e-9) == belief.mean[:, 0]
    assert pytest.approx(ex.SIMPLE_STD, rel=1e-9) == belief.stds[:, 0]
    assert (7.0, pytest.approx(ex.SIMPLE_B, rel=1e-9)) == (belief.a, belief.b[0])


@pytest.mark.parametrize("row", ex.SIMPLE_ROWS, ids=lambda row: f"{row[0]} units")
def test_what_is_next_in_the_worked_example(row):
    _, mass, median, scale, q95, probability = row
    airspeed = ex.AIRSPEED_M_S * math.sqrt(mass / 7.4 * 1.18 / 1.17)
    x = np.array([1.0, math.log(mass / 7.4), math.log(1.17 / 1.18), math.log1p(-1.0 / airspeed)])
    said = simple().next(x, np.zeros(8), 1.0)

    assert pytest.approx(math.log(median), rel=1e-9) == said.centre[0]
    assert pytest.approx(scale, rel=1e-9) == said.scale[0]
    assert pytest.approx(math.log(q95), rel=1e-9) == said.quantile(0.95)[0]
    assert pytest.approx(probability, rel=1e-9) == said.below(math.log(32.0))[0]


def made(seed: int, n: int = 6) -> tuple[Belief, np.ndarray, np.ndarray, np.ndarray]:
    rng = np.random.default_rng(seed)
    x = np.column_stack([np.ones(n), rng.normal(size=(n, 2))])
    root = rng.normal(size=(n, n)) * 0.4
    r = root @ root.T + np.eye(n)
    belief = Belief.before(np.array([1.0, -0.5, 0.2]), np.array([0.5, 1.0, 0.3]), 3.0, 0.4)
    return belief, x, rng.normal(size=(n, 1)), r


@settings(max_examples=30)
@given(st.integers(0, 10_000))
def test_the_evidence_is_that_of_the_students_t_that_the_prior_says(seed):
    belief, x, y, r = made(seed)
    said = Regression(belief, x, y, r).log_evidence[0]
    spread = belief.b[0] / belief.a * (r + x @ belief.shape @ x.T)
    known = multivariate_t(x @ belief.mean[:, 0], spread, df=2 * belief.a).logpdf(y[:, 0])

    assert pytest.approx(known, rel=1e-8) == said


@settings(max_examples=30)
@given(st.integers(0, 10_000), st.integers(1, 5))
def test_data_one_by_one_say_what_they_say_at_once(seed, first):
    belief, x, y, r = made(seed)
    whole = Regression(belief, x, y, r)
    part = Regression(belief, x[:first], y[:first], r[:first, :first])
    said = part.next(x[first], r[first, :first], float(r[first, first]))
    grown = Regression(belief, x[: first + 1], y[: first + 1], r[: first + 1, : first + 1])
    z = (y[first, 0] - said.centre[0]) / said.scale[0]
    density = multivariate_t(0.0, 1.0, df=said.freedoms).logpdf(z) - math.log(said.scale[0])

    assert pytest.approx(grown.log_evidence[0] - part.log_evidence[0], rel=1e-7) == density
    assert np.all(np.diag(whole.belief.shape) <= np.diag(part.belief.shape) + 1e-12)


@settings(max_examples=20)
@given(st.integers(0, 10_000), st.integers(0, 5))
def test_oddness_is_that_of_a_fit_without_the_value(seed, n):
    belief, x, y, r = made(seed)
    rest = [k for k in range(6) if k != n]
    fit = Regression(belief, x[rest], y[rest], r[np.ix_(rest, rest)])
    said = fit.next(x[n], r[n, rest], float(r[n, n]))
    below = float(said.below(y[n, 0])[0])

    assert (
        pytest.approx(2 * min(below, 1 - below), rel=1e-6)
        == (Regression(belief, x, y, r).oddness()[n, 0])
    )


def test_versions_beside_each_other_are_each_as_alone():
    belief, x, y, r = made(3)
    other = y + 0.3
    both = Regression(belief, x, np.hstack([y, other]), r)
    alone = [Regression(belief, x, one, r) for one in (y, other)]
    row, shared = np.array([1.0, 0.2, 0.1]), np.full(6, 0.2)

    for n, one in enumerate(alone):
        assert pytest.approx(one.log_evidence[0]) == both.log_evidence[n]
        assert (
            pytest.approx(one.next(row, shared, 1.0).scale[0])
            == (both.next(row, shared, 1.0).scale[n])
        )


def test_without_data_stands_the_prior():
    belief, x, y, r = made(1)
    fit = Regression(belief, x[:0], y[:0], r[:0, :0])
    said = fit.next(x[0], np.zeros(0), 1.0)

    assert pytest.approx(belief.mean) == fit.belief.mean
    assert pytest.approx(0.0) == fit.log_evidence[0]
    assert pytest.approx(float(x[0] @ belief.mean[:, 0])) == said.centre[0]


def test_errors_that_can_not_be_are_refused():
    belief, x, y, _ = made(1)
    with pytest.raises(np.linalg.LinAlgError):
        Regression(belief, x, y, -np.eye(6))


def test_the_worked_example_of_shrinkage():
    """Days of 4, 6 and 2 flights: what is left of each day's mean, and what a new day scatters."""
    s, tau, counts, means = 0.05, 0.04, (4, 6, 2), (0.06, -0.02, 0.01)
    day = np.repeat(range(3), counts)
    shared = (tau / s) ** 2
    firm = 1e12  # s is known
    belief = Belief(np.zeros((0, 1)), np.zeros((0, 0)), firm, np.array([firm * s**2]))
    fit = Regression(
        belief,
        np.zeros((12, 0)),
        np.array(means)[day][:, None],
        np.eye(12) + shared * (day[:, None] == day[None, :]),
    )
    left = [fit.next(np.zeros(0), shared * (day == n), shared) for n in range(3)]
    new = fit.next(np.zeros(0), np.zeros(12), 1 + shared)

    assert pytest.approx(
        [0.04314606741573033, -0.015867768595041323, 0.005614035087719298], rel=1e-6
    ) == [float(one.centre[0]) for one in left]
    assert pytest.approx(
        [0.0211999576001272, 0.01818181818181818, 0.026490647141300876], rel=1e-6
    ) == [float(one.scale[0]) for one in left]
    assert pytest.approx(0.06403124237432849, rel=1e-6) == float(new.scale[0])
