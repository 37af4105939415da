"""Along the runway: speed and distance from the start of the roll, and the age of a fix.

Model: position s, ground speed v and accelerometer bias b along the runway: an inertial filter
aided by Doppler speed, smoothed backwards after Rauch, Tung and Striebel (1965). The filter
starts at rest, so distance is known from the start line on.
Every fix is `latency` old when its row is written; the filter runs once for each latency on a
grid, all at the same time, and the likelihood of each run times a prior weighs it.

Without an IMU the input is zero and the third state is the acceleration itself, a random
walk.

Positions are not used: over a roll of 3 to 8 s the slow error of a position fix (1 to 2 m
within a minute) moves it by 0.4 to 0.8 m, more than the integral of speed errs.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flightlog.estimation.frames import Array

STEP_S = 0.02
"""Step of the filter. [s] Fifty a second follow a roll whose acceleration ramps in 0.5 s."""

LATENCY_GRID_S: Array = np.arange(0, 21) * STEP_S
"""Latencies that are tried: 0 to 0.40 s, the range of receivers on small aircraft. [s]"""

LATENCY_PRIOR_S = (0.15, 0.07)
"""Mean and standard deviation of the prior of the latency. [s]"""

LEAST_LATENCY_STD_S = 0.006
"""Grid step over the square root of 12: nothing finer can be told. [s]"""

BIAS_WALK_M_S2 = 0.04
"""Random walk of the bias: attitude error while the nose comes up. [m/s²/sqrt(s)]"""

JERK_M_S3 = 2.0
"""Random walk of the acceleration without an IMU. [m/s³ sqrt(s)]"""

MOVING_M_S = 0.06
"""Smoothed speed that marks the start of the roll. [m/s]"""

SURPRISE_NIS = 400.0
"""What a glitch counts for in the likelihood of a latency, at the most. [-]"""

GLITCHES_IN_A_ROW = 2
"""More fixes than this that disagree are believed. [-]"""

GLITCH_NIS = 25.0
"""Squared error over its variance from which a fix is a glitch: 5 sigma. [-]"""


@dataclass(frozen=True, slots=True)
class SpeedFixes:
    """Doppler speeds along the runway.

    ``time_s`` is when the row was written [s]; ``speed_m_s`` the component in the direction
    of take-off [m/s]; ``std_m_s`` its standard uncertainty [m/s]. Shape (n,) each.
    """

    time_s: Array
    speed_m_s: Array
    std_m_s: Array


@dataclass(frozen=True, slots=True)
class ForwardAcceleration:
    """Acceleration along the ground from IMU and attitude.

    ``time_s`` [s], ``accel_m_s2`` [m/s²], shape (n,); ``rest_mean_m_s2`` and
    ``rest_std_m_s2`` its mean before the roll and how sure that is as a bias [m/s²];
    ``density`` its noise [m/s²/sqrt(Hz)].
    """

    time_s: Array
    accel_m_s2: Array
    rest_mean_m_s2: float
    rest_std_m_s2: float
    density: float


@dataclass(frozen=True, slots=True)
class RollTrack:
    """Smoothed motion along the runway, one column for each latency of the grid.

    Attributes
    ----------
    time_s : array, shape (n,)
        Log clock, latency removed. [s]
    distance_m, speed_m_s, distance_std_m, speed_std_m_s : array, shape (n, latencies)
        From the start of the roll of that column. [m], [m/s]
    start_s : array, shape (latencies,)
        Start of the roll. [s]
    latency_s, weight : array, shape (latencies,)
        Latency and its posterior probability. [s], [-]
    misfit : float
        Mean squared normalised innovation; near 1 when the stated noises are right. [-]
    inertial : bool
        Whether an IMU carried the track between fixes.
    """

    time_s: Array
    distance_m: Array
    speed_m_s: Array
    distance_std_m: Array
    speed_std_m_s: Array
    start_s: Array
    latency_s: Array
    weight: Array
    misfit: float
    inertial: bool

    @property
    def latency_mean_s(self) -> float:
        """Posterior mean of the latency. [s]"""
        return float(self.weight @ self.latency_s)

    @property
    def latency_std_s(self) -> float:
        """Posterior standard deviation of the latency, not below the grid's own. [s]"""
        variance = float(self.weight @ (self.latency_s - self.latency_mean_s) ** 2)
        return max(LEAST_LATENCY_STD_S, math.sqrt(variance))

    def mean_start_s(self) -> float:
        """Posterior mean of the start of the roll. [s]"""
        return float(self.weight @ self.start_s)

    def at(self, time_s: Array) -> tuple[Array, Array, Array, Array]:
        """Distance, its std, speed, its std at given times, shape (times, latencies)."""
        place = np.clip((np.asarray(time_s) - self.time_s[0]) / STEP_S, 0, len(self.time_s) - 1.001)
        low = place.astype(int)
        part = (place - low)[:, None]

        def between(values: Array) -> Array:
            return np.asarray(values[low] * (1 - part) + values[low + 1] * part)

        return (
            between(self.distance_m),
            between(self.distance_std_m),
            between(self.speed_m_s),
            between(self.speed_std_m_s),
        )


def block_means(time_s: Array, values: Array, edges_s: Array) -> Array:
    """Mean of a sampled signal between edges, from its running integral.

    Exact for the piecewise linear signal, so that integrating the means gives the same speed
    as integrating the samples, whatever their rate. NaN where an edge lies outside the data.
    """
    step = np.diff(time_s)
    integral = np.concatenate([[0.0], np.cumsum(step * (values[1:] + values[:-1]) / 2)])
    low = np.clip(np.searchsorted(time_s, edges_s, side="right") - 1, 0, len(time_s) - 1)
    past = edges_s - time_s[low]
    at_edges = integral[low] + past * (values[low] + np.interp(edges_s, time_s, values)) / 2
    at_edges = np.where((edges_s < time_s[0]) | (edges_s > time_s[-1]), np.nan, at_edges)
    return np.asarray(np.diff(at_edges) / np.diff(edges_s))


def estimate_roll(
    fixes: SpeedFixes,
    accel: ForwardAcceleration | None,
    start_s: float,
    end_s: float,
    *,
    start_std_s: float = 0.05,
) -> RollTrack:
    """Smooth the roll for every latency of the grid.

    Parameters
    ----------
    fixes : SpeedFixes
        Doppler speeds from before ``start_s`` to after ``end_s``.
    accel : ForwardAcceleration or None
        None when the log has no usable IMU.
    start_s : float
        A time at rest just before the roll. [s]
    end_s : float
        End of the stretch, a little after lift-off. [s]
    start_std_s : float
        How uncertain the moment of rest is; only used without an IMU. [s]

    Returns
    -------
    RollTrack
    """
    steps = max(8, math.ceil((end_s - start_s) / STEP_S))
    time = start_s + STEP_S * np.arange(steps + 1)
    push = np.zeros(steps)
    if accel is not None:
        means = block_means(accel.time_s, accel.accel_m_s2, time)
        push = np.where(np.isfinite(means), means, accel.rest_mean_m_s2)
    z, var = _fixes_on_grid(fixes, time, push if accel is not None else None)
    model = _Model.inertial(accel) if accel is not None else _Model.free(start_std_s)
    filtered = _forward(model, push, z, var)
    # Claimed or assumed noise may be wrong; one pass with the noise scaled to its misfit.
    misfit = filtered.misfit
    if misfit > 1.0:
        filtered = _forward(model, push, z, var * misfit)
    gains = _gains(model, filtered)
    mean, cov = _backward(gains, filtered)
    prior = -0.5 * ((LATENCY_GRID_S - LATENCY_PRIOR_S[0]) / LATENCY_PRIOR_S[1]) ** 2
    # Without an IMU a delay and an earlier start explain the same speeds: only the prior tells.
    log_weight = prior + (filtered.log_likelihood if accel is not None else 0.0)
    weight = np.exp(log_weight - log_weight.max())
    weight /= weight.sum()
    start = _start_of_roll(time, mean[:, :, 1])
    origin = np.stack([np.interp(s, time, mean[:, j, 0]) for j, s in enumerate(start)])
    return RollTrack(
        time_s=time,
        distance_m=mean[:, :, 0] - origin,
        speed_m_s=mean[:, :, 1],
        distance_std_m=_distance_std(gains, cov, time, start),
        speed_std_m_s=np.sqrt(np.maximum(cov[:, :, 1, 1], 0)),
        start_s=start,
        latency_s=LATENCY_GRID_S,
        weight=weight,
        misfit=misfit,
        inertial=accel is not None,
    )


@dataclass(frozen=True, slots=True)
class _Model:
    """Transition, process noise and start of the three states."""

    transition: Array
    push: Array
    noise: Array
    start_mean: Array
    start_cov: Array

    @classmethod
    def inertial(cls, accel: ForwardAcceleration) -> _Model:
        dt = STEP_S
        gain = np.array([dt * dt / 2, dt, 0.0])
        density = max(0.02, accel.density)
        noise = density**2 / dt * np.outer(gain, gain)
        noise[2, 2] += BIAS_WALK_M_S2**2 * dt
        return cls(
            np.array([[1, dt, -dt * dt / 2], [0, 1, -dt], [0, 0, 1.0]]),
            gain,
            noise,
            np.array([0, 0, accel.rest_mean_m_s2]),
            np.diag([1e-6, 0.02**2, accel.rest_std_m_s2**2]),
        )

    @classmethod
    def free(cls, start_std_s: float) -> _Model:
        dt, q = STEP_S, JERK_M_S3**2
        noise = q * np.array(
            [
                [dt**5 / 20, dt**4 / 8, dt**3 / 6],
                [dt**4 / 8, dt**3 / 3, dt**2 / 2],
                [dt**3 / 6, dt**2 / 2, dt],
            ]
        )
        # The moment of rest is uncertain by start_std_s: at about 3.5 m/s² that is a speed.
        speed = 3.5 * start_std_s
        return cls(
            np.array([[1, dt, dt * dt / 2], [0, 1, dt], [0, 0, 1.0]]),
            np.zeros(3),
            noise,
            np.array([0, 0, 1.0]),
            np.diag([1e-4 + (speed * start_std_s / 2) ** 2, 0.02**2 + speed**2, 2.0**2]),
        )


@dataclass(frozen=True, slots=True)
class _Filtered:
    mean: Array
    cov: Array
    mean_ahead: Array
    cov_ahead: Array
    log_likelihood: Array
    misfit: float


def _fixes_on_grid(fixes: SpeedFixes, time: Array, push: Array | None) -> tuple[Array, Array]:
    """Speeds and variances on the grid for each latency; NaN where there is no fix.

    A fix lies up to half a step off its grid point; the acceleration carries it there.
    """
    lags = len(LATENCY_GRID_S)
    z = np.full((len(time), lags), np.nan)
    var = np.full((len(time), lags), np.inf)
    accel = np.zeros(len(time)) if push is None else np.append(push, push[-1])
    place = (fixes.time_s - time[0]) / STEP_S
    for lag in range(lags):
        index = np.rint(place - lag).astype(int)
        inside = (index >= 0) & (index < len(time))
        kept = index[inside]
        off = (place[inside] - lag - kept) * STEP_S
        z[kept, lag] = fixes.speed_m_s[inside] - accel[kept] * off
        var[kept, lag] = fixes.std_m_s[inside] ** 2
    return z, var


def _forward(model: _Model, push: Array, z: Array, var: Array) -> _Filtered:
    """Filter all latencies at once; Joseph form not needed for one scalar measurement."""
    steps, lags = z.shape
    f, g, q = model.transition, model.push, model.noise
    x = np.tile(model.start_mean, (lags, 1))
    p = np.tile(model.start_cov, (lags, 1, 1))
    mean = np.empty((steps, lags, 3))
    cov = np.empty((steps, lags, 3, 3))
    mean_ahead, cov_ahead = np.empty_like(mean), np.empty_like(cov)
    spread, surprises = np.ones((steps, lags)), np.full((steps, lags), np.nan)
    streak = np.zeros(lags)
    have = np.isfinite(z)
    # Without a fix the variance is infinite: the gain comes out as 0.
    z, var = np.where(have, z, 0.0), np.where(have, var, np.inf)
    some = np.asarray(have.any(axis=1))
    for k in range(steps):
        if k:
            x = x @ f.T + g * push[k - 1]
            p = f @ p @ f.T + q
        mean_ahead[k], cov_ahead[k] = x, p
        if some[k]:
            s = p[:, 1, 1] + var[k]
            y = z[k] - x[:, 1]
            nis = y * y / s
            gain = p[:, :, 1] / s[:, None]
            # A fix beyond 5 sigma is a glitch: it moves nothing, and its size must not tell
            # which latency is likely.
            # But several in a row mean that the track is wrong, not the fixes.
            odd = have[k] & (nis >= GLITCH_NIS)
            streak = np.where(odd, streak + 1, np.where(have[k], 0, streak))
            if odd.any():
                gain[odd & (streak <= GLITCHES_IN_A_ROW)] = 0.0
            x = x + gain * y[:, None]
            p = p - gain[:, :, None] * p[:, None, 1, :]
            p = 0.5 * (p + p.transpose(0, 2, 1))
            spread[k], surprises[k] = s, nis
        mean[k], cov[k] = x, p
    surprises = np.where(have, surprises, np.nan)
    surprise = np.minimum(surprises, SURPRISE_NIS) + np.log(np.where(have, spread, 1.0))
    log_like = -np.where(have, 0.5 * surprise, 0.0).sum(axis=0)
    best = int(np.argmax(log_like))
    misfit = _misfit(surprises[:, best])
    return _Filtered(mean, cov, mean_ahead, cov_ahead, log_like, misfit)


def _misfit(nis: Array) -> float:
    """How much larger the squared errors are than stated; robust, so that glitches don't count.

    Of a chi-square of one degree of freedom 68.3 % lie below 1. The mean of what is not a
    glitch bounds it from below.
    """
    seen = nis[np.isfinite(nis)]
    if len(seen) < 4:
        return 1.0
    kept = seen[seen < GLITCH_NIS]
    return max(float(np.quantile(seen, 0.683)), float(np.mean(kept)) if len(kept) else 1.0)


def _gains(model: _Model, filtered: _Filtered) -> Array:
    """Smoother gains C_k of all steps, shape (steps-1, latencies, 3, 3)."""
    crossed = filtered.cov[:-1] @ model.transition.T
    return np.asarray(crossed @ np.linalg.inv(filtered.cov_ahead[1:]))


def _backward(gains: Array, filtered: _Filtered) -> tuple[Array, Array]:
    mean, cov = filtered.mean.copy(), filtered.cov.copy()
    turned = gains.transpose(0, 1, 3, 2)
    for k in range(len(mean) - 2, -1, -1):
        c = gains[k]
        mean[k] += (c @ (mean[k + 1] - filtered.mean_ahead[k + 1])[..., None])[..., 0]
        cov[k] += c @ (cov[k + 1] - filtered.cov_ahead[k + 1]) @ turned[k]
    return mean, cov


def _distance_std(gains: Array, cov: Array, time: Array, start: Array) -> Array:
    """Standard uncertainty of s(t) - s(start), with the lag covariance of the smoother."""
    lags = np.arange(cov.shape[1])
    first = np.clip(np.rint((start - time[0]) / STEP_S).astype(int), 0, len(time) - 1)
    # Row of the distance in the product of the gains from the start to each step; 0 before.
    chain = np.zeros((len(time), lags.size, 1, 3))
    chain[first, lags, 0, 0] = 1.0
    for k in range(int(first.min()) + 1, len(time)):
        chain[k] += chain[k - 1] @ gains[k - 1]
    shared = (chain @ cov[..., :1])[..., 0, 0]
    variance = cov[..., 0, 0] + cov[first, lags, 0, 0] - 2 * shared
    begun = np.arange(len(time))[:, None] >= first
    return np.where(begun, np.sqrt(np.maximum(variance, 0)), 0.0)


def _start_of_roll(time: Array, speed: Array) -> Array:
    """Last upward crossing of `MOVING_M_S` before 5 m/s, for each latency."""
    out = np.empty(speed.shape[1])
    for j in range(speed.shape[1]):
        v = speed[:, j]
        fast = np.flatnonzero(v > 5.0)
        stop = int(fast[0]) if fast.size else len(v) - 1
        below = np.flatnonzero(v[: stop + 1] <= MOVING_M_S)
        k = int(below[-1]) if below.size else 0
        if k + 1 >= len(v) or not below.size:
            out[j] = time[0]
            continue
        rise = v[k + 1] - v[k]
        part = (MOVING_M_S - v[k]) / rise if rise > 0 else 0.0
        out[j] = time[k] + STEP_S * min(max(part, 0.0), 1.0)
    return out
