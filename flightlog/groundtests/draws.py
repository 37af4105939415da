"""What is not known exactly, drawn many times, so that errors that choices share cancel.

A source of error has a name. Whoever asks for it gets the same draws: the mass of the aircraft is
as wrong under one propeller as under the other. Draws are the same each time.
"""

from __future__ import annotations

import math
import zlib
from collections.abc import Mapping
from dataclasses import dataclass, field
from functools import cache

import numpy as np
from numpy.typing import NDArray

FloatArray = NDArray[np.float64]

DRAWS = 2000
_SEED = 20
_LEAST_SHARE = 0.02


@dataclass(frozen=True, slots=True)
class Known:
    """A number and its standard uncertainty, in one unit."""

    value: float
    std: float = 0.0

    def __post_init__(self) -> None:
        if not (math.isfinite(self.value) and math.isfinite(self.std) and self.std >= 0):
            raise ValueError(f"{self.value!r} with standard uncertainty {self.std!r}")


NONE = Known(0.0)
ONE = Known(1.0)


@cache
def _standard() -> FloatArray:
    from scipy.special import ndtri

    z: FloatArray = ndtri((np.arange(DRAWS) + 0.5) / DRAWS)
    return z


@dataclass(slots=True)
class Sources:
    """Standard normal draws by the names of their sources."""

    drawn: dict[str, FloatArray] = field(default_factory=dict)

    def of(self, name: str) -> FloatArray:
        """Give the draws of a source, shape (`DRAWS`,)."""
        if name not in self.drawn:
            seed = (_SEED, zlib.crc32(name.encode("utf-8", "surrogatepass")))
            z = np.random.default_rng(seed).permutation(_standard())
            # Draws go with those of other sources by chance, which would make sums too narrow or
            # too wide. So what is along the others is taken off, and the order is kept (Iman and
            # Conover 1982).
            for other in self.drawn.values():
                z = z - other * float(other @ z) / float(other @ other)
            own = np.empty(DRAWS)
            own[np.argsort(z, kind="stable")] = _standard()
            self.drawn[name] = own
        return self.drawn[name]

    def positive(self, known: Known, name: str) -> FloatArray:
        """Draw a number above 0: its logarithm is Gaussian, its median the number."""
        if known.std == 0:
            return np.full(DRAWS, known.value)
        return known.value * np.exp(known.std / known.value * self.of(name))

    def any(self, known: Known, name: str) -> FloatArray:
        """Draw a number of any sign: Gaussian."""
        if known.std == 0:
            return np.full(DRAWS, known.value)
        return known.value + known.std * self.of(name)

    def shares(self, values: FloatArray) -> Mapping[str, float]:
        """Give the share of each source in the variance of a result, the largest first.

        By the squared correlation with each, so that they add to one where the result is linear in
        all. Shares below 2 % are left out. [-]
        """
        good = np.isfinite(values)
        if np.count_nonzero(good) < DRAWS // 2:
            return {}
        centred = values[good] - values[good].mean()
        size = float(centred @ centred)
        if not size > 0:
            return {}
        found = {}
        for name, z in self.drawn.items():
            inside = z[good] - z[good].mean()
            found[name] = float(inside @ centred) ** 2 / (size * float(inside @ inside))
        ordered = sorted(found.items(), key=lambda item: -item[1])
        return {name: share for name, share in ordered if share >= _LEAST_SHARE}


@dataclass(frozen=True, slots=True, eq=False)
class Spread:
    """A figure of one choice, as drawn.

    Attributes
    ----------
    draws : array
        Shape (`DRAWS`,), in ``unit``; infinite where the aircraft can't do it.
    unit : str
        Of the draws.
    shares : mapping
        Source -> share of the variance.
    """

    draws: FloatArray
    unit: str
    shares: Mapping[str, float] = field(default_factory=dict)

    def quantile(self, probability: float) -> float:
        """Give a quantile; infinite where it lies among what can't be done."""
        ordered = np.sort(self.draws)
        return float(ordered[min(len(ordered) - 1, int(probability * len(ordered)))])

    @property
    def value(self) -> float:
        """The median."""
        return self.quantile(0.5)

    @property
    def interval(self) -> tuple[float, float]:
        """The 95 % interval."""
        return self.quantile(0.025), self.quantile(0.975)

    def at_most(self, bound: float) -> float:
        """Probability that the truth is at most a bound."""
        return float(np.mean(self.draws <= bound))

    def at_least(self, bound: float) -> float:
        """Probability that the truth is at least a bound."""
        return float(np.mean(self.draws >= bound))
