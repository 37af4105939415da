"""Whether a figure grows from flight to flight, what it will be, and whether a flight stands out.

Mann's test says whether, Theil and Sen say how fast. What makes this a record of wear and not a
single test is that somebody looks after every flight, and at many figures. So a trend is named by
`Trend.p_looks`, which counts all looks: with every flight as a chance for a false alarm, plain
probabilities would raise one in most seasons. `LOOKS` was found by simulation, see there.

From ten flights on `Trend.p_looks` rests on two tests, by the geometric mean of their
probabilities: that of ranks, which no wild number moves but which tells a steep trend from a
gentle one no more once all pairs rise; and the slope over its error, which does.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flightlog.errors import NotEnoughDataError
from flightlog.prediction.mann_kendall import (
    EXACT_BELOW,
    can_be_shuffled,
    dependence,
    exact_p,
    is_exact,
    neighbours,
    rises,
    shuffled_p,
    standard,
    two_sided,
    variance,
)
from flightlog.prediction.theil_sen import Slope, slope_of, weighted_median

Array = NDArray[np.floating[Any]]

FEWEST = 5
"""Flights without which nothing is said."""
MOST = 600
"""Of a longer series the latest ones."""
LOOKS = 60.0
"""What looking after every flight multiplies a probability by.

The probability that any look of a healthy series has p <= a / LOOKS is to be a, simulated for a
from 0.05 to 0.001 by ``python -m tests.wear.trend_looks`` (seed there). For 30 looks at independent
numbers 6 to 9 would do. Neighbours with a correlation of 0.3 need 29 to 116, days of three flights
that share half of the variance 37 to 181; for a correlation of 0.5, which needs 85 to 1000, it is
too small. What a trend must come to in practice, see `wear`, is on top of it.
"""
_CLIPPED = 3.0
"""Robust standard deviations at which what is left beside the line is clipped for its scatter."""
_DEPENDENT = 0.3
"""Above this correlation of neighbours, blocks are shuffled for ``p``."""
_LARGEST, _TINY = 1e9, 1e-30
_LATEST = 100
"""So many of the flights before are what a flight is compared with."""
_JUMP_SEASON = 30.0
"""A flight stands out falsely so rarely that in so many flights the whole level is spent."""


@dataclass(frozen=True, slots=True)
class Series:
    """Numbers of one thing in one state, in the order in which they were flown.

    Attributes
    ----------
    index : array
        Shape (n,), rising: number of the flight, or of the cycle. A flight without the figure
        is not here, and its number is left out.
    value, std : array
        Shape (n,), the figure and its standard uncertainty in its unit.
    day : array of int
        Shape (n,), the same number for flights of the same day.
    """

    index: Array
    value: Array
    std: Array
    day: NDArray[np.integer[Any]]

    @classmethod
    def of(
        cls,
        index: Sequence[float],
        value: Sequence[float],
        std: Sequence[float] | None = None,
        day: Sequence[int] | None = None,
    ) -> Series:
        """Make one of plain numbers; what is no number is left out.

        Parameters
        ----------
        index, value : sequence of float
            As of the class.
        std : sequence of float, optional
            0 where left out.
        day : sequence of int, optional
            Each flight on a day of its own where left out.
        """
        x, y = np.array(index, dtype=float), np.array(value, dtype=float)
        u = np.zeros(len(y)) if std is None else np.array(std, dtype=float)
        d = np.arange(len(y)) if day is None else np.array(day, dtype=np.int64)
        u = np.where(np.isfinite(u) & (u >= 0) & (u < _LARGEST), u, 0.0)
        fine = np.isfinite(y) & np.isfinite(x) & (np.abs(y) < _LARGEST) & (np.abs(x) < _LARGEST)
        _, first = np.unique(x[fine], return_index=True)
        keep = np.flatnonzero(fine)[first][-MOST:]
        return cls(x[keep], y[keep], u[keep], d[keep])

    def __len__(self) -> int:
        return len(self.value)

    def part(self, which: NDArray[Any]) -> Series:
        """Give some of it."""
        return replace(
            self,
            index=self.index[which],
            value=self.value[which],
            std=self.std[which],
            day=self.day[which],
        )


@dataclass(frozen=True, slots=True)
class Ahead:
    """What is expected, with its 95 % interval; ``std`` is the scale of a Student distribution."""

    index: float
    value: float
    low: float
    high: float
    std: float


@dataclass(frozen=True, slots=True)
class Trend:
    """How a figure changes.

    Attributes
    ----------
    flights : int
        That have the figure.
    first, last : float
        Numbers of the first and the last of them.
    slope : Slope
        Per flight, with the 95 % interval that dependence makes wider.
    s, var, z, tau : float
        Of Mann's test, as of independent numbers; tau is S over the number of pairs.
    p : float
        Two-sided probability of such an order, were there no trend; of this look alone.
    p_by : str
        By what: "exact", "normal", "blocks shuffled".
    p_looks : float
        The same counted for all looks since the first flight, and for dependence.
    lag1 : float
        Correlation of neighbours beside the line.
    wider : float
        By how much dependence makes variances larger. [-]
    scatter : float
        Standard deviation of a flight about the line.
    freedom : float
        Degrees of freedom of ``scatter``.
    """

    flights: int
    first: float
    last: float
    slope: Slope
    s: float
    var: float
    z: float
    tau: float
    p: float
    p_by: str
    p_looks: float
    lag1: float
    wider: float
    scatter: float
    freedom: float
    middle: float
    spread: float

    @property
    def change(self) -> float:
        """What the line came to between the first and the last flight."""
        return self.slope.value * (self.last - self.first)

    def level(self, index: float) -> Ahead:
        """Give the line at a flight: what the figure is there without the scatter of a flight."""
        return self._ahead(index, 0.0)

    def flight(self, index: float) -> Ahead:
        """Give what a flight is expected to show, with its scatter."""
        return self._ahead(index, 1.0)

    def _ahead(self, index: float, flights: float) -> Ahead:
        value = self.slope.at_zero + self.slope.value * index
        lever = 1 / self.flights + (index - self.middle) ** 2 / self.spread
        std = self.scatter * math.sqrt(flights + self.wider * lever)
        half = _student(self.freedom, 0.975) * std
        return Ahead(index, value, value - half, value + half, std)

    def probability_beyond(
        self, index: float, op: str, bound: float, bound_std: float = 0.0
    ) -> float:
        """Probability that the line is beyond a limit at a flight.

        Parameters
        ----------
        index : float
            Number of the flight.
        op : {"<=", ">="}
            How the limit holds.
        bound, bound_std : float
            The limit, and how sure it is where it was learnt from flights.
        """
        there = self.level(index)
        over = there.value - bound if op == "<=" else bound - there.value
        std = math.hypot(there.std, bound_std)
        if std <= 0:
            return 1.0 if over > 0 else 0.0
        from scipy.special import stdtr

        return float(stdtr(self.freedom, over / std))

    def reaches(self, bound: float) -> tuple[float | None, float | None, float | None]:
        """Give the flight at which the line is at a number, and the earliest and latest.

        Each None where the line, or the slope at that end of its interval, never gets there.
        """
        middle = self.level(self.middle).value
        ends = [
            _reached(self.middle, middle, end, bound) for end in (self.slope.low, self.slope.high)
        ]
        early, late = sorted(ends, key=lambda at: math.inf if at is None else at)
        return _reached(self.middle, middle, self.slope.value, bound), early, late


def _reached(at: float, value: float, slope: float, bound: float) -> float | None:
    if slope == 0 or (bound - value) / slope < 0:
        return None
    found = at + (bound - value) / slope
    return found if found < _LARGEST else None


def trend_of(series: Series) -> Trend:
    """Say how a figure changes.

    Raises
    ------
    NotEnoughDataError
        If fewer than `FEWEST` flights have it.
    """
    n = len(series)
    if n < FEWEST:
        flights = "1 flight has" if n == 1 else f"{n} flights have"
        raise NotEnoughDataError(
            f"{flights} it since the last change, and {FEWEST} are needed",
            fix="Fly on and import the logs.",
        )
    x, y = series.index, series.value
    s, var = rises(y), variance(y)
    weights = _weights(series)
    rough = slope_of(x, y, weights, var)
    rest = y - rough.at_zero - rough.value * x
    wider = float(dependence(rest, series.day))
    slope = slope_of(x, y, weights, var * wider)
    share = weights / weights.sum()
    middle = float((share * x).sum())
    z, lag1 = standard(s, var), float(neighbours(rest))
    p, by = _one_look(y, s, z, lag1, series)
    return Trend(
        flights=n,
        first=float(x[0]),
        last=float(x[-1]),
        slope=slope,
        s=s,
        var=var,
        z=z,
        tau=2 * s / (n * (n - 1)),
        p=p,
        p_by=by,
        p_looks=min(1.0, LOOKS * _all_looks(series, s, rest, slope.value)),
        lag1=lag1,
        wider=wider,
        scatter=math.sqrt(float((share * rest**2).sum()) * n / (n - 2)),
        freedom=float(n - 2),
        middle=middle,
        spread=float((share * (x - middle) ** 2).sum()) * n,
    )


def _weights(series: Series) -> Array:
    """Weigh flights by how well they were measured, beside what they scatter about a line."""
    x, y = series.index, series.value
    alike = np.ones(len(y))
    if np.ptp(series.std) == 0:
        return alike
    rough = slope_of(x, y, alike, variance(y))
    return _weights_by(y - rough.at_zero - rough.value * x, series.std)


def _weights_by(rest: Array, u: Array) -> Array:
    """Weigh by measurement and by what is left beside a line or a level."""
    scatter = (1.4826 * float(np.median(np.abs(rest)))) ** 2
    own = max(0.0, scatter - float(np.median(u)) ** 2)
    total = own + np.maximum(u, 1e-3 * float(u.max())) ** 2
    if np.ptp(u) == 0 or float(total.min()) < _TINY:
        return np.ones(len(rest))
    return np.asarray(np.maximum(float(total.min()) / total, 1e-3))


def _one_look(y: Array, s: float, z: float, lag1: float, series: Series) -> tuple[float, str]:
    if is_exact(y):
        return exact_p(s, len(y)), "exact"
    if lag1 > _DEPENDENT and can_be_shuffled(len(y)):
        _, counts = np.unique(series.day, return_counts=True)
        block = max(2, round(len(y) ** (1 / 3)), int(counts.max()))
        if len(y) >= 4 * block:
            return shuffled_p(y, block), "blocks shuffled"
    return two_sided(z), "normal"


def _all_looks(series: Series, s: float, rest: Array, slope: float) -> float:
    y = series.value
    if is_exact(y):
        return exact_p(s, len(y))
    wider = dependence(rest, series.day)
    by_rank = two_sided(standard(s, variance(y) * float(wider)))
    if len(y) < EXACT_BELOW:
        return by_rank
    return math.sqrt(by_rank * float(slope_p(np.array(slope), rest, series.index, wider)))


def slope_p(slope: Array, rest: Array, x: Array, wider: Array) -> Array:
    """Give the two-sided probability of a slope as large over its error, were there none.

    Parameters
    ----------
    slope : array
        Shape (...).
    rest : array
        Shape (..., n), what is left beside the line; the wildest is clipped.
    x : array
        Shape (n,).
    wider : array
        Shape (...), see `dependence`.
    """
    from scipy.special import stdtr

    off = rest - np.median(rest, axis=-1, keepdims=True)
    most = _CLIPPED * 1.4826 * np.median(np.abs(off), axis=-1, keepdims=True)
    scatter = (np.clip(off, -most, most) ** 2).sum(axis=-1) / (len(x) - 2)
    error = np.sqrt(scatter * wider / ((x - x.mean()) ** 2).sum())
    # Without any scatter the ranks alone speak.
    sure = error > 1e-12 * np.abs(slope)
    t = np.where(sure, np.abs(slope) / np.where(sure, error, 1.0), 0.0)
    return np.asarray(2 * stdtr(len(x) - 2, -t))


# --- a flight that stands out


@dataclass(frozen=True, slots=True)
class Jump:
    """A flight that is not like those before it.

    Attributes
    ----------
    place : int
        In the series.
    expected, low, high : float
        What those before it said, and the bounds that it left.
    in_a_row : int
        How many flights up to this one stand out to the same side.
    """

    place: int
    expected: float
    low: float
    high: float
    in_a_row: int


def jumps_of(series: Series, level: float, least: float = 0.0) -> tuple[Jump, ...]:
    """Give the flights that stand out from those before them, the earliest first.

    Each flight is compared with the earlier ones that do not stand out themselves, by their
    median and scatter: once it was left, a level does not take in what came after. Where the
    flights before make a line, a slow change is inside the scatter.

    Parameters
    ----------
    series : Series
        Of one thing in one state.
    level : float
        How often any flight of a season may be named falsely in this series; spent evenly over
        30 flights.
    least : float
        Practical size: a smaller step is no jump.
    """
    each = level / _JUMP_SEASON
    y, u = series.value, series.std
    usual: list[int] = list(range(min(FEWEST, len(y))))
    found: list[Jump] = []
    for place in range(len(usual), len(y)):
        before = series.part(np.array(usual[-_LATEST:]))
        expected, half = _usual(before, float(u[place]), each)
        half = max(half, least)
        off = float(y[place]) - expected
        if abs(off) <= half:
            usual.append(place)
            continue
        last = found[-1] if found else None
        again = (
            last is not None
            and last.place == place - 1
            and (float(y[place - 1]) - last.expected) * off > 0
        )
        row = last.in_a_row + 1 if last is not None and again else 1
        found.append(Jump(place, expected, expected - half, expected + half, row))
    return tuple(found)


def _usual(before: Series, std: float, each: float) -> tuple[float, float]:
    """Give what earlier flights lead to expect, and how far a flight may be from it."""
    y = before.value
    n = len(y)
    middle = weighted_median(y, _weights_by(y - np.median(y), before.std))
    rest = y - middle
    wider = float(dependence(rest, before.day))
    freedom = max(2.0, (n - 1) / wider)
    scatter = max(math.sqrt(float((rest**2).sum()) / (n - 1)), float(np.median(before.std)))
    own = max(0.0, std**2 - float(np.median(before.std)) ** 2)
    half = _student(freedom, 1 - 0.5 * each) * math.sqrt(scatter**2 * (1 + wider / n) + own)
    return middle, half


def _student(freedom: float, probability: float) -> float:
    from scipy.special import stdtrit

    return float(stdtrit(freedom, probability))
