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
