"""A touchdown without an accelerometer: every instant is tried, the answers are mixed.

Bar-Shalom, Li, Kirubarajan (2001), chapter 11: one Kalman filter for each hypothesis, weighed by
how well it explains what receiver and barometer read.
"""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from flightlog.estimation.frames import Array
from flightlog.estimation.touchdown_evidence import (
    BARO_WALK,
    CLIMB_ZERO_STD_M_S,
    CONTACT_STD_M,
    LEAST_STD_M_S,
    LandingEvidence,
    Touchdown,
    place_samples,
)

BEFORE_S, AFTER_S = 9.0, 4.0
"""Window about the coarse touchdown. [s]"""

COARSE_EARLY_S = (0.6, 0.9)
"""How much too early the coarse touchdown is, mean and standard deviation: a flare is long and
flat. [s]"""

ANYWHERE = 0.15
"""How often it is anywhere else between `EARLIEST_S` before and 3 s after. [-]"""

EARLIEST_S = 6.0

TEMPER = 0.4
"""Weight of one sample against independent ones: a barometer's errors near the ground, gusts and
the filter before it, are shared by neighbours. [-]"""

BOUNCING, BOUNCING_S = 0.1, 1.2
"""How often a landing bounces high, and for how long. [-], [s]"""

_TRIED_S, _COARSE_STEP_S = 2.4, 0.1
_FLARE_STD_M_S2, _FLARE_TIME_S = 1.5, 0.5


def without_inertial(
    evidence: LandingEvidence, coarse_s: float, still_s: float
) -> Touchdown | None:
    """First contact from GPS climb rate and barometer alone, as a mixture over instants.

    A filter for every instant of a grid, all at the same time. States: height, climb rate,
    acceleration of the flare, barometer's error, receiver's zero, and the sink rate at the
    contact, which what follows goes on to improve. The contact ends the fall; what hops then is
    not seen. A barometer alone takes ground effect for sinking: without a climb rate there is no
    answer.
    """
    climb = evidence.climb
    if climb is None or np.sum(np.abs(climb.time_s - coarse_s) < 3.0) < 3:
        return None
    dt = _COARSE_STEP_S
    start, end = coarse_s - BEFORE_S, coarse_s + AFTER_S
    time = start + dt * np.arange(math.ceil((end - start) / dt) + 1)
    measured = np.full((len(time), 2), np.nan)
    height_std = place_samples(measured[:, 0], evidence.height, time, dt)
    climb_std = place_samples(measured[:, 1], climb, time, dt)
    after = time - coarse_s - COARSE_EARLY_S[0]
    near = np.abs(after) <= _TRIED_S
    # Far from the coarse touchdown every other step is enough.
    far = (after > -EARLIEST_S) & ~near & (np.arange(len(time)) % 2 == 0)
    tried = np.flatnonzero((near | far) & (time < still_s) & (time > start + 1.0))
    if not tried.size:
        return None
    # Each instant twice: it stays down, or it bounces.
    tried = np.concatenate([tried, tried])
    bounces = np.arange(tried.size) >= tried.size // 2
    likely, x, p = _fall(measured, (height_std, climb_std), (tried, bounces), dt)
    late = after[tried] / COARSE_EARLY_S[1]
    fit = TEMPER * likely + np.where(bounces, math.log(BOUNCING), 0.0)
    fit += np.log(np.exp(-0.5 * late**2) + ANYWHERE) + np.where(near[tried], 0.0, math.log(2.0))
    sink, std = -x[:, 5], np.sqrt(np.maximum(p[:, 5, 5], 1e-6))
    if not (np.isfinite(fit).all() and np.isfinite(sink).all()):
        return None
    weight = np.exp(fit - fit.max())
    # Wheels that touch from above have a sink rate that is not negative.
    weight *= np.array([1 + math.erf(v / s / math.sqrt(2)) for v, s in zip(sink, std, strict=True)])
    weight /= weight.sum()
    mean = float(weight @ time[tried])
    spread = math.sqrt(float(weight @ (time[tried] - mean) ** 2))
    values, weights = _mixed(sink, std, weight)
    return Touchdown(mean, math.hypot(spread, 0.1), values, weights, (), mean, inertial=False)


def _fall(
    measured: Array,
    stds: tuple[float, float],
    tried: tuple[NDArray[np.intp], NDArray[np.bool_]],
    dt: float,
) -> tuple[Array, Array, Array]:
    """Filter a fall with a wandering acceleration that ends at one step, for several such steps.

    ``tried`` holds the step of the contact, and whether it bounces for `BOUNCING_S` then.

    Returns
    -------
    likely, x, p : array, shape (k,), (k, 6), (k, 6, 6)
        Log likelihood, state and covariance at the end, for each of ``tried``.
    """
    contact, bounces = tried
    n = len(contact)
    keep = math.exp(-dt / _FLARE_TIME_S)
    free = np.eye(6)
    free[0, 1:3], free[1, 2], free[2, 2] = (dt, dt**2 / 2), dt, keep
    free_q = np.diag([0, 0, _FLARE_STD_M_S2**2 * (1 - keep**2), BARO_WALK**2 * dt, 0, 0])
    touch = np.eye(6)
    touch[1, 1] = touch[2, 2] = touch[5, 5] = 0.0
    touch[5, 1] = 1.0
    rolling = np.eye(6)
    rolling[0, 1], rolling[1, 1], rolling[2, 2] = 0.0, 0.0, 0.0
    rolling_q = np.diag([1e-6, 0.05**2, 0, BARO_WALK**2 * dt, 0, 0])
    loose_q = np.diag([0.05**2, 0.7**2, 0, BARO_WALK**2 * dt, 0, 0])
    x = np.zeros((n, 6))
    p = np.tile(
        np.diag([100.0, 3.0, _FLARE_STD_M_S2, 100.0, CLIMB_ZERO_STD_M_S, 0]) ** 2, (n, 1, 1)
    )
    likely = np.zeros(n)
    baro, gps, ground = np.array([1.0, 0, 0, 1, 0, 0]), np.array([0, 1.0, 0, 0, 1, 0]), np.eye(6)[0]
    for k in range(len(measured)):
        down = contact <= k
        loose = down & bounces & (k < contact + BOUNCING_S / dt)
        for row, value, std in ((baro, measured[k, 0], stds[0]), (gps, measured[k, 1], stds[1])):
            if math.isfinite(value):
                likely += _learn(x, p, row, value, std, np.ones(n, dtype=bool))
        if down.any():
            _learn(x, p, ground, 0.0, CONTACT_STD_M, down & ~loose)
        now = contact == k + 1
        f = np.where(down[:, None, None], rolling, free)
        q = np.where(down[:, None, None], rolling_q, free_q)
        q = np.where(loose[:, None, None], loose_q, q)
        x = np.einsum("kij,kj->ki", f, x)
        p = f @ p @ f.transpose(0, 2, 1) + q
        # The height ends at the contact with what it then falls; the sink rate is kept.
        x[now] = x[now] @ touch.T
        p[now] = touch @ p[now] @ touch.T
    return likely, x, p


def _learn(
    x: Array, p: Array, row: Array, value: float, std: float, whom: NDArray[np.bool_]
) -> Array:
    """Measurement update in place, of those asked for; gives the log likelihood."""
    ph = p @ row
    s = ph @ row + std**2
    y = value - x @ row
    gain = np.where(whom[:, None], ph / s[:, None], 0.0)
    x += gain * y[:, None]
    p -= gain[:, :, None] * ph[:, None, :]
    return np.where(whom, -0.5 * (y * y / s + np.log(s)), 0.0)


def _mixed(mean: Array, std: Array, weight: Array) -> tuple[Array, Array]:
    """Sum of Gaussians on an even grid, cut at zero."""
    std = np.hypot(std, LEAST_STD_M_S)
    top = float(np.max(mean + 4 * std))
    x = np.linspace(0.0, max(top, 0.2), 161)
    each = np.exp(-0.5 * ((x[:, None] - mean) / std) ** 2) / std
    density = each @ weight
    return x, density / max(density.sum(), 1e-300)
