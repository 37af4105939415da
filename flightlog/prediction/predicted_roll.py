"""Distribution of the next ground roll, as a mixture over what could be the case."""

from __future__ import annotations

import math
from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from flightlog.prediction.regression import StudentT

Array = NDArray[np.float64]
_MOST_STEPS = 100
_CLOSE = 1e-13
"""A step of the logarithm so small ends the search."""


class PredictedRoll:
    """Distribution of the next ground roll, as a mixture over what could be the case.

    Parameters
    ----------
    parts : sequence of StudentT
        Of the logarithm of the roll in metres.
    weights : array, shape (n,)
        Adding up to 1.
    """

    def __init__(self, parts: Sequence[StudentT], weights: Array) -> None:
        from scipy.special import gammaln

        self._centres = np.concatenate([part.centre for part in parts])
        self._scales = np.concatenate([part.scale for part in parts])
        self._freedoms = np.repeat(
            [part.freedoms for part in parts], [part.centre.size for part in parts]
        )
        self._weights = weights
        self._peaks = (
            np.exp(gammaln(0.5 * (self._freedoms + 1.0)) - gammaln(0.5 * self._freedoms))
            / np.sqrt(math.pi * self._freedoms)
            / self._scales
        )
        self.median_m = self.quantile(0.5)

    def quantile(self, probability: float) -> float:
        """Roll that is not exceeded with a probability between 0 and 1. [m]"""
        from scipy.special import stdtrit

        if not 0.0 < probability < 1.0:
            raise ValueError(f"a probability between 0 and 1 is needed, got {probability!r}")
        ends = self._centres + self._scales * stdtrit(self._freedoms, probability)
        low, high = float(ends.min()), float(ends.max())
        found = float(self._weights @ ends)
        for _ in range(_MOST_STEPS):
            missed = self._below(found) - probability
            if missed < 0:
                low = found
            else:
                high = found
            step = missed / self._density(found)
            if abs(step) < _CLOSE or high - low < _CLOSE:
                break
            # Newton's step where it stays between the ends, else halving.
            found = found - step if low < found - step < high else 0.5 * (low + high)
        return math.exp(found)

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Central interval. [m]"""
        return self.quantile(0.5 - 0.5 * level), self.quantile(0.5 + 0.5 * level)

    def at_most(self, bound_m: float) -> float:
        """Probability that the next roll is at most so long."""
        return self._below(math.log(bound_m)) if bound_m > 0 else 0.0

    def _below(self, bound: float) -> float:
        from scipy.special import stdtr

        each = stdtr(self._freedoms, (bound - self._centres) / self._scales)
        return float(self._weights @ each)

    def _density(self, at: float) -> float:
        z = (at - self._centres) / self._scales
        shape = (1.0 + z * z / self._freedoms) ** (-0.5 * (self._freedoms + 1.0))
        return float(self._weights @ (self._peaks * shape))


class MoreCareful(PredictedRoll):
    """Of two distributions the longer roll everywhere: neither promises more than it."""

    def __init__(self, one: PredictedRoll, other: PredictedRoll) -> None:
        self._both = (one, other)
        self.median_m = self.quantile(0.5)

    def quantile(self, probability: float) -> float:
        """Roll that is not exceeded with a probability between 0 and 1, by both. [m]"""
        return max(one.quantile(probability) for one in self._both)

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Interval that holds the central ones of both. [m]"""
        lows, highs = zip(*(one.interval(level) for one in self._both), strict=True)
        return min(lows), max(highs)

    def at_most(self, bound_m: float) -> float:
        """Probability that the next roll is at most so long, the lesser of both."""
        return min(one.at_most(bound_m) for one in self._both)
