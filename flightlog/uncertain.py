"""Numbers that know how sure they are.

Two shapes, one behaviour (`Quantity`): a value, an interval at a level, and the probability
that a bound holds.

`Uncertain` is a Gaussian: value, and the standard uncertainty split by *named sources*. Two
numbers that share a source share its error, so that it cancels in their difference
(JCGM 100:2008, 5.2). `Posterior` is a weighted sample, for what is skewed.
"""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, field
from statistics import NormalDist
from types import MappingProxyType
from typing import TYPE_CHECKING, Protocol, runtime_checkable

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import ArrayLike, NDArray

_NORMAL = NormalDist()

NORMAL_95 = 1.959964
"""Half of a Gaussian's 95 % interval, in standard uncertainties. [-]"""

_SPREAD = tuple(_NORMAL.inv_cdf((k + 0.5) / 21) for k in range(21))
"""A standard normal distribution as equally likely values."""

_MOST_SAMPLES = 1001
"""A posterior that was widened keeps no more, so that a debrief stays small."""


@runtime_checkable
class Quantity(Protocol):
    """What a figure needs to know of its number, whatever its distribution."""

    @property
    def value(self) -> float:
        """Best estimate, in ``unit``."""

    @property
    def unit(self) -> str:
        """Unit of value, standard uncertainty and interval."""

    @property
    def std(self) -> float:
        """Standard uncertainty, in ``unit``."""

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Central interval that holds the truth with probability ``level``."""

    def probability_below(self, bound: float) -> float:
        """Probability that the truth is at most ``bound``."""

    def scaled(self, factor: float, unit: str) -> Quantity:
        """Return the same quantity in another unit: multiplied by ``factor``."""

    def widened(self, std: float, source: str) -> Quantity:
        """Add an independent error source of the given standard deviation, in ``unit``."""


@dataclass(frozen=True, slots=True)
class Uncertain:
    """A value with its standard uncertainty, split by named sources.

    Parameters
    ----------
    value : float
        Best estimate, in ``unit``. Must be finite.
    sources : mapping of str to float
        For each error source, the signed effect of one standard deviation of that source
        on the value, in ``unit``. Sources of the same name are one error; different names
        are independent.
    unit : str
        Unit of all of them.

    Raises
    ------
    ValueError
        If the value or a source is not finite.
    """

    value: float
    sources: Mapping[str, float] = field(default_factory=dict)
    unit: str = ""

    def __post_init__(self) -> None:
        if not math.isfinite(self.value):
            raise ValueError(f"an uncertain value must be finite, got {self.value!r} {self.unit}")
        for name, effect in self.sources.items():
            if not math.isfinite(effect):
                raise ValueError(f"error source {name!r} has effect {effect!r} {self.unit}")
        object.__setattr__(self, "sources", MappingProxyType(dict(self.sources)))

    @classmethod
    def of(cls, value: float, std: float, unit: str = "", *, source: str) -> Uncertain:
        """Build one from a value and one standard uncertainty under one source name."""
        if not std >= 0:  # also refuses NaN
            raise ValueError(f"std must be zero or positive, got {std!r} {unit}")
        return cls(float(value), {source: float(std)}, unit)

    @property
    def std(self) -> float:
        """Standard uncertainty: root sum of squares over the sources."""
        return math.sqrt(sum(e * e for e in self.sources.values()))

    def __add__(self, other: Uncertain | float) -> Uncertain:
        return self._combined(other, 1.0)

    def __sub__(self, other: Uncertain | float) -> Uncertain:
        return self._combined(other, -1.0)

    def __neg__(self) -> Uncertain:
        return self * -1.0

    def __mul__(self, factor: float) -> Uncertain:
        return self.scaled(factor, self.unit)

    __rmul__ = __mul__

    def _combined(self, other: Uncertain | float, sign: float) -> Uncertain:
        if not isinstance(other, Uncertain):
            return Uncertain(self.value + sign * other, self.sources, self.unit)
        if other.unit != self.unit:
            raise ValueError(f"can't combine {self.unit!r} with {other.unit!r}")
        joint = dict(self.sources)
        for name, effect in other.sources.items():
            joint[name] = joint.get(name, 0.0) + sign * effect
        return Uncertain(self.value + sign * other.value, joint, self.unit)

    def scaled(self, factor: float, unit: str) -> Uncertain:
        """Multiply by an exact factor, which may change the unit."""
        return Uncertain(
            self.value * factor, {n: e * factor for n, e in self.sources.items()}, unit
        )

    def widened(self, std: float, source: str) -> Uncertain:
        """Add an independent error source of the given standard deviation, in ``unit``."""
        joint = dict(self.sources)
        joint[source] = math.hypot(joint.get(source, 0.0), std)
        return Uncertain(self.value, joint, self.unit)

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Central Gaussian interval."""
        half = _NORMAL.inv_cdf(0.5 + level / 2) * self.std
        return self.value - half, self.value + half

    def probability_below(self, bound: float) -> float:
        """Gaussian probability that the truth is at most ``bound``."""
        if self.std == 0:
            return 1.0 if self.value <= bound else 0.0
        return _NORMAL.cdf((bound - self.value) / self.std)


@dataclass(frozen=True, slots=True)
class Posterior:
    """A weighted sample of what the truth may be; the best estimate is its median.

    Parameters
    ----------
    samples : array, shape (n,)
        Possible values, in ``unit``, in rising order.
    weights : array, shape (n,)
        Their probabilities, summing to one.
    unit : str
        Unit of the samples.
    """

    samples: NDArray[np.float64]
    weights: NDArray[np.float64]
    unit: str = ""

    @classmethod
    def from_samples(
        cls, samples: ArrayLike, weights: ArrayLike | None = None, unit: str = ""
    ) -> Posterior:
        """Sort, normalise and freeze.

        Raises
        ------
        ValueError
            If a sample is not finite, a weight is negative or nothing has weight.
        """
        import numpy as np

        x = np.asarray(samples, dtype=float).ravel()
        w = np.ones_like(x) if weights is None else np.asarray(weights, dtype=float).ravel()
        if x.size == 0 or x.size != w.size or not np.isfinite(x).all():
            raise ValueError(f"a posterior needs finite samples with weights, got {x.size}")
        if not np.isfinite(w).all() or (w < 0).any() or w.sum() <= 0:
            raise ValueError("weights of a posterior must be finite, not negative, not all zero")
        order = np.argsort(x, kind="stable")
        x, w = x[order], w[order] / w.sum()
        x.setflags(write=False)
        w.setflags(write=False)
        return cls(x, w, unit)

    def quantile(self, probability: float) -> float:
        """Value below which the given share of the weight lies, interpolated between samples."""
        import numpy as np

        # Mid-point rule: symmetric, so that mirroring the sample mirrors its quantiles.
        middle = np.cumsum(self.weights) - 0.5 * self.weights
        return float(np.interp(probability, middle, self.samples))

    @property
    def value(self) -> float:
        """The median."""
        return self.quantile(0.5)

    @property
    def std(self) -> float:
        """Root of the weighted variance about the weighted mean."""
        mean = float(self.weights @ self.samples)
        return math.sqrt(max(0.0, float(self.weights @ (self.samples - mean) ** 2)))

    def interval(self, level: float = 0.95) -> tuple[float, float]:
        """Return the quantiles that leave the same weight on either side."""
        tail = (1 - level) / 2
        return self.quantile(tail), self.quantile(1 - tail)

    def probability_below(self, bound: float) -> float:
        """Weight at or below ``bound``, interpolated as `quantile` does."""
        import numpy as np

        middle = np.cumsum(self.weights) - 0.5 * self.weights
        share = float(np.interp(bound, self.samples, middle, left=0.0, right=1.0))
        # The slope between samples that almost coincide can overflow.
        return min(1.0, max(0.0, share))

    def scaled(self, factor: float, unit: str) -> Posterior:
        """Multiply by an exact factor, which may change the unit."""
        return Posterior.from_samples(self.samples * factor, self.weights, unit)

    def widened(self, std: float, source: str) -> Posterior:
        """Add an independent Gaussian error: its sum with the sample, on as many samples.

        Parameters
        ----------
        std : float
            Standard deviation, in ``unit``.
        source : str
            Its name; a sample keeps no names.
        """
        import numpy as np

        if not std > 0:
            return self
        # Equally likely values, each in the middle of its share, spread by a little less than one.
        unit_std = math.sqrt(sum(z * z for z in _SPREAD) / len(_SPREAD))
        moved = self.samples[:, None] + std / unit_std * np.asarray(_SPREAD)
        sums = Posterior.from_samples(moved, np.repeat(self.weights, len(_SPREAD)), self.unit)
        if sums.samples.size <= _MOST_SAMPLES:
            return sums
        middle = (np.arange(_MOST_SAMPLES) + 0.5) / _MOST_SAMPLES
        shares = np.cumsum(sums.weights) - 0.5 * sums.weights
        return Posterior.from_samples(np.interp(middle, shares, sums.samples), None, self.unit)
