"""Sums that run from the last step to the first, many steps at the same time.

The backward half of a smoother is a chain: each step takes what the next one gave, moved by a
matrix of its own, and adds something. Step by step in Python that costs more than all of its
arithmetic. So the steps are cut into about as many stretches as each has steps, and all
stretches go at the same time: first as if nothing came after each of them, then with what does
come. A hundred calls then do for a thousand steps.
"""

from __future__ import annotations

import math

import numpy as np

from flightlog.estimation.frames import Array


def backward_means(fresh: Array, carry: Array) -> Array:
    """Solve ``z[k] = fresh[k] + carry[k] z[k+1]``; nothing follows the last.

    Parameters
    ----------
    fresh : array, shape (steps, n)
        What each step adds.
    carry : array, shape (steps, n, n)
        How each step takes over the next; that of the last is not used.

    Returns
    -------
    array, shape (steps, n)
    """
    return _solve(fresh[:, :, None], carry, both_sides=False)[:, :, 0]


def backward_covariances(fresh: Array, carry: Array) -> Array:
    """Solve ``z[k] = fresh[k] + carry[k] z[k+1] carry[k]'``; nothing follows the last.

    Parameters
    ----------
    fresh, carry : array, shape (steps, n, n)
        As of `backward_means`.

    Returns
    -------
    array, shape (steps, n, n)
    """
    return _solve(fresh, carry, both_sides=True)


def _solve(fresh: Array, carry: Array, *, both_sides: bool) -> Array:
    steps, n, width = fresh.shape
    length = max(1, math.isqrt(steps))
    stretches = -(-steps // length)
    # Padded at the front, so that the last stretch ends with the last step.
    front = stretches * length - steps

    def cut(values: Array) -> Array:
        padding = np.zeros((front, *values.shape[1:]))
        return np.concatenate([padding, values]).reshape(stretches, length, *values.shape[1:])

    def moved(by: Array, z: Array) -> Array:
        left = by @ z
        return np.asarray(left @ by.swapaxes(-1, -2) if both_sides else left)

    add, move = cut(fresh), cut(carry)
    move[-1, -1] = 0.0  # nothing follows the last
    z, reach = np.empty_like(add), np.empty_like(move)
    z[:, -1], reach[:, -1] = add[:, -1], move[:, -1]
    after = np.zeros((stretches, n, width))
    with np.errstate(over="ignore", invalid="ignore"):
        for k in range(length - 2, -1, -1):
            z[:, k] = add[:, k] + moved(move[:, k], z[:, k + 1])
            reach[:, k] = move[:, k] @ reach[:, k + 1]
        for i in range(stretches - 2, -1, -1):
            after[i] = z[i + 1, 0] + moved(reach[i + 1, 0], after[i + 1])
        z += moved(reach, after[:, None])
        z = z.reshape(-1, n, width)[front:]
        if not np.isfinite(z).all():
            z = fresh.copy()
            for k in range(steps - 2, -1, -1):
                z[k] += moved(carry[k], z[k + 1])
    return z
