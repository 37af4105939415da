"""What pulses and angles of one surface say: middle of both ways, lag between them, line, play.

Where a pulse is reached from below and from above, the surface stands at two places; between them
lie the gaps of the linkage and what friction holds. The middle of both is the deflection, the
distance of both the hysteresis. All numbers are sums over means of rows that were read alike, so
that uncertainties follow from those of the means.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flightlog.groundtests.bench_table import FloatArray
from flightlog.groundtests.linkage_rows import Flags, Indices, SurfaceRows
from flightlog.groundtests.repeats import mean_of_repeats
from flightlog.uncertain import NORMAL_95

LEAST_FREEDOM = 3
"""Repeats alone show the scatter from so many degrees of freedom on."""
_FEWEST_FREEDOM = 2
_TAKEN_UP = 1.5
"""After a turn the gap is taken up once the surface would have moved by so many times its width."""
_CURVE = 3


@dataclass(frozen=True, slots=True, eq=False)
class Means:
    """Means of rows at one pulse that came from one side.

    Attributes
    ----------
    level, side : array of int, shape (g,)
        Of `SurfaceRows`.
    count : array of int, shape (g,)
        Rows in each.
    mean_deg, var : array, shape (g,)
        Their mean, and the variance of it. [deg], [deg²]
    scatter_deg : float
        Standard deviation of one row about the mean of its like; NaN where nothing shows it. [deg]
    freedom : int
        Of the scatter.
    repeated : bool
        Whether repeats show it, and not how pulses follow each other.
    wide : float
        Student's factor of the scatter over a Gaussian's. [-]
    """

    level: Indices
    side: Indices
    count: Indices
    mean_deg: FloatArray
    var: FloatArray
    scatter_deg: float
    freedom: int
    repeated: bool
    wide: float


@dataclass(frozen=True, slots=True, eq=False)
class Lag:
    """By how much the angle differs where a pulse is reached from above instead of from below.

    Attributes
    ----------
    level : array of int, shape (m,)
        The pulses that were reached from both sides.
    each_deg : array, shape (m,)
        Angle from above less angle from below; its sign is that of the gain where it lags. [deg]
    mean_deg, std_deg : float
        Of all of them. [deg]
    spread_deg : float
        How much single pulses differ, beyond reading. [deg]
    """

    level: Indices
    each_deg: FloatArray
    mean_deg: float
    std_deg: float
    spread_deg: float


@dataclass(frozen=True, slots=True, eq=False)
class Middle:
    """The deflection at each pulse.

    Attributes
    ----------
    level : array of int, shape (k,)
        Those that have one.
    pulse_us, deflection_deg : array, shape (k,)
        [us], [deg]
    weights : array, shape (k, 2)
        Share of the mean from below and of that from above.
    lag_share : array, shape (k,)
        Share of the mean lag in it, where only one side was read. [-]
    lag_var : array, shape (k,)
        Variance from what single pulses differ by. [deg²]
    sided : bool
        Whether it is the middle; else each stands on the side from which it was reached.
    """

    level: Indices
    pulse_us: FloatArray
    deflection_deg: FloatArray
    weights: FloatArray
    lag_share: FloatArray
    lag_var: FloatArray
    sided: bool


@dataclass(frozen=True, slots=True, eq=False)
class Crossing:
    """Where a deflection passes 0.

    Attributes
    ----------
    pulse_us : float
        [us]
    effect : array, shape (k,)
        What each deflection does to it. [us/deg]
    slope_deg_us : float
        Between the two pulses beside it. [deg/us]
    curve_us : float
        By how much a curve through the neighbours passes elsewhere than the straight line. [us]
    """

    pulse_us: float
    effect: FloatArray
    slope_deg_us: float
    curve_us: float


# --- means and their scatter


def means_of(rows: SurfaceRows, angle_deg: FloatArray, usable: Flags) -> Means:
    """Take the means of rows that were read alike.

    Parameters
    ----------
    rows : SurfaceRows
        Of one surface.
    angle_deg : array, shape (n,)
        What is averaged. [deg]
    usable : array of bool, shape (n,)
        Rows that count.
    """
    level, side, angle = rows.level[usable], rows.side[usable], angle_deg[usable]
    key, at = np.unique(3 * level + side + 1, return_inverse=True)
    count = np.bincount(at, minlength=key.size)
    mean = np.bincount(at, weights=angle, minlength=key.size) / count
    made_level, made_side = key // 3, key % 3 - 1
    left = angle - mean[at]
    freedom = int(angle.size - key.size)
    scatter = math.sqrt(float(left @ left) / freedom) if freedom else math.nan
    repeated = freedom >= LEAST_FREEDOM
    if not repeated:
        others = (
            (scatter, freedom),
            _scatter_of_curves(made_level, made_side, mean, rows.pulse_us),
            _scatter_of_lag(made_level, made_side, mean),
        )
        scatter, freedom = max(others, key=lambda each: each[1])
        scatter = scatter if freedom >= _FEWEST_FREEDOM else math.nan
    var, wide = _variances(scatter, freedom, count, rows.resolution_deg)
    return Means(made_level, made_side, count, mean, var, scatter, freedom, repeated, wide)


def _scatter_of_curves(
    level: Indices, side: Indices, mean: FloatArray, pulse_us: FloatArray
) -> tuple[float, int]:
    """Scatter about a smooth curve through the rows of each side; NaN with too few of them."""
    total, freedom = 0.0, 0
    for way in (-1, 1):
        mine = side == way
        if int(mine.sum()) <= _CURVE + 1:
            continue
        x = pulse_us[level[mine]]
        x = (x - x.mean()) / max(float(np.ptp(x)), 1e-9)
        design = np.vander(x, _CURVE + 1)
        solved = np.linalg.lstsq(design, mean[mine], rcond=None)[0]
        off = mean[mine] - design @ solved
        total += float(off @ off)
        freedom += int(mine.sum()) - _CURVE - 1
    return (math.sqrt(total / freedom), freedom) if freedom else (math.nan, 0)


def _scatter_of_lag(level: Indices, side: Indices, mean: FloatArray) -> tuple[float, int]:
    """Scatter of one reading from how the difference of both sides changes over the pulses."""
    _, up, down = np.intersect1d(level[side == 1], level[side == -1], return_indices=True)
    if up.size < 2:
        return math.nan, 0
    lag = mean[side == -1][down] - mean[side == 1][up]
    return float(lag.std(ddof=1)) / math.sqrt(2), int(up.size) - 1


def _variances(
    scatter: float, freedom: int, count: Indices, step_deg: float
) -> tuple[FloatArray, float]:
    from scipy.special import stdtrit

    if not math.isfinite(scatter):
        return np.full(count.size, np.nan), 1.0
    wide = float(stdtrit(freedom, 0.975)) / NORMAL_95
    var = (wide * scatter) ** 2 / count
    if scatter < step_deg / 2:
        # Repeats that read the same do not average out what was rounded off.
        var = var + step_deg**2 / 12
    return var, wide


def usable_rows(rows: SurfaceRows, gain_deg_us: float, lag_deg: float) -> Flags:
    """Mark rows that were not pushed, and at which the gap had been taken up since the turn."""
    moved = abs(gain_deg_us) * np.abs(rows.pulse_us[rows.level] - rows.pulse_us[rows.turn])
    taken = (rows.side == 0) | (moved >= _TAKEN_UP * abs(lag_deg))
    return np.asarray((rows.force_n == 0) & taken, dtype=np.bool_)


# --- lag, middle, line


def _both(means: Means) -> tuple[Indices, Indices]:
    """Indices of means from below and from above, at pulses that have both."""
    low, high = np.flatnonzero(means.side == 1), np.flatnonzero(means.side == -1)
    _, a, b = np.intersect1d(means.level[low], means.level[high], return_indices=True)
    return low[a], high[b]


def lag_of(means: Means, step_deg: float) -> Lag | None:
    """Give the lag; None where no pulse was reached from both sides, or nothing shows its std."""
    up, down = _both(means)
    if not up.size:
        return None
    each = means.mean_deg[down] - means.mean_deg[up]
    var = means.var[up] + means.var[down]
    within = math.sqrt(float(var.sum())) / up.size
    std, spread = within, 0.0
    if up.size > 1:
        between = mean_of_repeats(each.tolist(), "deg").std
        known = math.isfinite(within)
        std = max(within, between) if known else between
        beyond = float(each.var(ddof=1)) - (float(var.mean()) if known else 0.0)
        spread = math.sqrt(max(beyond, 0.0))
    if not math.isfinite(std):
        return None
    std = max(std, step_deg / math.sqrt(6 * up.size))
    return Lag(means.level[up], each, float(each.mean()), std, spread)


def middle_of(means: Means, lag: Lag | None, pulse_us: FloatArray) -> Middle:
    """Give the deflection at each pulse.

    Where one side is wanting, half of the mean lag is added or taken off; a row that came from
    nowhere known counts only where there is no other.
    """
    levels = np.unique(means.level)
    below, lost, above = (_at_levels(means, side, pulse_us.size)[levels] for side in (1, 0, -1))
    has_b, has_a = np.isfinite(below), np.isfinite(above)
    delta, spread = (lag.mean_deg, lag.spread_deg) if lag is not None else (0.0, 0.0)
    share = np.where(has_b & ~has_a, 0.5, np.where(has_a & ~has_b, -0.5, 0.0))
    weights = np.stack([has_b / (1.0 + has_a), has_a / (1.0 + has_b)], axis=1)
    at = np.where(has_b & has_a, (below + above) / 2, np.where(has_b, below, above))
    known = has_b | has_a
    at = np.where(known, at, lost) + share * delta
    lag_var = np.where(share != 0, spread**2 / 4, 0.0)
    lag_var = np.where(known, lag_var, (delta**2 + spread**2) / 4)
    return Middle(levels, pulse_us[levels], at, weights, share, lag_var, lag is not None)


def _at_levels(means: Means, side: int, count: int) -> FloatArray:
    into = np.full(count, np.nan)
    mine = means.side == side
    into[means.level[mine]] = means.mean_deg[mine]
    return into


def middle_std(means: Means, lag: Lag | None, middle: Middle, combine: FloatArray) -> float:
    """Give the standard uncertainty of a sum over deflections, but for the gauge.

    Parameters
    ----------
    means, lag, middle :
        As they were made from each other.
    combine : array, shape (k,)
        What each deflection is multiplied by.
    """
    place = np.searchsorted(middle.level, means.level)
    column = np.where(means.side == 1, 0, 1)
    alone = np.where(middle.weights.sum(axis=1) > 0, 0.0, 1.0)
    share = np.where(means.side == 0, alone[place], middle.weights[place, column])
    effect = combine[place] * share
    common = float(combine @ middle.lag_share)
    extra = 0.0
    if lag is not None and common != 0:
        up, down = _both(means)
        effect[up] -= common / up.size
        effect[down] += common / up.size
        within = math.sqrt(float((means.var[up] + means.var[down]).sum())) / up.size
        # What the spread over pulses adds to the lag that reading alone does not.
        more = lag.std_deg**2 - (within**2 if math.isfinite(within) else 0.0)
        extra = common**2 * max(more, 0.0)
    var = float(effect**2 @ means.var) + extra + float(combine**2 @ middle.lag_var)
    return math.sqrt(var)


def line_weights(pulse_us: FloatArray) -> FloatArray:
    """What each deflection counts in the slope of the line of least squares. [1/us]"""
    off = pulse_us - pulse_us.mean()
    return np.asarray(off / float(off @ off), dtype=float)


def zero_crossing(middle: Middle) -> Crossing | None:
    """Find the pulse at 0 deg; None where the deflection does not pass 0 just once."""
    d, p = middle.deflection_deg, middle.pulse_us
    crossing = np.flatnonzero((d[:-1] < 0) != (d[1:] < 0))
    if crossing.size != 1:
        return None
    i = int(crossing[0])
    slope = float((d[i + 1] - d[i]) / (p[i + 1] - p[i]))
    share = float(-d[i] / (d[i + 1] - d[i]))
    effect = np.zeros(d.size)
    effect[i], effect[i + 1] = -(1 - share) / slope, -share / slope
    at = float(p[i] - d[i] / slope)
    # Newton's divided differences: a parabola is off the line by this times both distances.
    bends = [
        ((d[k + 1] - d[k]) / (p[k + 1] - p[k]) - (d[k] - d[k - 1]) / (p[k] - p[k - 1]))
        / (p[k + 1] - p[k - 1])
        for k in (i, i + 1)
        if 0 < k < d.size - 1
    ]
    bend = max((abs(float(b)) for b in bends), default=math.inf)
    gap = (at - float(p[i])) * (float(p[i + 1]) - at)
    curve = bend * gap / abs(slope) if gap > 0 else 0.0
    return Crossing(at, effect, slope, curve)
