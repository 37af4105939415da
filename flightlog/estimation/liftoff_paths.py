"""Free paths off the ground: how well one fits what the sensors read, wherever it begins.

A path leaves the ground with one of a few kinds of departure. It ends in a contact (a hop) or
lasts (the climb).
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr, ndtr

from flightlog.estimation.frames import Array
from flightlog.estimation.liftoff_evidence import (
    ACCEL_WALK,
    BARO_WALK,
    BLOCK_S,
    Blocks,
    Ground,
    Shake,
)

HOP_LENGTH_S = (0.08, 1.2)
"""Shortest and longest hop. [s] Longer ones rise higher than wheels that skip."""

CONTACT_STD_M = 0.02
"""How exactly the height is zero at a contact: tyres, struts, grass. [m]"""


@dataclass(frozen=True, slots=True)
class Departure:
    """How a climb begins: mean and spread of speed and acceleration at the last contact.

    ``share`` is the prior probability of this kind; speeds in m/s, accelerations in m/s²,
    jerks in m/s³; ``unrest`` the variance rate of the jerk at first, in (m/s³)²/s; it settles
    to that of steady flight within `SETTLING_S`.
    """

    share: float
    speed_m_s: tuple[float, float]
    accel_m_s2: tuple[float, float]
    jerk_m_s3: tuple[float, float]
    unrest: float


DEPARTURES = (
    # Rotated off: lift exceeds the weight by 5 to 15 % and grows as the nose comes up.
    Departure(0.5, (0.15, 0.12), (0.7, 0.5), (2.0, 4.0), 200.0),
    # Thrown off by a bump, a gust or a bounce of the gear.
    Departure(0.3, (0.25, 0.3), (0.6, 1.5), (0.0, 10.0), 1000.0),
    # Off with the nose pumping up and down, as an over-controlled rotation does.
    Departure(0.2, (0.2, 0.2), (0.9, 1.0), (0.0, 10.0), 6000.0),
)

SETTLING_S = 0.5
"""Time in which the first unrest of a lift-off dies down. [s]"""

JERK_TIME_S = 0.3
"""Correlation time of the jerk: pitch control and gusts. [s]"""

STEADY_UNREST = 60.0
"""Variance rate of the jerk in the climb: 3 m/s³ within its correlation time. [(m/s³)²/s]"""

FLUTTER = 0.3
"""Random walk of the acceleration itself, beside its jerk. [(m/s²)²/s]"""

GROUND_MARGIN_M = 0.03
"""A free climb can't pass below the ground by more than grass and tyres give. [m]"""

HOVER_M_S, HOVER_TOP_M = 0.12, 0.3
"""Wheels can't hover in the grass: a climb rises at least so fast until it is so high.
[m/s], [m]"""


def free_paths(blocks: Blocks, ground: Ground, shake: Shake) -> tuple[Array, Array]:
    """Log evidence of free paths, over all kinds of departure.

    Returns
    -------
    climb : array, shape (n,)
        Of all blocks from k on, for a climb that begins with block k.
    hop : array, shape (n, n)
        Of blocks f to k - 1, for a path that leaves with block f and touches before block k.
    """
    climbs, hops = zip(
        *(_free_path(blocks, ground, shake, kind) for kind in DEPARTURES), strict=True
    )
    return np.logaddexp.reduce(climbs), np.logaddexp.reduce(hops)


def _free_path(
    blocks: Blocks, ground: Ground, shake: Shake, kind: Departure
) -> tuple[Array, Array]:
    """Log evidence for one kind of departure, all starting blocks at the same time.

    States: height, climb rate, acceleration, jerk, then the three sensor errors of the ground.
    The jerk makes true motion smooth, so that noise which stops at a lift-off is told from it.
    """
    n = len(blocks.time)
    x = np.zeros((n, 7))
    p = np.zeros((n, 7, 7))
    x[:, :4] = 0.01, kind.speed_m_s[0], kind.accel_m_s2[0], kind.jerk_m_s3[0]
    for state, std in enumerate((0.02, kind.speed_m_s[1], kind.accel_m_s2[1], kind.jerk_m_s3[1])):
        p[:, state, state] = std**2
    x[:, 4:] = ground.bias
    p[:, 4:, 4:] = ground.bias_cov
    dt = BLOCK_S
    f = np.eye(7)
    f[0, 1:4] = dt, dt**2 / 2, dt**3 / 6
    f[1, 2:4] = dt, dt**2 / 2
    f[2, 3], f[3, 3] = dt, math.exp(-dt / JERK_TIME_S)
    push = np.array([dt**3 / 6, dt**2 / 2, dt, 1.0, 0, 0, 0])
    walk = dt * np.outer(push, push)
    drift = np.diag([0, 0, FLUTTER * dt, 0, ACCEL_WALK**2 * dt, BARO_WALK**2 * dt, 0])
    unrest = STEADY_UNREST + kind.unrest * np.exp(-dt * np.arange(n) / SETTLING_S)
    wanted = np.minimum(HOVER_M_S * dt * np.arange(n) - GROUND_MARGIN_M, HOVER_TOP_M)
    total, sunk = np.full(n, math.log(kind.share)), np.zeros(n)
    hop = np.full((n, n), -np.inf)
    shortest, longest = (round(length / dt) for length in HOP_LENGTH_S)
    for k in range(n):
        live = slice(0, k + 1)
        landing = slice(max(0, k - longest), max(0, k - shortest + 1))
        hop[landing, k] = total[landing] + sunk[landing] + _touches(x[landing], p[landing])
        for row, z, r in _rows(blocks, k, shake.air):
            ph = p[live] @ row
            s = ph @ row + r
            y = z - x[live] @ row
            total[live] -= 0.5 * (y * y / s + np.log(s))
            gain = ph / s[:, None]
            x[live] += gain * y[:, None]
            p[live] -= gain[:, :, None] * ph[:, None, :]
        # The worst moment counts once: the steps of one path are not independent.
        needed = wanted[k::-1]
        clear = (x[live, 0] - needed) / np.sqrt(p[live, 0, 0] + CONTACT_STD_M**2)
        sunk[live] = np.minimum(sunk[live], log_ndtr(clear))
        x[live] = x[live] @ f.T
        p[live] = f @ p[live] @ f.T + unrest[k::-1, None, None] * walk + drift
    return total + sunk, hop


def _rows(blocks: Blocks, k: int, shake: float) -> Iterator[tuple[Array, float, float]]:
    """Measurement row, value and variance of each sensor that has block k."""
    if math.isfinite(blocks.accel[k]):
        yield np.array([0, 0, 1.0, 0, 1.0, 0, 0]), blocks.accel[k], shake**2
    if math.isfinite(blocks.height[k]):
        row = np.array([1.0, 0, 0, 0, 0, 1.0, blocks.speed_head[k]])
        yield row, blocks.height[k], blocks.height_var[k]
    if math.isfinite(blocks.climb[k]):
        yield np.array([0, 1.0, 0, 0, 0, 0, 0]), blocks.climb[k], blocks.climb_var[k]


def _touches(x: Array, p: Array) -> Array:
    """Log probability that the path comes down to the ground within the block.

    Density of the height at zero times the distance that it sinks through in a block:
    the rate at which a Gaussian path crosses a level (Rice 1944).
    """
    s = p[:, 0, 0] + CONTACT_STD_M**2
    density = -0.5 * (x[:, 0] ** 2 / s + np.log(2 * math.pi * s))
    spread = np.sqrt(np.maximum(p[:, 1, 1], 1e-6))
    z = x[:, 1] / spread
    sinking = spread * (np.exp(-0.5 * z * z) / math.sqrt(2 * math.pi) - z * ndtr(-z))
    return np.asarray(density + np.log(np.maximum(sinking, 1e-4) * BLOCK_S))
