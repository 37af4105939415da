"""Take the slow error out of positions: velocity integrated knows better how it wandered.

A position fix carries an error that wanders by 1 to 2 m within a minute. Doppler velocity errs
almost independently from fix to fix, so that its integral over a minute is good to half a
metre. What position and integrated velocity disagree by is therefore mostly the slow error of
the position plus a little of the integral's own. Both are modelled as Gauss-Markov processes
and told apart by a smoother (Rauch, Tung and Striebel 1965).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flightlog.estimation.frames import Array
from flightlog.estimation.kalman import Motion, Smoothed, lag_covariance, smooth

CORRELATED_SPEED_STD_M_S = 0.05
CORRELATED_SPEED_TIME_S = 0.5
"""Part of the Doppler error that neighbouring fixes share: the receiver's own filter.
[m/s], [s]"""

SLOW_SPEED_STD_M_S = 0.005
SLOW_SPEED_TIME_S = 60.0
"""Part of the Doppler error that lasts for a minute: satellite orbits and clocks. [m/s], [s]"""

LEAST_WHITE_SPEED_STD_M_S = 0.1
"""White part of the Doppler error of each axis is never taken to be smaller. [m/s]"""

KNOT_S = 2.0
"""Spacing at which the slow errors are told apart. [s]"""

_UNSEEN_ACCELERATION_M_S2 = 3.0
_LEAST_KNOTS = 10
_JUMP_SIGMA = 4.0
_JUDGED_LAGS_S = (30.0, 60.0, 90.0)
_LONGEST_TIME_S = 600.0
_FASTEST_NOISE_HZ = 4.0


@dataclass(frozen=True, slots=True)
class Anchored:
    """Positions without most of their slow error.

    Attributes
    ----------
    place_m : array, shape (n, 2)
        East and north. [m]
    drift_std_m, drift_time_s : float
        The slow error that is left, as a first-order process: a difference over T carries
        ``drift_std_m * sqrt(2 (1 - exp(-T / drift_time_s)))``. [m], [s]
    """

    place_m: Array
    drift_std_m: float
    drift_time_s: float


def anchored_to_velocity(
    time_s: Array,
    place_m: Array,
    velocity_m_s: Array,
    speed_std_m_s: Array,
    drift_std_m: float,
    drift_time_s: float,
) -> Anchored | None:
    """Let integrated velocity say how positions moved, and positions where they are.

    Parameters
    ----------
    time_s : array, shape (n,)
        Rising. [s]
    place_m, velocity_m_s : array, shape (n, 2)
        East and north; velocities may be NaN. [m], [m/s]
    speed_std_m_s : array, shape (n,)
        Doppler error of each axis as claimed. [m/s]
    drift_std_m, drift_time_s : float
        Slow error of the positions as a first-order process. [m], [s]

    Returns
    -------
    Anchored or None
        None where there is nothing to gain: too short, or too few velocities.
    """
    known = np.isfinite(velocity_m_s).all(axis=1)
    if known.sum() < max(_LEAST_KNOTS, 0.9 * known.size):
        return None
    t, v = time_s[known], velocity_m_s[known]
    integral = _integral(t, v, place_m[known])
    knots = _knots(t, place_m[known] - integral)
    if knots.time_s.size < _LEAST_KNOTS:
        return None
    walk, std, misfit = _judged(
        knots, _walk_variance(t, v, speed_std_m_s[known], knots), drift_std_m, drift_time_s
    )
    runs = [_separate(knots, axis, walk, std, drift_time_s, misfit) for axis in range(2)]
    offset = np.stack([run.mean[:, 1] for run in runs], axis=1)
    place = place_m.copy()
    place[known] = integral + _between(t, knots, offset)
    lost = np.flatnonzero(~known)
    place[lost] -= _between(time_s[lost], knots, knots.apart_m - offset)
    left_std, left_time = _left(knots.time_s, runs[0], std, drift_time_s)
    return Anchored(place, left_std, left_time)


def _integral(time_s: Array, velocity: Array, place: Array) -> Array:
    """Integral of velocity by the trapezoid with its end correction (Euler and Maclaurin).

    Across a gap, where velocities tell nothing, the places themselves say how far it went.
    """
    dt = np.diff(time_s)[:, None]
    accel = np.gradient(velocity, time_s, axis=0)
    bend = np.where(dt < 3.0, dt**2 / 12 * np.diff(accel, axis=0), 0.0)
    steps = dt * (velocity[1:] + velocity[:-1]) / 2 - bend
    steps = np.where(dt > max(1.0, 3.0 * float(np.median(dt))), np.diff(place, axis=0), steps)
    return np.concatenate([np.zeros((1, velocity.shape[1])), np.cumsum(steps, axis=0)])


@dataclass(frozen=True, slots=True)
class _Knots:
    """Medians over stretches of `KNOT_S`, none of which spans a hole in the fixes.

    ``piece`` numbers the stretches between holes.
    """

    time_s: Array
    apart_m: Array
    piece: NDArray[np.intp]


def _knots(time_s: Array, apart: Array) -> _Knots:
    """Position less integrated velocity, at knots."""
    dt = np.diff(time_s, prepend=time_s[0])
    hole = dt > max(1.5, 3 * float(np.median(dt[1:])))
    piece = np.cumsum(hole).astype(np.intp)
    origin = time_s[np.flatnonzero(np.diff(piece, prepend=-1))][piece]
    # Fixes lie on whole stretches as a rule: rounding must not decide to which they belong.
    number = np.floor((time_s - origin) / KNOT_S + 1e-3)
    first = np.flatnonzero(hole | (np.diff(number, prepend=-1.0) != 0))
    count = np.diff(np.append(first, time_s.size))
    middle, median = np.empty(first.size), np.empty((first.size, apart.shape[1]))
    # Most stretches hold the same number of fixes: all of one length at the same time.
    for length in np.unique(count):
        alike = count == length
        rows = first[alike, None] + np.arange(length)
        middle[alike] = time_s[rows].mean(axis=1)
        median[alike] = np.median(apart[rows], axis=1)
    return _Knots(middle, median, piece[first])


def _between(time_s: Array, knots: _Knots, values: Array) -> Array:
    """Values of the knots at other times; a hole is not bridged."""
    ends = np.concatenate([np.flatnonzero(np.diff(knots.piece)) + 1, [knots.piece.size]])
    at = np.clip(np.searchsorted(knots.time_s, time_s), 1, knots.time_s.size - 1)
    low, high = knots.time_s[at - 1], knots.time_s[at]
    part = np.clip((time_s - low) / (high - low), 0.0, 1.0)
    bridged = np.isin(at, ends[:-1])
    part = np.where(bridged, np.round(part), part)[:, None]
    return np.asarray(values[at - 1] * (1 - part) + values[at] * part)


def _judged(
    knots: _Knots, walk: Array, drift_std: float, drift_time: float
) -> tuple[Array, float, float]:
    """Judge the stated errors by what position and velocity disagree by.

    Returns the variance of the walk from knot to knot [m²], the standard deviation of the
    drift [m], and the factor by which both were raised.
    """
    wander = -2 * drift_std**2 * np.expm1(-np.diff(knots.time_s) / drift_time)
    jump = np.abs(np.diff(knots.apart_m, axis=0)).max(axis=1)
    expected = np.sqrt(wander + walk)
    # The larger of two axes: its median is at 1.05 standard deviations.
    misfit = max(1.0, float(np.median(jump / expected)) / 1.05)
    # A jump belongs to neither process: behind it nothing is known of before.
    lost = np.where(jump > _JUMP_SIGMA * misfit * expected, jump**2, 0.0)
    for lag in _JUDGED_LAGS_S:
        misfit = max(misfit, _long_misfit(knots, walk + lost, drift_std, drift_time, lag))
    return walk * misfit**2 + lost, drift_std * misfit, misfit


def _long_misfit(
    knots: _Knots, walk: Array, drift_std: float, drift_time: float, lag_s: float
) -> float:
    """How many times larger than stated the disagreement over a lag is; 1 when not surely."""
    t = knots.time_s
    length = float(t[-1] - t[0])
    if length < 3 * lag_s:
        return 1.0
    i = np.flatnonzero(t + lag_s <= t[-1])
    j = np.searchsorted(t, t[i] + lag_s)
    total = np.concatenate([[0.0], np.cumsum(walk)])
    variance = -2 * drift_std**2 * np.expm1(-(t[j] - t[i]) / drift_time) + total[j] - total[i]
    ratio = float(np.sqrt(np.mean((knots.apart_m[j] - knots.apart_m[i]) ** 2 / variance[:, None])))
    independent = 2 * length / lag_s
    return ratio if ratio > 1 + 2 / math.sqrt(independent) else 1.0


def _walk_variance(time_s: Array, velocity: Array, claimed: Array, knots: _Knots) -> Array:
    """Variance that the integral of velocity gains from knot to knot. [m²]"""
    dt = np.diff(time_s)
    usual = float(np.median(dt))
    std = np.maximum(claimed, LEAST_WHITE_SPEED_STD_M_S)
    if usual <= 1 / _FASTEST_NOISE_HZ:
        second = np.diff(velocity, 2, axis=0)
        measured = 1.4826 * float(np.median(np.abs(second))) / math.sqrt(6)
        # What is seen replaces the claim's size; its changes from fix to fix still count.
        std = std / float(np.median(std)) * max(measured, LEAST_WHITE_SPEED_STD_M_S)
    density = 2 * CORRELATED_SPEED_STD_M_S**2 * CORRELATED_SPEED_TIME_S
    # Between fixes further apart than turns take, velocity itself is a guess.
    unseen = _UNSEEN_ACCELERATION_M_S2 * np.maximum(0.0, dt - max(1.0, 1.5 * usual)) ** 2 / 4
    gained = (std[1:] ** 2 * dt + density) * dt + unseen**2
    total = np.concatenate([[0.0], np.cumsum(gained)])
    return np.asarray(np.diff(np.interp(knots.time_s, time_s, total)))


def _separate(
    knots: _Knots,
    axis: int,
    walk: Array,
    drift_std: float,
    drift_time: float,
    misfit: float,
) -> Smoothed:
    """Smooth the states slow position error, offset of the integral, slow velocity error."""
    step, apart = np.diff(knots.time_s), knots.apart_m[:, axis]
    kept, kept_v = np.exp(-step / drift_time), np.exp(-step / SLOW_SPEED_TIME_S)
    move = np.zeros((step.size, 3, 3))
    move[:, 0, 0], move[:, 1, 1], move[:, 2, 2] = kept, 1.0, kept_v
    move[:, 1, 2] = step
    noise = np.zeros_like(move)
    noise[:, 0, 0] = drift_std**2 * (1 - kept**2)
    noise[:, 1, 1] = walk
    slow = SLOW_SPEED_STD_M_S * misfit
    noise[:, 2, 2] = slow**2 * (1 - kept_v**2)
    first = np.diag([drift_std**2, 100.0**2, slow**2])
    return smooth(
        np.array([0.0, float(np.median(apart)), 0.0]),
        first,
        Motion(move, noise),
        np.array([[1.0, 1.0, 0.0]]),
        np.array([[0.05**2]]),
        apart[:, None],
    )


def _left(at: Array, run: Smoothed, drift_std: float, drift_time: float) -> tuple[float, float]:
    """Standard deviation and correlation time of the slow error that is left."""
    variance = run.cov[:, 1, 1]
    std = min(drift_std, float(np.sqrt(np.mean(variance))))
    times: list[float] = []
    for lag in _JUDGED_LAGS_S:
        starts = np.flatnonzero(at + lag <= at[-1])
        if starts.size == 0:
            continue
        i = int(starts[starts.size // 2])
        j = min(int(np.searchsorted(at, at[i] + lag)), at.size - 1)
        shared = float(lag_covariance(run, i, j)[1, 1])
        moved = max(0.0, float(variance[i] + variance[j]) - 2 * shared)
        share = min(moved / (2 * std**2), 0.95)
        lasted = float(at[j] - at[i])
        times.append(-lasted / math.log1p(-share) if share > 0 else _LONGEST_TIME_S)
    time = min(times, default=drift_time)
    return std, min(max(time, 1.0), _LONGEST_TIME_S)
