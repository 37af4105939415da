"""A radio link in numbers: free space, fall with distance, direction about the aircraft, rates.

Received power falls with distance as ``level - 10 n log10(distance)``; n is 2 in free space
(Friis 1946). What stands in the way adds a spread of some decibels that lasts for seconds
(shadowing), so neighbouring seconds are not independent: intervals come from resampling whole
blocks (Künsch 1989). Seconds in which the power fell below what the receiver can report are no
chance losses; they enter as "below the limit" (Tobin 1958).
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flightlog.estimation.frames import Array

Mask = NDArray[np.bool_]

LIGHT_M_S = 299_792_458.0
"""Speed of light in vacuum. [m/s]"""

_DRAWS = 400
_SEED = 7
_ROUNDS = 60
_LEAST_STD_DB = 1e-3


def free_space_loss_db(distance_m: float, frequency_hz: float) -> float:
    """Loss between two isotropic aerials in free space: 20 log10(4 pi d f / c). [dB]"""
    return 20 * math.log10(4 * math.pi * distance_m * frequency_hz / LIGHT_M_S)


def second_means(
    time_s: Array, values: Array, *, power: bool, width_s: float = 1.0
) -> tuple[Array, Array]:
    """Means over whole seconds that hold samples.

    Parameters
    ----------
    time_s, values : array, shape (n,)
        Finite; times in order. [s]
    power : bool
        Values are decibels, of which the linear power is averaged.
    width_s : float
        Of the windows. [s]

    Returns
    -------
    time_s, mean : array, shape (m,)
        Mean time of the samples of each window [s], and the mean of their values.
    """
    if not time_s.size:
        return np.empty(0), np.empty(0)
    window = np.floor((time_s - time_s[0]) / width_s)
    _, at, count = np.unique(window, return_inverse=True, return_counts=True)
    # Sums of differences to the first value keep large clocks and weak powers exact.
    when = time_s[0] + np.bincount(at, time_s - time_s[0]) / count
    if not power:
        return when, np.bincount(at, values) / count
    strongest = float(values.max())
    linear = 10 ** (np.maximum(values - strongest, -300.0) / 10)
    return when, strongest + 10 * np.log10(np.bincount(at, linear) / count)


def body_directions(east_m: Array, north_m: Array, up_m: Array, attitude_rad: Array) -> Array:
    """Directions from the aircraft to the ground station in its own axes.

    The line of sight is put into north-east-down before it is turned, because roll, pitch and
    yaw lead from there to the axes of the aircraft.

    Parameters
    ----------
    east_m, north_m, up_m : array, shape (n,)
        Ground station less aircraft. [m]
    attitude_rad : array, shape (n, 3)
        Roll, pitch, yaw. [rad]

    Returns
    -------
    array, shape (n, 3)
        Unit vectors: forward, right, down.
    """
    sight = np.stack([north_m, east_m, -up_m], axis=1)
    sight = sight / np.maximum(np.linalg.norm(sight, axis=1), 1e-9)[:, None]
    (cr, cp, cy), (sr, sp, sy) = np.cos(attitude_rad).T, np.sin(attitude_rad).T
    forward = np.stack([cp * cy, cp * sy, -sp], axis=1)
    right = np.stack([sr * sp * cy - cr * sy, sr * sp * sy + cr * cy, sr * cp], axis=1)
    down = np.stack([cr * sp * cy + sr * sy, cr * sp * sy - sr * cy, cr * cp], axis=1)
    axes = (forward, right, down)
    return np.stack([np.sum(axis * sight, axis=1) for axis in axes], axis=1)


def azimuth_elevation_deg(direction: Array) -> tuple[Array, Array]:
    """Azimuth from the nose to the right and elevation above the wings' plane. [deg]"""
    azimuth = np.degrees(np.arctan2(direction[:, 1], direction[:, 0]))
    return azimuth, np.degrees(-np.arcsin(np.clip(direction[:, 2], -1, 1)))


def exact_interval(count: int, of: int, level: float = 0.95) -> tuple[float, float]:
    """Interval of a share that never covers too seldom (Clopper and Pearson 1934)."""
    from scipy.special import betaincinv

    if of <= 0:
        return 0.0, 1.0
    tail = (1 - level) / 2
    low = float(betaincinv(count, of - count + 1, tail)) if count > 0 else 0.0
    high = float(betaincinv(count + 1, of - count, 1 - tail)) if count < of else 1.0
    return low, high


@dataclass(frozen=True, slots=True)
class RangeFit:
    """Power over distance.

    Attributes
    ----------
    level_db : float
        At 1 m. [dB or dBm]
    exponent, exponent_std : float
        n, and its standard uncertainty by resampled blocks. [-]
    spread_db : float
        Standard deviation of one second about the line. [dB]
    draws : array, shape (k, 2)
        Level and exponent of the resampled flights.
    """

    level_db: float
    exponent: float
    exponent_std: float
    spread_db: float
    draws: Array

    def at(self, distance_m: Array | float) -> Array:
        """Power at distances. [dB or dBm]"""
        return np.asarray(self.level_db - 10 * self.exponent * np.log10(distance_m))


def fit_range(
    distance_m: Array,
    power_db: Array,
    below: Mask | None = None,
    *,
    block: int = 1,
    draws: int = _DRAWS,
) -> RangeFit | None:
    """Fit level and exponent; where power is only known to be below a limit, by likelihood.

    Parameters
    ----------
    distance_m, power_db : array, shape (n,)
        In the order of time. [m], [dB or dBm]
    below : array of bool, shape (n,), optional
        Where the power is only known to be below ``power_db``.
    block : int
        Neighbours that are resampled together.
    draws : int
        Resampled flights.

    Returns
    -------
    RangeFit or None
        None where all distances are the same or fewer than three powers are known.
    """
    hidden = np.zeros(power_db.size, dtype=bool) if below is None else below
    x = -10 * np.log10(np.maximum(distance_m, 1e-3))
    if (~hidden).sum() < 3 or float(np.ptp(x)) < 1e-6:
        return None
    level, exponent, spread = _line(x, power_db, hidden)
    rng = np.random.default_rng(_SEED)
    block = max(1, min(block, power_db.size // 3))
    starts = rng.integers(0, power_db.size, (draws, -(-power_db.size // block)))
    rows = (starts[:, :, None] + np.arange(block)).reshape(draws, -1)[:, : power_db.size]
    found = _lines(x, power_db, hidden, rows % power_db.size, (level, exponent, spread))
    std = float(np.std(found[:, 1])) if len(found) > 2 else math.inf
    return RangeFit(level, exponent, std, spread, found)


def _line(x: Array, y: Array, hidden: Mask) -> tuple[float, float, float]:
    """Level, slope and spread by least squares; with hidden values by Tobit's likelihood."""
    known = ~hidden
    if float(np.ptp(x[known])) < 1e-6:
        known = np.ones_like(hidden)
    slope = float(np.cov(x[known], y[known])[0, 1] / np.var(x[known], ddof=1))
    level = float(y[known].mean() - slope * x[known].mean())
    free = max(1, int(known.sum()) - 2)
    rest = y[known] - level - slope * x[known]
    spread = max(_LEAST_STD_DB, math.sqrt(float(rest @ rest) / free))
    if not hidden.any():
        return level, slope, spread
    # Expectation and maximisation in turn: each round puts the mean of what may have been hidden.
    for _ in range(_ROUNDS):
        mean, extra = hidden_mean(y, level + slope * x, spread, hidden)
        new = float(np.cov(x, mean)[0, 1] / np.var(x, ddof=1))
        level = float(mean.mean() - new * x.mean())
        rest = mean - level - new * x
        spread = max(_LEAST_STD_DB, math.sqrt(float(rest @ rest + extra.sum()) / (x.size - 2)))
        if abs(new - slope) < 1e-5:
            break
        slope = new
    return level, new, spread


def hidden_mean(y: Array, mean: Array, spread: float, hidden: Mask) -> tuple[Array, Array]:
    """Expected values and variances of powers below a limit; others as they are, variance 0.

    Parameters
    ----------
    y, mean : array, shape (n,)
        Values, or limits where hidden; and what is expected of them. [dB]
    spread : float
        Standard deviation about the expected. [dB]
    hidden : array of bool, shape (n,)
    """
    from scipy.special import log_ndtr

    z = np.where(hidden, (y - mean) / spread, 0.0)
    # Inverse Mills ratio in logarithms, which far limits do not overflow.
    mills = np.exp(-0.5 * z * z - 0.5 * math.log(2 * math.pi) - log_ndtr(z))
    filled = np.where(hidden, np.minimum(mean - spread * mills, y), y)
    left = np.clip(spread**2 * (1 - z * mills - mills**2), 0.0, spread**2)
    return filled, np.where(hidden, left, 0.0)


def _lines(
    x: Array, y: Array, hidden: Mask, rows: NDArray[np.int_], fit: tuple[float, float, float]
) -> Array:
    """Level and slope of resampled flights, shape (k, 2)."""
    if hidden.any():
        # The values that may have been hidden, once more by chance in every flight.
        draws = [
            _line(x[r], y[r], hidden[r])[:2]
            for r in rows[: max(60, _DRAWS // 4)]
            if (~hidden[r]).sum() >= 3 and np.ptp(x[r][~hidden[r]]) > 1e-6
        ]
        return np.array(draws).reshape(-1, 2)
    xs, ys = x[rows], y[rows]
    dx = xs - xs.mean(axis=1, keepdims=True)
    spread = np.sum(dx**2, axis=1)
    good = spread > 1e-9
    slope = np.sum(dx * ys, axis=1)[good] / spread[good]
    return np.stack([ys.mean(axis=1)[good] - slope * xs.mean(axis=1)[good], slope], axis=1)


def correlation_steps(values: Array, most: int = 60) -> float:
    """Steps over which neighbours agree: the sum of the autocorrelation until it crosses zero."""
    rest = values - values.mean()
    power = float(rest @ rest)
    if rest.size < 4 or power <= 0:
        return 1.0
    total = 1.0
    for lag in range(1, min(most, rest.size // 2)):
        rho = float(rest[:-lag] @ rest[lag:]) / power
        if rho <= 0:
            break
        total += 2 * rho
    return total


@dataclass(frozen=True, slots=True)
class Correlation:
    """A partial correlation, with its 95 % interval and the independent samples behind it."""

    value: float
    low: float
    high: float
    samples: float


def partial_correlation(a: Array, b: Array, design: Array) -> Correlation | None:
    """Correlation of two series with what a design explains of both taken out.

    The interval is that of Fisher's z, with the samples that are left when neighbours agree in
    both series (Bartlett 1946). None with fewer than eight of them, or with nothing left.

    Parameters
    ----------
    a, b : array, shape (n,)
    design : array, shape (n, k)
    """
    if a.size < design.shape[1] + 8:
        return None
    basis, _ = np.linalg.qr(design)
    ra, rb = (v - v.mean() - basis @ (basis.T @ (v - v.mean())) for v in (a, b))
    pa, pb = float(ra @ ra), float(rb @ rb)
    if pa <= 1e-12 * max(1.0, float(a @ a)) or pb <= 1e-12 * max(1.0, float(b @ b)):
        return None
    r = float(np.clip(ra @ rb / math.sqrt(pa * pb), -0.999999, 0.999999))
    total = 1.0
    for lag in range(1, a.size // 4):
        both = float(ra[:-lag] @ ra[lag:]) / pa * float(rb[:-lag] @ rb[lag:]) / pb
        if lag > 3 and both <= 0:
            break
        total += 2 * max(0.0, both)
    samples = a.size / total - design.shape[1] + 1
    if samples < 8:
        return None
    half = 1.959964 / math.sqrt(samples - 3)
    z = math.atanh(r)
    return Correlation(r, math.tanh(z - half), math.tanh(z + half), samples)
