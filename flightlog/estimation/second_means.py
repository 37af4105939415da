"""Means over seconds of a sampled pair, and their steps: what a resistance is fitted to."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flightlog.estimation.frames import Array

Index = NDArray[np.int64]
Mask = NDArray[np.bool_]

LEAST_S = 60.0
"""A shorter stretch is not used. [s]"""

MOST_ROWS = 20_000
"""More seconds are not a flight. [-]"""

LEAST_ROWS = 20
"""Fewer means are not used. [-]"""

_HOLE = 2.5
_SPIKE, _SPIKE_OF_RANGE = 5.0, 0.02


@dataclass(frozen=True, slots=True)
class Rows:
    """Means over neighbouring samples.

    ``first``, ``count``: which samples, shape (k,). ``time_s``: their middles [s], shape (k,).
    ``adjoin``: indices of rows whose next one follows without a hole.
    """

    first: Index
    count: Index
    time_s: Array
    adjoin: Index

    def means(self, values: Array) -> Array:
        """Means of samples, shape (n,) or (n, m), over the rows."""
        total = np.concatenate([np.zeros((1, *values.shape[1:])), np.cumsum(values, axis=0)])
        sums = total[self.first + self.count] - total[self.first]
        return np.asarray((sums.T / self.count).T)

    def steps(self, rows: Array) -> Array:
        """Differences of adjoining rows."""
        return np.asarray(np.diff(rows, axis=0)[self.adjoin])


def find_spikes(values: Array) -> Mask:
    """Readings that stand alone, as a spoilt message leaves them: far from both neighbours.

    A step is none, since its readings lie between their neighbours.
    """
    found = np.zeros(values.size, dtype=bool)
    if values.size < LEAST_ROWS:
        return found
    middle = np.median([values[:-2], values[1:-1], values[2:]], axis=0)
    away = np.abs(values[1:-1] - middle)
    low, high = np.quantile(values, [0.01, 0.99])
    least = max(_SPIKE * float(np.quantile(away, 0.99)), _SPIKE_OF_RANGE * float(high - low))
    found[1:-1] = away > least
    return found


def cut_rows(time_s: Array, scale_s: float) -> Rows | None:
    """Cut samples into means of ``scale_s`` [s]; single samples where they are farther apart."""
    if time_s.size < LEAST_ROWS or not 0 < time_s[-1] - time_s[0] < MOST_ROWS * scale_s:
        return None
    step = float(np.median(np.diff(time_s)))
    if step > 0.7 * scale_s:
        first = np.arange(time_s.size)
    else:
        number = np.floor((time_s - time_s[0]) / scale_s + 1e-9)
        first = np.concatenate([[0], np.flatnonzero(np.diff(number) > 0) + 1])
    count = np.diff(np.append(first, time_s.size))
    middle = np.add.reduceat(time_s, first) / count
    whole = count >= 0.6 * np.median(count)
    first, count, middle = first[whole], count[whole], middle[whole]
    apart = np.diff(middle)
    adjoin = np.flatnonzero(apart < max(_HOLE * scale_s, 2.5 * step))
    if adjoin.size < LEAST_ROWS or float(apart[adjoin].sum()) < LEAST_S:
        return None
    return Rows(first, count, middle, adjoin)
