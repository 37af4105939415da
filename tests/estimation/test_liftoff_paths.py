"""All free paths at once against one path at a time."""

from __future__ import annotations

import math

import numpy as np
import pytest
from scipy.stats import norm

from flightlog.estimation.liftoff_evidence import (
    ACCEL_WALK,
    BARO_WALK,
    BLOCK_S,
    Blocks,
    Ground,
    Shake,
    filter_ground,
)
from flightlog.estimation.liftoff_paths import (
    CONTACT_STD_M,
    DEPARTURES,
    FLUTTER,
    GROUND_MARGIN_M,
    HOP_LENGTH_S,
    HOVER_M_S,
    HOVER_TOP_M,
    JERK_TIME_S,
    SETTLING_S,
    STEADY_UNREST,
    Departure,
    free_paths,
)

N = 14
LOUD_M_S2 = 0.4


def made() -> tuple[Blocks, Ground]:
    """A few blocks about a departure: barometer in every second, receiver in every fifth."""
    rng = np.random.default_rng(4)
    time = BLOCK_S * np.arange(N)
    rise = np.maximum(0.0, time - 5 * BLOCK_S)
    accel = 1.2 * (rise > 0) + LOUD_M_S2 * rng.normal(size=N)
    accel[3] = np.nan
    height, climb = np.full(N, np.nan), np.full(N, np.nan)
    height[::2] = 0.6 * rise[::2] ** 2 + 0.1 * rng.normal(size=7)
    climb[::5] = 1.2 * rise[::5]
    blocks = Blocks(time, accel, height, np.full(N, 0.01), climb, np.full(N, 0.04), 7 + time)
    return blocks, filter_ground(blocks, np.full(N, 0.3))


def one_path(
    blocks: Blocks, ground: Ground, kind: Departure, start: int
) -> tuple[float, dict[int, float]]:
    """Log evidence of a path that begins with a block: as a climb, and as hops by their ends."""
    dt = BLOCK_S
    first = (kind.speed_m_s, kind.accel_m_s2, kind.jerk_m_s3)
    x = np.array([0.01, *(mean for mean, _ in first), *ground.bias[start]])
    p = np.diag([0.02**2, *(std**2 for _, std in first), 0, 0, 0])
    p[4:, 4:] = ground.bias_cov[start]
    move = np.eye(7)
    for i in range(3):
        for j in range(i + 1, 4):
            move[i, j] = dt ** (j - i) / math.factorial(j - i)
    move[3, 3] = math.exp(-dt / JERK_TIME_S)
    push = np.array([dt**3 / 6, dt**2 / 2, dt, 1, 0, 0, 0])
    walk = np.diag([0, 0, FLUTTER, 0, ACCEL_WALK**2, BARO_WALK**2, 0]) * dt
    total, worst, hops = math.log(kind.share), 0.0, {}
    for k in range(start, N):
        length = k - start
        if round(HOP_LENGTH_S[0] / dt) <= length <= round(HOP_LENGTH_S[1] / dt):
            height = norm(x[0], math.sqrt(p[0, 0] + CONTACT_STD_M**2))
            spread = math.sqrt(p[1, 1])
            falls = spread * norm.pdf(x[1] / spread) - x[1] * norm.cdf(-x[1] / spread)
            hops[k] = total + worst + height.logpdf(0.0) + math.log(max(falls, 1e-4) * dt)
        rows = (
            ([0, 0, 1, 0, 1, 0, 0], blocks.accel[k], LOUD_M_S2**2),
            ([1, 0, 0, 0, 0, 1, blocks.speed_head[k]], blocks.height[k], blocks.height_var[k]),
            ([0, 1, 0, 0, 0, 0, 0], blocks.climb[k], blocks.climb_var[k]),
        )
        for look, value, variance in rows:
            if math.isnan(value):
                continue
            h = np.array(look, dtype=float)
            s = float(h @ p @ h) + variance
            off = value - float(h @ x)
            total -= 0.5 * (off**2 / s + math.log(s))
            x, p = x + p @ h * off / s, p - np.outer(p @ h, p @ h) / s
        wanted = min(HOVER_M_S * dt * length - GROUND_MARGIN_M, HOVER_TOP_M)
        worst = min(worst, norm.logcdf((x[0] - wanted) / math.sqrt(p[0, 0] + CONTACT_STD_M**2)))
        unrest = STEADY_UNREST + kind.unrest * math.exp(-dt * length / SETTLING_S)
        x, p = move @ x, move @ p @ move.T + unrest * dt * np.outer(push, push) + walk
    return total + worst, hops


def test_all_paths_at_once_are_each_path_by_itself() -> None:
    blocks, ground = made()
    climb, hop = free_paths(blocks, ground, Shake(np.full(N, 0.3), LOUD_M_S2))
    for start in range(N):
        each = [one_path(blocks, ground, kind, start) for kind in DEPARTURES]
        assert climb[start] == pytest.approx(np.logaddexp.reduce([c for c, _ in each]), rel=1e-10)
        ends = {k: np.logaddexp.reduce([hops[k] for _, hops in each]) for k in each[0][1]}
        for k in range(N):
            assert hop[start, k] == pytest.approx(ends.get(k, -math.inf), rel=1e-10)
