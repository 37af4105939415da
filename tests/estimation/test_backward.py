"""Sums from the last step to the first against the plain loop."""

from __future__ import annotations

import numpy as np
import pytest
from scipy.linalg import cholesky_banded

from flightlog.estimation.backward import backward_covariances, backward_means
from flightlog.estimation.smoother import _inverse_blocks


@pytest.mark.parametrize("n", [1, 3, 7])
@pytest.mark.parametrize("steps", [1, 2, 3, 4, 15, 16, 17, 90])
def test_stretches_side_by_side_give_what_the_loop_gives(steps: int, n: int) -> None:
    rng = np.random.default_rng(steps * 10 + n)
    carry = 0.4 * rng.normal(size=(steps, n, n))
    fresh, means = rng.normal(size=(steps, n, n)), rng.normal(size=(steps, n))
    plain, plain_means = fresh.copy(), means.copy()
    for k in range(steps - 2, -1, -1):
        plain[k] += carry[k] @ plain[k + 1] @ carry[k].T
        plain_means[k] += carry[k] @ plain_means[k + 1]

    def close(values: np.ndarray) -> object:
        return pytest.approx(values, rel=1e-11, abs=1e-11 * np.abs(values).max())

    assert backward_covariances(fresh, carry) == close(plain)
    assert backward_means(means, carry) == close(plain_means)


def step_by_step(fresh: np.ndarray, carry: np.ndarray) -> tuple[np.ndarray, np.ndarray]:
    """Means of the first column, and covariances, by the plain loop."""
    means, covariances = fresh[:, :, 0].copy(), fresh.copy()
    for k in range(len(fresh) - 2, -1, -1):
        means[k] += carry[k] @ means[k + 1]
        covariances[k] += carry[k] @ covariances[k + 1] @ carry[k].T
    return means, covariances


@pytest.mark.parametrize("last", [np.nan, np.inf, 1e300])
@pytest.mark.parametrize("steps", [1, 2, 32])
def test_what_the_last_step_would_carry_is_not_used(steps: int, last: float) -> None:
    fresh, carry = np.ones((steps, 2, 2)), np.full((steps, 2, 2), 0.3)
    means, covariances = step_by_step(fresh, carry)
    carry[-1] = last
    given = carry.copy()

    assert backward_means(fresh[:, :, 0], carry) == pytest.approx(means)
    assert backward_covariances(fresh, carry) == pytest.approx(covariances)
    assert np.array_equal(carry, given, equal_nan=True)


def test_a_stretch_whose_reach_is_no_number_gives_what_the_loop_gives() -> None:
    steps = 10_000
    fresh, carry = np.zeros((steps, 1, 1)), np.full((steps, 1, 1), 1e4)
    fresh[:10] = 1.0
    fresh[5_000] = 1e-300
    carry[4_990] = 0.0
    means, covariances = step_by_step(fresh, carry)
    assert np.isfinite(means).all()
    assert np.isfinite(covariances).all()

    assert backward_means(fresh[:, :, 0], carry) == pytest.approx(means, rel=1e-12)
    assert backward_covariances(fresh, carry) == pytest.approx(covariances, rel=1e-12)


def test_what_is_no_number_spoils_the_steps_before_it_alone() -> None:
    fresh, carry = np.ones((90, 2, 2)), np.full((90, 2, 2), 0.3)
    carry[30] = np.nan
    means, covariances = step_by_step(fresh, carry)

    assert backward_means(fresh[:, :, 0], carry) == pytest.approx(means, nan_ok=True)
    assert backward_covariances(fresh, carry) == pytest.approx(covariances, nan_ok=True)
    assert 31 == np.isnan(means).any(axis=1).sum()


@pytest.mark.parametrize("steps", [1, 2, 3, 8, 40])
def test_blocks_of_the_inverse_are_those_of_the_dense_inverse(steps: int) -> None:
    rng = np.random.default_rng(steps)
    lower = np.zeros((3 * steps, 3 * steps))
    for k in range(steps):
        own, below = slice(3 * k, 3 * k + 3), slice(3 * k + 3, 3 * k + 6)
        lower[own, own] = np.tril(rng.normal(size=(3, 3)))
        lower[range(3 * k, 3 * k + 3), range(3 * k, 3 * k + 3)] = rng.uniform(1.0, 2.0, 3)
        lower[below, own] = 0.5 * rng.normal(size=lower[below, own].shape)
    whole = lower @ lower.T
    band = np.zeros((6, 3 * steps))
    for i in range(min(6, 3 * steps)):
        band[i, : 3 * steps - i] = np.diagonal(whole, -i)
    blocks = _inverse_blocks(cholesky_banded(band, lower=True))
    dense = np.linalg.inv(whole)
    for k in range(steps):
        own = slice(3 * k, 3 * k + 3)
        assert blocks[k] == pytest.approx(dense[own, own], rel=1e-9, abs=1e-10)
