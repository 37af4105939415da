"""What the sensors of the vertical channel read around a lift-off, in blocks of 0.04 s.

How much the IMU shakes on the ground and in the air, and what accelerometer and barometer are
off by while the wheels are loaded.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flightlog.constants import G0_M_S2
from flightlog.estimation.frames import Array

BLOCK_S = 0.04
"""Step of the chain. [s] Half a metre of roll; finer steps add cost, not knowledge."""

BARO_LAG_S = 0.05
"""Typical lag of a barometer behind its tubing and filter. [s]"""

LEAST_SHAKE_M_S2 = (0.03, 0.08)
"""Least noise of a 0.04 s mean of the vertical acceleration, on the ground and in the air: a
simulated or well damped IMU may show less, attitude errors don't. [m/s²]"""

MOST_GROWTH = 1.6
"""Noise near lift-off over its mean in the roll, at the most. [-]"""

FAR_LOUDER = 8.0
"""Whole noise of a roll over its common noise, from which on it comes from hops. [-]"""

BUMP_M_S2 = 0.3
"""What a bump adds in any case. [m/s²]"""

BUMP_SHARE = 0.1
"""Share of blocks on the ground that hold a bump five times as loud as the rest. [-]"""

ACCEL_WALK = 0.05
"""Random walk of the accelerometer's bias, with the attitude error. [m/s²/sqrt(s)]"""

BARO_WALK = 0.25
"""Random walk of the barometer's error: ground effect, gusts, rotation. [m/sqrt(s)]"""

STATIC_FACTOR = 0.06
"""Spread of the static-pressure error as a share of the dynamic pressure. [-]"""


@dataclass(frozen=True, slots=True)
class Series:
    """Samples of one signal: ``time_s``, ``value`` and its white ``std``, shape (n,)."""

    time_s: Array
    value: Array
    std: Array


@dataclass(frozen=True, slots=True)
class VerticalEvidence:
    """What speaks of leaving the ground; None where the log has no such sensor.

    ``accel`` upward acceleration, gravity removed [m/s²] (its std is not used: it is measured
    here); ``height`` barometric, zero before the roll [m]; ``climb`` GPS climb rate at the
    time it was true [m/s]; ``pitch`` [rad]; ``speed`` along the runway [m/s], which drives the
    static-pressure error.
    """

    accel: Series | None
    height: Series | None
    climb: Series | None
    pitch: Series | None
    speed: Series | None


@dataclass(frozen=True, slots=True)
class Blocks:
    """All evidence on the common grid; NaN where a block has none."""

    time: Array
    accel: Array
    height: Array
    height_var: Array
    climb: Array
    climb_var: Array
    speed_head: Array


def _white_std(blocks: Array) -> float:
    """Noise of single blocks. Second differences remove true motion, even a steep one."""
    good = blocks[np.isfinite(blocks)]
    return float(np.std(np.diff(good, 2)) / math.sqrt(6)) if len(good) > 5 else math.nan


def _without_hops(blocks: Array) -> Array:
    """Blocks of the roll with those of its hops missing, where these make most of its noise.

    A roll that is far quieter than a hop within it would else be taken to be as loud as the hop,
    and then each quiet stretch of it to be flight. Rough strips are loud throughout: there the
    common scatter and the whole one agree within half, and nothing is taken out.
    """
    good = blocks[np.isfinite(blocks)]
    if len(good) < 16:
        return blocks
    curve = np.abs(np.diff(good, 2))
    common = max(1.4826 * float(np.median(curve)) / math.sqrt(6), LEAST_SHAKE_M_S2[0] / 2)
    if _white_std(good) < FAR_LOUDER * common:
        return blocks
    quiet = np.abs(blocks - float(np.median(good))) < FAR_LOUDER * common
    return np.where(quiet, blocks, np.nan)


def _colour(blocks: Array, *, span: int = 6) -> float:
    """How much louder the noise is than its fastest part lets expect of white noise.

    Vibration folded down by sampling is not white, and its means over a quarter of a second
    matter more for a lift-off than its single blocks. Measured on the ground roll, where the
    vertical acceleration has no true slow part.
    """
    good = blocks[np.isfinite(blocks)]
    if len(good) < 3 * span:
        return 1.0
    whole = good[: len(good) // span * span].reshape(-1, span).mean(axis=1)
    loud = max(float(np.std(good)), float(np.std(whole)) * math.sqrt(span))
    return min(3.0, max(1.0, loud / max(_white_std(good), 0.05)))


def _on_grid(series: Series | None, edges: Array) -> tuple[Array, Array]:
    """Mean per block and variance of that mean."""
    n = len(edges) - 1
    total, weight = np.zeros(n), np.zeros(n)
    if series is not None and len(series.time_s):
        # A sample on an edge must fall on the same side whatever the clock started from.
        place = np.floor((series.time_s - edges[0]) / BLOCK_S + 1e-6).astype(int)
        ok = (place >= 0) & (place < n) & np.isfinite(series.value)
        w = 1 / np.maximum(series.std[ok], 1e-3) ** 2
        np.add.at(total, place[ok], w * series.value[ok])
        np.add.at(weight, place[ok], w)
    with np.errstate(invalid="ignore", divide="ignore"):
        return total / weight, 1 / weight


def to_blocks(evidence: VerticalEvidence, start_s: float, end_s: float) -> Blocks:
    """Bring all sensors to blocks of `BLOCK_S` between two times. [s]."""
    n = max(4, math.ceil((end_s - start_s) / BLOCK_S - 1e-6))
    edges = start_s + BLOCK_S * np.arange(n + 1)
    accel = np.full(n, np.nan)
    if evidence.accel is not None:
        flat = Series(
            evidence.accel.time_s, evidence.accel.value, np.ones_like(evidence.accel.value)
        )
        accel, _ = _on_grid(flat, edges)
    height = evidence.height
    if height is not None:
        height = Series(height.time_s - BARO_LAG_S, height.value, height.std)
    h, hv = _on_grid(height, edges)
    # Samples of one block share the barometer's internal filter: they are not independent.
    if height is not None and len(height.std):
        hv = np.maximum(hv, float(np.median(height.std)) ** 2)
    c, cv = _on_grid(evidence.climb, edges)
    middle = edges[:-1] + BLOCK_S / 2
    head = np.zeros(n)
    if evidence.speed is not None:
        speed = np.interp(middle, evidence.speed.time_s, evidence.speed.value)
        head = speed**2 / (2 * G0_M_S2)
    return Blocks(middle, accel, h, hv, c, cv, head)


@dataclass(frozen=True, slots=True)
class Shake:
    """Noise of the block means. [m/s²].

    ``ground`` per block, shape (n,), or None without an IMU; ``air`` alike for all.
    """

    ground: Array | None
    air: float


def measure_shake(
    evidence: VerticalEvidence, blocks: Blocks, roll_start_s: float, two_metres_s: float
) -> Shake:
    """Noise on the ground roll, by speed, and in the first seconds of flight."""
    usable = np.isfinite(blocks.accel).sum() > len(blocks.accel) // 2
    if evidence.accel is None or not usable:
        return Shake(None, 1.0)
    signal = evidence.accel
    flat = Series(signal.time_s, signal.value, np.ones_like(signal.value))

    def over(start: float, end: float) -> tuple[Array, Array]:
        n = max(1, int((end - start) / BLOCK_S + 1e-6))  # whole blocks, whatever the clock
        edges = start + BLOCK_S * np.arange(n + 1)
        return edges[:-1] + BLOCK_S / 2, _on_grid(flat, edges)[0]

    time, rolling = over(roll_start_s + 0.5, max(two_metres_s - 3.0, roll_start_s + 1.0))
    _, flying = over(two_metres_s, two_metres_s + 3.0)
    rolling = _without_hops(rolling)
    colour = _colour(rolling)
    white = [_white_std(rolling), _white_std(flying)]
    known = [w for w in white if math.isfinite(w)]
    on_ground, in_air = (w if math.isfinite(w) else max(known, default=0.5) for w in white)
    in_air = max(LEAST_SHAKE_M_S2[1], min(colour, 1.5) * in_air)
    mean = max(LEAST_SHAKE_M_S2[0], colour * on_ground)
    growth = _growth(evidence.speed, time, rolling, blocks.time)
    ground = np.maximum(LEAST_SHAKE_M_S2[0], mean * growth)
    return Shake(ground, in_air)


def _growth(speed: Series | None, time: Array, rolling: Array, wanted: Array) -> Array:
    """Noise at each wanted time over its mean in the roll: wheels shake more the faster they go.

    The variance is a constant (motor) plus a share that grows with the square of the speed
    (wheels), from the slow and the fast half of the roll.
    """
    good = np.isfinite(rolling)
    if speed is None or good.sum() < 16:
        return np.ones(len(wanted))
    square = (rolling[good] - np.median(rolling[good])) ** 2
    squared = np.interp(time[good], speed.time_s, speed.value) ** 2
    half = len(square) // 2
    slow, fast = float(np.mean(square[:half])), float(np.mean(square[half:]))
    rise = float(np.mean(squared[half:]) - np.mean(squared[:half]))
    share = max(0.0, fast - slow) / rise if rise > 0 else 0.0
    constant = max(slow - share * float(np.mean(squared[:half])), 0.1 * slow)
    variance = constant + share * np.interp(wanted, speed.time_s, speed.value) ** 2
    mean = constant + share * float(np.mean(squared))
    return np.asarray(np.minimum(MOST_GROWTH, np.sqrt(variance / max(mean, 1e-9))))


@dataclass(frozen=True, slots=True)
class Ground:
    """Filter of the two sensor biases while the wheels are loaded, before each block."""

    bias: Array
    bias_cov: Array
    log_likelihood: Array
    accel_error: Array
    accel_bias_var: Array


def filter_ground(blocks: Blocks, shake: Array | None) -> Ground:
    """Sensor errors as each block finds them: accelerometer bias, barometer, pressure factor.

    ``log_likelihood[k]`` is that of all blocks before k.
    """
    n = len(blocks.time)
    x = np.zeros(3)
    p = np.diag([0.4**2, 0.4**2, STATIC_FACTOR**2])
    q = np.diag([ACCEL_WALK**2, BARO_WALK**2, 0.0]) * BLOCK_S
    bias, cov = np.empty((n, 3)), np.empty((n, 3, 3))
    total = np.zeros(n)
    error, var = np.full(n, np.nan), np.zeros(n)
    noise = shake if shake is not None else np.ones(n)
    running = 0.0
    for k in range(n):
        bias[k], cov[k], total[k] = x, p, running
        if math.isfinite(blocks.accel[k]):
            error[k], var[k] = blocks.accel[k] - x[0], p[0, 0]
        measured = (
            (np.array([1.0, 0.0, 0.0]), blocks.accel[k], float(noise[k]) ** 2),
            (np.array([0.0, 1.0, blocks.speed_head[k]]), blocks.height[k], blocks.height_var[k]),
        )
        for row, z, r in measured:
            if not math.isfinite(z):
                continue
            ph = p @ row
            s = row @ ph + r
            y = z - row @ x
            running += bumpy(y, s, r) if row[0] else -0.5 * (y * y / s + math.log(s))
            # A hop is not a change of bias: what does not look like rolling teaches little.
            s += r * max(0.0, y * y / (4 * s) - 1) * 4
            gain = ph / s
            x = x + gain * y
            p = p - np.outer(gain, ph)
        if math.isfinite(blocks.climb[k]):
            r = blocks.climb_var[k]
            running -= 0.5 * (blocks.climb[k] ** 2 / r + math.log(r))
        p = p + q
    return Ground(bias, cov, total, error, var)


def bumpy(error: float, variance: float, noise: float) -> float:
    """Log likelihood of a block on the ground: mostly quiet, now and then a bump."""
    loud = variance + 25 * noise + BUMP_M_S2**2
    quiet = math.log(1 - BUMP_SHARE) - 0.5 * (error**2 / variance + math.log(variance))
    bump = math.log(BUMP_SHARE) - 0.5 * (error**2 / loud + math.log(loud))
    return max(quiet, bump) + math.log1p(math.exp(-abs(quiet - bump)))
