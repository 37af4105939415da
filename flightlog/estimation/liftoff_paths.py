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
    n, kinds = len(blocks.time), len(DEPARTURES)
    paths, hop = _Paths(), np.full((n, n, kinds), -np.inf)
    shortest, longest = (round(length / BLOCK_S) for length in HOP_LENGTH_S)
    for k in range(n):
        first, last = max(0, k - longest), max(0, k - shortest + 1)
        hop[first:last, k] = paths.touching(first, last).reshape(-1, kinds)
        paths.depart(ground.bias[k], ground.bias_cov[k])
        for row, z, r in _rows(blocks, k, shake.air):
            paths.measure(row, z, r)
        paths.keep_clear()
        paths.move()
    climb = (paths.total + paths.sunk).reshape(n, kinds)
    return np.logaddexp.reduce(climb, axis=1), np.logaddexp.reduce(hop, axis=2)


class _Paths:
    """Filters of all paths that have left: from each block one for each kind of departure.

    States: height, climb rate, acceleration, jerk, then the three sensor errors of the ground.
    The jerk makes true motion smooth, so that noise which stops at a lift-off is told from it.
    The last axis of all arrays counts the paths, block by block: so each step is a handful of
    products of large arrays.
    """

    def __init__(self) -> None:
        self.x, self.p = np.zeros((7, 0)), np.zeros((7, 7, 0))
        self.total, self.sunk, self.age = np.zeros(0), np.zeros(0), np.zeros(0)
        self.unrest = np.zeros(0)
        dt = BLOCK_S
        self.f = np.eye(7)
        self.f[0, 1:4] = dt, dt**2 / 2, dt**3 / 6
        self.f[1, 2:4] = dt, dt**2 / 2
        self.f[2, 3], self.f[3, 3] = dt, math.exp(-dt / JERK_TIME_S)
        push = np.array([dt**3 / 6, dt**2 / 2, dt, 1.0])
        self.walk = dt * np.outer(push, push)[:, :, None]
        self.drift = np.array([0, 0, FLUTTER, 0, ACCEL_WALK**2, BARO_WALK**2, 0])[:, None] * dt
        kinds = len(DEPARTURES)
        self.first_x, self.first_p = np.zeros((7, kinds)), np.zeros((7, 7, kinds))
        for i, kind in enumerate(DEPARTURES):
            motion = ((0.01, 0.02), kind.speed_m_s, kind.accel_m_s2, kind.jerk_m_s3)
            for state, (mean, std) in enumerate(motion):
                self.first_x[state, i], self.first_p[state, state, i] = mean, std**2
        # Of a path that begins now: log likelihood, worst moment, blocks since, unrest.
        self.fresh = np.zeros((4, kinds))
        self.fresh[0] = np.log([kind.share for kind in DEPARTURES])
        self.fresh[3] = [kind.unrest for kind in DEPARTURES]

    def depart(self, bias: Array, bias_cov: Array) -> None:
        """Let a path of each kind begin."""
        self.first_x[4:], self.first_p[4:, 4:] = bias[:, None], bias_cov[:, :, None]
        self.x = np.concatenate([self.x, self.first_x], axis=1)
        self.p = np.concatenate([self.p, self.first_p], axis=2)
        told = np.array([self.total, self.sunk, self.age, self.unrest])
        self.total, self.sunk, self.age, self.unrest = np.concatenate([told, self.fresh], axis=1)

    def measure(self, row: Array, value: float, variance: float) -> None:
        """Update with what a sensor reads of the states."""
        ph = row @ self.p
        s = row @ ph + variance
        y = value - row @ self.x
        self.total -= 0.5 * (y * y / s + np.log(s))
        gain = ph / s
        self.x += gain * y
        self.p -= gain[:, None] * ph

    def keep_clear(self) -> None:
        """Charge each path for the worst moment in which it was below the ground or hovered.

        It counts once: the steps of one path are not independent.
        """
        wanted = np.minimum(HOVER_M_S * BLOCK_S * self.age - GROUND_MARGIN_M, HOVER_TOP_M)
        clear = (self.x[0] - wanted) / np.sqrt(self.p[0, 0] + CONTACT_STD_M**2)
        self.sunk = np.minimum(self.sunk, log_ndtr(clear))

    def move(self) -> None:
        """Predict all states to the next block."""
        self.x = self.f @ self.x
        left = (self.f @ self.p.reshape(7, -1)).reshape(self.p.shape)
        self.p = self.f @ left
        unrest = STEADY_UNREST + self.unrest * np.exp(-BLOCK_S * self.age / SETTLING_S)
        self.p[:4, :4] += self.walk * unrest
        each = np.arange(7)
        self.p[each, each] += self.drift
        self.age += 1

    def touching(self, first: int, last: int) -> Array:
        """Log evidence of the paths from some blocks on, if they touch within the next block."""
        which = slice(first * len(DEPARTURES), last * len(DEPARTURES))
        touching = _touches(self.x[:, which], self.p[:, :, which])
        return self.total[which] + self.sunk[which] + touching


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
    s = p[0, 0] + CONTACT_STD_M**2
    density = -0.5 * (x[0] ** 2 / s + np.log(2 * math.pi * s))
    spread = np.sqrt(np.maximum(p[1, 1], 1e-6))
    z = x[1] / spread
    sinking = spread * (np.exp(-0.5 * z * z) / math.sqrt(2 * math.pi) - z * ndtr(-z))
    return np.asarray(density + np.log(np.maximum(sinking, 1e-4) * BLOCK_S))
