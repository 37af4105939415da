"""A line through numbers that some wild ones don't bend: Theil (1950) and Sen (1968).

The slope is the median of those of all pairs, and its interval is cut from the same sorted slopes
where S of Mann's test would leave its interval. A flight that was measured badly counts for less:
a pair has the product of the weights of both.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flightlog.uncertain import NORMAL_95

Array = NDArray[np.floating[Any]]


@dataclass(frozen=True, slots=True)
class Slope:
    """A slope with its 95 % interval, and the level of the line at x = 0."""

    value: float
    low: float
    high: float
    at_zero: float


def slope_of(x: Array, y: Array, weights: Array, var_s: float) -> Slope:
    """Fit a line.

    Parameters
    ----------
    x, y : array
        Shape (n,), at least two different x.
    weights : array
        Shape (n,), positive. Alike, they change nothing.
    var_s : float
        Variance of S, as large as dependence makes it.
    """
    first, second = np.triu_indices(len(x), 1)
    apart = x[second] != x[first]
    first, second = first[apart], second[apart]
    slopes = (y[second] - y[first]) / (x[second] - x[first])
    mass = weights[first] * weights[second]
    # As many as there are pairs, so that the variance of S fits.
    mass = mass * (len(mass) / mass.sum())
    order = np.argsort(slopes, kind="stable")
    slopes, below = slopes[order], np.cumsum(mass[order])
    value = _median(slopes, below)
    half = NORMAL_95 * math.sqrt(var_s)
    low = slopes[_nearest(below, 0.5 * (below[-1] - half))]
    high = slopes[min(_nearest(below, 0.5 * (below[-1] + half)) + 1, len(slopes) - 1)]
    at_zero = weighted_median(y, weights) - value * weighted_median(x, weights)
    return Slope(value, min(float(low), value), max(float(high), value), at_zero)


def _nearest(below: Array, wanted: float) -> int:
    """Place of the slope at whose upper end so much lies below."""
    return int(np.argmin(np.abs(below - wanted)))


def weighted_median(values: Array, weights: Array) -> float:
    """Give the number with half of the weight on each side; between two, their mean."""
    order = np.argsort(values, kind="stable")
    return _median(values[order], np.cumsum(weights[order]))


def _median(rising: Array, below: Array) -> float:
    half = 0.5 * below[-1]
    # Sums of weights that are alike are whole but for rounding.
    near = 1e-9 * below[-1]
    k = int(np.searchsorted(below, half - near))
    if abs(below[k] - half) <= near and k + 1 < len(rising):
        return float(0.5 * (rising[k] + rising[k + 1]))
    return float(rising[k])
