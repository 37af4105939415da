"""A distribution told by some of its quantiles, so that it can be written down and judged later.

Between two quantiles, and beyond the outer ones, the value is a straight line against the normal
quantile of the probability: exact for a normal distribution, close for anything bell-shaped.
"""

from __future__ import annotations

import math
from bisect import bisect_left
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from itertools import pairwise
from statistics import NormalDist

from flightlog.errors import UsageError

LEVELS = (0.005, 0.01, *(n / 40 for n in range(1, 40)), 0.99, 0.995)
"""Probabilities of which quantiles are kept. [-]"""
FEWEST, MOST = 9, 60

_NORMAL = NormalDist()


@dataclass(frozen=True, slots=True)
class Quantiles:
    """Values that are not exceeded with some probabilities.

    Parameters
    ----------
    levels : tuple of float
        Probabilities between 0 and 1, each above the one before.
    values : tuple of float
        One for each level, each above the one before.

    Raises
    ------
    UsageError
        If they are too few, or do not rise.
    """

    levels: tuple[float, ...]
    values: tuple[float, ...]

    def __post_init__(self) -> None:
        if len(self.levels) != len(self.values) or not FEWEST <= len(self.levels) <= MOST:
            raise _bad(f"holds {len(self.levels)} levels and {len(self.values)} values")
        if not all(map(math.isfinite, (*self.levels, *self.values))):
            raise _bad("holds something that is no number")
        if not (_rises(self.levels) and _rises(self.values)):
            raise _bad("does not rise from one quantile to the next")
        if not 0 < self.levels[0] < self.levels[-1] < 1:
            raise _bad("has a level that is no probability between 0 and 1")

    @classmethod
    def of(cls, quantile: Callable[[float], float], levels: Sequence[float] = LEVELS) -> Quantiles:
        """Take them from a function that gives the quantile of a probability."""
        return cls(tuple(levels), tuple(quantile(level) for level in levels))

    def below(self, value: float) -> float:
        """Probability of at most a value."""
        return _NORMAL.cdf(self._place(value))

    def quantile(self, probability: float) -> float:
        """Value that is not exceeded with a probability; that which was written, where it was."""
        if probability in self.levels:
            return self.values[self.levels.index(probability)]
        z, knots = _NORMAL.inv_cdf(probability), self._knots()
        k = min(max(bisect_left(knots, z), 1), len(knots) - 1)
        return self.values[k - 1] + (z - knots[k - 1]) * self._slope(k)

    def around(self, value: float) -> tuple[float, float]:
        """Give the two levels next to a value, whatever lies between them; 0 and 1 outside."""
        k = bisect_left(self.values, value)
        low = self.levels[k - 1] if k else 0.0
        if k == len(self.values):
            return low, 1.0
        return (self.levels[k] if value == self.values[k] else low), self.levels[k]

    def crps(self, seen: float) -> float:
        """Continuous ranked probability score: mean distance to what was seen, in its unit.

        ∫ (F(x) - [x ≥ seen])² dx (Matheson & Winkler 1976); smaller is better. Each straight piece
        has a closed form.
        """
        knots, at = self._knots(), self._place(seen)
        ends = [-math.inf, *knots[1:-1], math.inf]
        total = 0.0
        for k, (low, high) in enumerate(pairwise(ends), start=1):
            slope = self._slope(k)
            if low < at:
                total += slope * (_squared(min(at, high)) - _squared(low))
            if high > at:
                total += slope * (_squared(-max(at, low)) - _squared(-high))
        return total

    def _knots(self) -> list[float]:
        return [_NORMAL.inv_cdf(level) for level in self.levels]

    def _slope(self, k: int) -> float:
        """Give metres per normal quantile of the piece that ends at a knot."""
        knots = self._knots()
        return (self.values[k] - self.values[k - 1]) / (knots[k] - knots[k - 1])

    def _place(self, value: float) -> float:
        k = min(max(bisect_left(self.values, value), 1), len(self.values) - 1)
        return self._knots()[k - 1] + (value - self.values[k - 1]) / self._slope(k)


def levels_with(needed: float) -> tuple[float, ...]:
    """Give `LEVELS` with one more, so that a limit at that probability is judged exactly."""
    return tuple(sorted({*LEVELS, needed}))


def _squared(z: float) -> float:
    """∫ Φ² from minus infinity to z."""
    if z == -math.inf:
        return 0.0
    below, density = _NORMAL.cdf(z), _NORMAL.pdf(z)
    return z * below**2 + 2 * density * below - _NORMAL.cdf(math.sqrt(2) * z) / math.sqrt(math.pi)


def _rises(numbers: Sequence[float]) -> bool:
    return all(a < b for a, b in pairwise(numbers))


def _bad(found: str) -> UsageError:
    return UsageError(found, where="quantiles", fix="Make the flight card again.")
