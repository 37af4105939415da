"""Whether numbers in their order rise or fall: Mann's test, by ranks alone.

    S = sum over i < j of sign(y_j - y_i),  Var S = (n (n - 1) (2 n + 5) - ties) / 18

(Mann 1945; Kendall 1975.) Ranks are unmoved by a wild number, and ask for no bell curve. The test
takes the numbers as independent of each other. Those of one day, or of a warm week, are not:
neighbours that go together make S stray more than that. `dependence` says by how much, from what
is left beside the line.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from functools import cache
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]
Whole = NDArray[np.integer[Any]]

EXACT_BELOW = 10
"""Fewer numbers, none alike, have the exact probability."""
_HIGHEST = 0.9
"""Neighbours that go together more than this are no series of flights; it bounds the widening."""
_NONE = 0.1
_SHORT = 6
"""Of fewer numbers nothing can be said about neighbours."""
_SEED = 20270613
_SHUFFLES, _AT_ONCE = 1999, 200
_LONGEST_SHUFFLED = 120


def rises(y: Array) -> float:
    """Give S: how many more pairs rise than fall.

    Parameters
    ----------
    y : array
        Shape (n,), in order.
    """
    return float(np.sign(y[None, :] - y[:, None])[np.triu_indices(len(y), 1)].sum())


def variance(y: Array) -> float:
    """Give the variance of S where order means nothing; numbers that are alike make it smaller."""
    n = len(y)
    _, counts = np.unique(y, return_counts=True)
    alike = float((counts * (counts - 1) * (2 * counts + 5)).sum())
    return (n * (n - 1) * (2 * n + 5) - alike) / 18


def standard(s: float, var: float) -> float:
    """Give Z, one step of S nearer to zero (continuity); 0 where S can't vary."""
    return (s - math.copysign(1.0, s)) / math.sqrt(var) if s and var > 0 else 0.0


def two_sided(z: float) -> float:
    """Give the probability of a normal number at least so far from zero."""
    return math.erfc(abs(z) / math.sqrt(2))


@cache
def _at_least(n: int) -> tuple[float, ...]:
    """Probability of at most k inversions in a random order of n, for every k."""
    counts = [1]
    for size in range(2, n + 1):
        longer = [0] * (len(counts) + size - 1)
        for place, count in enumerate(counts):
            for step in range(size):
                longer[place + step] += count
        counts = longer
    total, sums, running = math.factorial(n), [], 0
    for count in counts:
        running += count
        sums.append(running / total)
    return tuple(sums)


def exact_p(s: float, n: int) -> float:
    """Give the two-sided probability of an S at least as large, for n numbers none alike.

    Every order is as likely as any other (Kendall 1975); the orders are counted.
    """
    inversions = round((n * (n - 1) / 2 - abs(s)) / 2)
    return min(1.0, 2 * _at_least(n)[inversions]) if s else 1.0


def is_exact(y: Array) -> bool:
    """Whether the exact probability is for these numbers: few, and none alike."""
    return len(y) < EXACT_BELOW and len(np.unique(y)) == len(y)


# --- neighbours that go together


def neighbours(residuals: Array) -> Array:
    """Give how much neighbours go together: the correlation of ranks, mended for a fitted line.

    Parameters
    ----------
    residuals : array
        Shape (..., n), in order, a line taken out.

    Returns
    -------
    array
        Shape (...), -1 to 1. Of a short series the plain one is too low, by about (2 + 4 r) / n
        once a level and a slope were taken out (after Kendall 1954, Marriott & Pope 1954).
    """
    n = residuals.shape[-1]
    if n < _SHORT:
        return np.zeros(residuals.shape[:-1])
    ranks = _ranks(residuals)
    size = (ranks**2).sum(axis=-1)
    plain = (ranks[..., 1:] * ranks[..., :-1]).sum(axis=-1) / np.maximum(size, 1e-12)
    return np.asarray(np.clip((n * plain + 2) / (n - 4), -1.0, 1.0))


def same_day(residuals: Array, days: Whole) -> tuple[Array, float]:
    """Give how much numbers of one day go together, and how many a number shares its day with.

    Parameters
    ----------
    residuals : array
        Shape (..., n), a line taken out.
    days : array
        Shape (n,), the same whole number for the same day.

    Returns
    -------
    share : array
        Shape (...): share of the day in the variance of the ranks (intraclass correlation, by
        the analysis of variance). [-]
    size : float
        Mean size of the day of a number. [-]
    """
    _, day, counts = np.unique(days, return_inverse=True, return_counts=True)
    n, many = len(days), len(counts)
    size = float((counts**2).sum() / n)
    nothing = np.zeros(residuals.shape[:-1])
    if many < 3 or many == n:
        return nothing, size
    ranks = _ranks(residuals)
    member = (day[:, None] == np.arange(many)).astype(float)
    means = ranks @ (member / counts)
    between = (counts * means**2).sum(axis=-1) / (many - 1)
    within = ((ranks - means @ member.T) ** 2).sum(axis=-1) / (n - many)
    each = (n - size) / (many - 1)
    return (between - within) / np.maximum(between + (each - 1) * within, 1e-12), size


def dependence(residuals: Array, days: Whole) -> Array:
    """Give by how much variances are larger than of independent numbers; at least 1.

        (1 + r) / (1 - r) of neighbours, 1 + (m - 1) share of days; the larger of both

    A correlation or a share of up to 0.1 is taken for none: of 30 numbers that are independent, as
    much is seen in every third series.

    Parameters
    ----------
    residuals : array
        Shape (..., n), in order, a line taken out.
    days : array
        Shape (n,), the same whole number for the same day.
    """
    r = neighbours(residuals)
    r = np.where(r > _NONE, np.minimum(r, _HIGHEST), 0.0)
    wider = (1 + r) / (1 - r)
    share, size = same_day(residuals, days)
    if size > 1:
        share = np.where(share > _NONE, np.minimum(share, 1.0), 0.0)
        wider = np.maximum(wider, 1 + (size - 1) * share)
    return wider


def _ranks(y: Array) -> Array:
    """Ranks about their middle, along the last axis."""
    return np.asarray(y.argsort(axis=-1).argsort(axis=-1) - (y.shape[-1] - 1) / 2)


def shuffled_p(y: Array, block: int) -> float:
    """Give the probability of an S at least as large, were the blocks in any order.

    What goes together within a block stays together. The orders are drawn from a fixed seed.

    Parameters
    ----------
    y : array
        Shape (n,).
    block : int
        Numbers in a block.
    """
    n = len(y)
    signs = np.sign(y[None, :] - y[:, None])
    starts = np.arange(0, n, block)
    # Within a block nothing moves; between two blocks only which of them comes first.
    between = np.add.reduceat(np.add.reduceat(signs, starts, axis=0), starts, axis=1)
    within = sum(rises(y[a : a + block]) for a in starts)
    seen = abs(rises(y))
    chance = np.random.default_rng(_SEED)
    many = len(starts)
    first, second = np.triu_indices(many, 1)
    count = 0
    for size in (_AT_ONCE,) * (_SHUFFLES // _AT_ONCE) + (_SHUFFLES % _AT_ONCE,):
        orders = chance.permuted(np.tile(np.arange(many), (size, 1)), axis=1)
        sums = within + between[orders[:, first], orders[:, second]].sum(axis=1)
        count += int((np.abs(sums) >= seen).sum())
    return (1 + count) / (1 + _SHUFFLES)


def can_be_shuffled(n: int) -> bool:
    """Whether there are enough blocks to shuffle, and not so many that it takes long."""
    return EXACT_BELOW <= n <= _LONGEST_SHUFFLED


def holm(probabilities: Sequence[float], weights: Sequence[float] | None = None) -> list[float]:
    """Adjust probabilities of many questions, so that few of all answers are wrong (Holm 1979).

    Parameters
    ----------
    probabilities : sequence of float
        One for each question.
    weights : sequence of float, optional
        Positive; a question of a larger one gets more of the level. Alike where left out.

    Returns
    -------
    list of float
        In the given order. Naming those up to a level names anything falsely at most so often.
    """
    many = len(probabilities)
    share = [1.0] * many if weights is None else list(weights)
    found = [1.0] * many
    highest, rest = 0.0, math.fsum(share)
    for k in sorted(range(many), key=lambda k: probabilities[k] / share[k]):
        highest = max(highest, min(1.0, probabilities[k] * rest / share[k]))
        found[k] = highest
        rest = max(rest - share[k], 0.0)
    return found
