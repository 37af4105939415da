"""From settled steps to coefficients, powers and efficiencies, each with its uncertainty.

All of them are products of powers of what was read. So relative effects add up, and an error that
two factors share (the speed in CT, the lag of a ramp in thrust and speed) cancels as it should.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from flightlog.groundtests.bench_table import FloatArray
from flightlog.groundtests.thrust_steps import students
from flightlog.uncertain import Uncertain

IntArray = NDArray[np.int64]

SCATTER = "scatter"
BETWEEN = "between sweeps"
_CHANCE = 0.05
"""Probability below which sweeps that lie apart do so by no chance. [-]"""


@dataclass(frozen=True, slots=True, eq=False)
class Measured:
    """One quantity at many steps.

    Attributes
    ----------
    value : array
        Shape (n,).
    scatter : array
        Shape (n,), standard uncertainty that each step has for itself; NaN where it is not known.
    common : mapping of str to array
        Error that all steps share -> effect of one standard deviation of it on each, signed.
    """

    value: FloatArray
    scatter: FloatArray
    common: Mapping[str, FloatArray] = field(default_factory=dict)

    @property
    def std(self) -> FloatArray:
        """Standard uncertainty at each step."""
        return np.sqrt(self.scatter**2 + self._common_variance())

    def _common_variance(self) -> FloatArray:
        total = np.zeros(len(self.value))
        for effect in self.common.values():
            total = total + effect**2
        return total

    def one(self, unit: str, factor: float = 1.0) -> Uncertain:
        """Give the only, or first, step as a number."""
        return self.mixed(np.eye(1, len(self.value))[0], unit, factor)

    def mixed(self, weights: FloatArray, unit: str, factor: float = 1.0) -> Uncertain:
        """Give a weighted sum of the steps."""
        parts = {name: float(weights @ effect) for name, effect in self.common.items()}
        used = weights != 0
        scatter = float(np.sqrt(np.sum((weights[used] * self.scatter[used]) ** 2)))
        parts[SCATTER] = scatter
        value = float(weights[used] @ self.value[used])
        kept = {name: effect * factor for name, effect in parts.items() if effect}
        return Uncertain(value * factor, kept, unit)


def constant(value: float, sources: Mapping[str, float], n: int) -> Measured:
    """Give what is the same at all steps, as the density of the air."""
    return Measured(
        np.full(n, value),
        np.zeros(n),
        {name: np.full(n, effect) for name, effect in sources.items()},
    )


def product(factor: float, parts: Iterable[tuple[Measured, float]]) -> Measured:
    """Multiply powers of quantities: factor times the product of value ** exponent.

    Uncertainties are of first order; where a value is not positive, the result is missing.
    """
    parts = list(parts)
    n = len(parts[0][0].value)
    value = np.full(n, float(factor))
    good = np.ones(n, dtype=bool)
    for part, exponent in parts:
        good &= np.isfinite(part.value) & (part.value > 0)
        value = value * np.power(np.where(good, part.value, 1.0), exponent)
    variance = np.zeros(n)
    common: dict[str, FloatArray] = {}
    for part, exponent in parts:
        share = exponent * value / np.where(good, part.value, 1.0)
        variance = variance + (share * part.scatter) ** 2
        for name, effect in part.common.items():
            common[name] = common.get(name, np.zeros(n)) + share * effect
    missing = np.where(good, 1.0, np.nan)
    return Measured(
        value * missing, np.sqrt(variance), {k: np.where(good, v, 0.0) for k, v in common.items()}
    )


def by_level(
    measured: Measured,
    group: IntArray,
    like: Measured | None = None,
    sweep: IntArray | None = None,
) -> Measured:
    """Average the repeats of each level.

    Parameters
    ----------
    measured : Measured
        At the steps.
    group : array of int
        Shape (n,), which level each step is of: 0 to the number of levels less one.
    like : Measured, optional
        What repeats as well as this does, but does not move with the supply: thrust over speed
        squared for thrust. The measured quantity itself without.
    sweep : array of int, optional
        Shape (n,), which repeat of the whole each step is of. What is off in all steps of one
        sweep (a zero, a cable, the air) is one error, and not one for each step.

    Returns
    -------
    Measured
        At the levels. Repeats that differ by more than their own scatter say that this is too
        small; it is made larger by one factor for all levels (Birge 1932), with Student's factor
        for the number of repeats that it was found from. It is never made smaller. NaN where
        there are neither repeats nor a scatter.

    Notes
    -----
    Repeats of a throttle while a pack goes down are not repeats of one thrust. Their mean is what
    it is; only what is left at equal speed tells how well the stand repeats.
    """
    levels = int(group.max()) + 1 if len(group) else 0
    value, scatter = np.full(levels, np.nan), np.full(levels, np.nan)
    common = {name: np.zeros(levels) for name in measured.common}
    for level in range(levels):
        at = np.flatnonzero((group == level) & np.isfinite(measured.value))
        if not len(at):
            continue
        x, own = measured.value[at], measured.scatter[at]
        value[level] = float(np.mean(x))
        if len(at) > 1 or np.isfinite(own).all():
            scatter[level] = math.sqrt(_mean_square(own, value[level]) / len(at))
        for name, effect in measured.common.items():
            common[name][level] = float(np.mean(effect[at]))
    if sweep is not None:
        apart = sweeps_apart(like or measured, group, sweep)
        if apart is not None:
            common[BETWEEN] = np.where(np.isfinite(value), value, 0.0) * apart.std
    return Measured(value, scatter * _repeat_factor(like or measured, group), common)


@dataclass(frozen=True, slots=True, eq=False)
class Apart:
    """How far whole sweeps lie apart, beyond what their steps scatter by.

    Attributes
    ----------
    std : float
        Standard uncertainty of the mean of all sweeps, wide enough for Student's 95 % interval, in
        parts of the mean. [-]
    number : array of int
        Number of each sweep.
    off : array
        By how much it is above the mean of all, in parts of it. [-]
    """

    std: float
    number: IntArray
    off: FloatArray


def sweeps_apart(measured: Measured, group: IntArray, sweep: IntArray) -> Apart | None:
    """Compare sweeps at the levels that they share; None where chance explains what they differ by.

    Parameters
    ----------
    measured : Measured
        What should repeat, at the steps.
    group, sweep : array of int
        Shape (n,), level and sweep of each step.
    """
    off, std = np.full(len(group), np.nan), np.full(len(group), np.nan)
    for level in np.unique(group):
        at = np.flatnonzero((group == level) & np.isfinite(measured.value))
        mean = float(np.mean(measured.value[at])) if len(at) else 0.0
        if mean > 0 and len(np.unique(sweep[at])) > 1:
            off[at] = measured.value[at] / mean - 1
            std[at] = measured.scatter[at] / mean
    return apart_of(off, std, sweep)


def apart_of(off: FloatArray, std: FloatArray, sweep: IntArray) -> Apart | None:
    """Say how far sweeps lie apart, from how far each step is off.

    Parameters
    ----------
    off, std : array
        Shape (n,), of each step: how far off in parts of the mean, and what it scatters by. What
        is not finite is left out.
    sweep : array of int
        Shape (n,).

    Returns
    -------
    Apart or None
        None where a test of homogeneity (χ², 5 %) has nothing against one mean.
    """
    from scipy.special import chdtri

    good = np.isfinite(off) & np.isfinite(std)
    number = np.unique(sweep[good])
    if len(number) < 2:
        return None
    weight = np.where(good, 1 / (np.where(good, std, 1.0) ** 2 + 1e-12), 0.0)
    known = np.where(good, off, 0.0)
    whole = np.array([float(np.sum(weight[sweep == each])) for each in number])
    mean = np.array([float(weight[sweep == n] @ known[sweep == n]) for n in number]) / whole
    mean = mean - float(whole @ mean) / float(np.sum(whole))
    freedom = len(number) - 1
    if float(whole @ mean**2) <= float(chdtri(freedom, _CHANCE)):
        return None
    spread = float(np.std(mean, ddof=1)) / math.sqrt(len(number))
    return Apart(spread * students(freedom), number, mean)


def _mean_square(scatter: FloatArray, value: float) -> float:
    """Mean square of what steps scatter by; never quite nothing, so that it can be divided by."""
    known = np.where(np.isfinite(scatter), scatter, 0.0)
    return float(np.mean(known**2)) + (1e-7 * abs(value) + 1e-150) ** 2


def _repeat_factor(measured: Measured, group: IntArray) -> float:
    """By how much more repeats differ than they scatter in themselves; 1 at the least."""
    chi, freedom = 0.0, 0
    for level in range(int(group.max()) + 1 if len(group) else 0):
        x = measured.value[group == level]
        known = np.isfinite(x)
        if np.count_nonzero(known) < 2:
            continue
        own, mean = measured.scatter[group == level][known], float(np.mean(x[known]))
        chi += float(np.sum((x[known] - mean) ** 2)) / _mean_square(own, mean)
        freedom += int(np.count_nonzero(known)) - 1
    return max(1.0, math.sqrt(chi / freedom) * students(freedom)) if freedom else 1.0


@dataclass(frozen=True, slots=True, eq=False)
class Trend:
    """How a coefficient goes with speed.

    Attributes
    ----------
    mean : Uncertain
        Weighted mean of all steps. [-]
    change, change_std : float
        From the slowest to the fastest step, of a line over the logarithm of the speed, in parts of
        the mean. [-]
    spread : float
        Standard deviation of that line over the steps, in parts of the mean. [-]
    """

    mean: Uncertain
    change: float
    change_std: float
    spread: float


def trend(measured: Measured, speed: FloatArray, sweep: IntArray | None = None) -> Trend | None:
    """Average a coefficient over all steps, and say whether it changes with speed.

    Parameters
    ----------
    measured : Measured
        The coefficient at the steps.
    speed : array
        Shape (n,), of the shaft; any unit.
    sweep : array of int, optional
        As in `by_level`.

    Returns
    -------
    Trend or None
        Weights are by the whole uncertainty of each step, so that slow ones, where the zero counts
        most, count little. Steps that scatter about the line by more than they should make the
        scatter larger. None with fewer than 3 steps.
    """
    own = np.where(np.isfinite(measured.scatter), measured.scatter, 0.0)
    good = np.isfinite(measured.value) & (speed > 0)
    if np.count_nonzero(good) < 3:
        return None
    x = np.log(speed[good])
    y = measured.value[good]
    part = Measured(y, own[good], {k: v[good] for k, v in measured.common.items()})
    floor = 1e-7 * float(np.mean(np.abs(y))) + 1e-300
    scatter = np.hypot(part.scatter, floor)
    weights = 1 / (part.std**2 + floor**2)
    weights = weights / np.sum(weights)
    middle = float(weights @ x)
    apart = float(weights @ (x - middle) ** 2)
    mean = float(weights @ y)
    along = weights * (x - middle) / apart if apart > 1e-12 else np.zeros(len(x))
    slope = float(along @ y)
    off = (y - mean - slope * (x - middle)) / scatter
    freedom = max(len(x) - 2, 1)
    larger = max(1.0, math.sqrt(float(off @ off) / freedom) * students(freedom))
    common = dict(part.common)
    if sweep is not None and mean > 0:
        left = (y - mean - slope * (x - middle)) / mean
        apart_sweeps = apart_of(left, scatter / mean, sweep[good])
        if apart_sweeps is not None:
            common[BETWEEN] = y * apart_sweeps.std
    part = Measured(y, scatter * larger, common)
    reach = float(np.ptp(x))
    changed = part.mixed(along * reach, "")
    scale = abs(mean) or math.nan
    return Trend(
        part.mixed(weights, ""),
        slope * reach / scale,
        changed.std / scale,
        abs(slope) * math.sqrt(apart) / scale,
    )


def grouped(level: FloatArray, near: float) -> IntArray:
    """Put alike levels together, in rising order: none is further than ``near`` from its lowest."""
    group = np.zeros(len(level), dtype=np.int64)
    number, lowest = -1, -math.inf
    for i in np.argsort(level, kind="stable"):
        if not level[i] - lowest <= near:
            number, lowest = number + 1, float(level[i])
        group[i] = number
    return group


def joined(parts: Sequence[Measured]) -> Measured:
    """Put the steps of several files into one; an error of a name is one error in all of them."""
    names = dict.fromkeys(name for part in parts for name in part.common)
    common = {
        name: np.concatenate([p.common.get(name, np.zeros(len(p.value))) for p in parts])
        for name in names
    }
    return Measured(
        np.concatenate([p.value for p in parts]),
        np.concatenate([p.scatter for p in parts]),
        common,
    )
