"""When the wheels leave the ground: one posterior from everything that speaks of it.

The vertical channel is a chain of stretches, each a linear Gaussian model of what upward
acceleration, barometer and GPS climb rate should read:

*ground*  wheels loaded: height, climb rate and acceleration are zero;
*light*   struts and tyres extend, the body begins to rise, the tyres still touch;
*hop*     a free path that ends where its height comes back to zero;
*rolling* between two hops: loaded again, with impacts;
*climb*   a free path that lasts.

The chain runs ground, light, then any number of (hop, rolling), then climb. Sums over all
chains by a forward and a backward pass give the probability of each instant being the first
clear moment, and of each being the last contact. Nothing is thresholded: a barometer that
reads half a metre too high in ground effect, an accelerometer with a bias or a motor that
shakes it only flatten the posterior. The barometer's error is a state that walks fast enough
to absorb ground effect, and a share of the dynamic pressure that the roll itself shows.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

import numpy as np
from scipy.special import log_ndtr, ndtr

from flightlog.constants import G0_M_S2
from flightlog.estimation.frames import Array

BLOCK_S = 0.04
"""Step of the chain. [s] Half a metre of roll; finer steps add cost, not knowledge."""

BARO_LAG_S = 0.05
"""Typical lag of a barometer behind its tubing and filter. [s]"""

HOP_LENGTH_S = (0.08, 1.2)
"""Shortest and longest hop. [s] Longer ones rise higher than wheels that skip."""

CONTACT_STD_M = 0.02
"""How exactly the height is zero at a contact: tyres, struts, grass. [m]"""

ROLLING_MEAN_S = 0.3
"""Prior mean time on the ground between two hops, after the impact itself. [s]"""

LONGEST_ROLLING_S = 1.6
"""Longest time on the ground between two hops that is looked at. [s]"""

ROUGH_MEAN_S, CALM_MEAN_S = 0.15, 1.0
"""Mean times for which the gear rings after an impact, and between two impacts. [s]"""

IMPACT_BLOCKS = 3
"""Blocks that an impact takes at least: the gear is pressed in and comes back. [-]"""

IMPACT_M_S2 = (2.0, 2.0)
"""Mean and spread of the upward acceleration in a block that holds an impact. [m/s²]"""

IMPACT_SHARE = 0.3
"""Share of rough blocks that hold an impact. [-]"""

RINGING_M_S2 = 0.6
"""Spread of the upward acceleration while the gear rings after an impact. [m/s²]"""

LIGHT_MEAN_S = 0.3
"""Prior mean time from the first upward acceleration of the body to the last contact of a
clean lift-off: struts and tyres extend by a few centimetres. [s]"""

LIGHT_ACCEL_M_S2 = (0.3, 0.4)
"""Mean and spread of the upward acceleration while the wheels are light. [m/s²]"""


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

LEAST_SHAKE_M_S2 = (0.03, 0.08)
"""Least noise of a 0.04 s mean of the vertical acceleration, on the ground and in the air: a
simulated or well damped IMU may show less, attitude errors don't. [m/s²]"""

MOST_GROWTH = 1.6
"""Noise near lift-off over its mean in the roll, at the most. [-]"""

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

GROUND_MARGIN_M = 0.03
"""A free climb can't pass below the ground by more than grass and tyres give. [m]"""

HOVER_M_S, HOVER_TOP_M = 0.12, 0.3
"""Wheels can't hover in the grass: a climb rises at least so fast until it is so high.
[m/s], [m]"""

EVIDENCE_SHARE = 0.9
"""Share of the log evidence that counts: vibration, attitude error and pressure noise are
correlated from block to block, so that the blocks say less than their number. [-]"""

LEAST_STD_S = 0.04
"""What the model itself may be off: 1 sigma on the instant. [s]"""


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
class LiftoffPosterior:
    """Probabilities over a grid of instants.

    Attributes
    ----------
    time_s : array, shape (n,)
        Grid. [s]
    last_contact, first_clear : array, shape (n,)
        Probability of each instant.
    skip_probability : float
        That the wheels came down again after the first clear moment.
    skips : int
        Contacts after the first clear moment that the accelerometer shows, if it did skip.
    shake_ground_m_s2, shake_air_m_s2 : float or None
        Standard deviation of the block means of the acceleration, on the ground and in the
        air; None without an IMU. [m/s²]
    """

    time_s: Array
    last_contact: Array
    first_clear: Array
    skip_probability: float
    skips: int
    shake_ground_m_s2: float | None
    shake_air_m_s2: float | None

    def width_s(self, level: float = 0.95) -> float:
        """Width of the central interval of the last contact. [s]"""
        tail = (1 - level) / 2
        low, high = np.interp([tail, 1 - tail], np.cumsum(self.last_contact), self.time_s)
        return float(high - low)

    @property
    def resolves_skips(self) -> bool:
        """Whether the accelerometer is quiet enough to show single contacts."""
        return self.shake_air_m_s2 is not None and self.shake_air_m_s2 < 0.25


def _white_std(blocks: Array) -> float:
    """Noise of single blocks. Second differences remove true motion, even a steep one."""
    good = blocks[np.isfinite(blocks)]
    return float(np.std(np.diff(good, 2)) / math.sqrt(6)) if len(good) > 5 else math.nan


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


@dataclass(frozen=True, slots=True)
class _Blocks:
    """All evidence on the common grid; NaN where a block has none."""

    time: Array
    accel: Array
    height: Array
    height_var: Array
    climb: Array
    climb_var: Array
    speed_head: Array


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


def _blocks(evidence: VerticalEvidence, start_s: float, end_s: float) -> _Blocks:
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
    return _Blocks(middle, accel, h, hv, c, cv, head)


def locate_liftoff(
    evidence: VerticalEvidence, roll_start_s: float, two_metres_s: float
) -> LiftoffPosterior:
    """Posterior of the first clear moment and of the last wheel contact.

    Parameters
    ----------
    evidence : VerticalEvidence
        Signals from before the roll to 3 s after ``two_metres_s``.
    roll_start_s : float
        Start of the roll. [s]
    two_metres_s : float
        Roughly when the wheels passed 2 m. [s]

    Returns
    -------
    LiftoffPosterior
    """
    start = max(two_metres_s - 8.0, roll_start_s + 0.3)
    start = min(start, two_metres_s - 1.0)
    blocks = _blocks(evidence, start, two_metres_s + 0.8)
    shake = _shake(evidence, blocks, roll_start_s, two_metres_s)
    ground = _ground_filter(blocks, shake.ground)
    climb, hop = _free_paths(blocks, ground, shake)
    first = int(np.searchsorted(blocks.time, roll_start_s + 0.8))
    last = int(np.searchsorted(blocks.time, two_metres_s - 0.2))
    index = np.arange(len(blocks.time))
    allowed = (index >= min(first, last - 2)) & (index <= last)
    nose = _pitch_prior(evidence.pitch, blocks.time, roll_start_s, two_metres_s)
    departs = np.where(allowed, nose, -np.inf)
    first_clear, last_contact, clean = _chain(ground, climb, hop, departs, shake)
    return LiftoffPosterior(
        blocks.time - BLOCK_S / 2,
        _spread(last_contact),
        _spread(first_clear),
        1.0 - clean,
        _count_contacts(ground, first_clear, last_contact),
        float(np.max(shake.ground[: last + 1])) if shake.ground is not None else None,
        shake.air if shake.ground is not None else None,
    )


@dataclass(frozen=True, slots=True)
class _Shake:
    """Noise of the block means. [m/s²].

    ``ground`` per block, shape (n,), or None without an IMU; ``air`` alike for all.
    """

    ground: Array | None
    air: float


def _shake(
    evidence: VerticalEvidence, blocks: _Blocks, roll_start_s: float, two_metres_s: float
) -> _Shake:
    """Noise on the ground roll, by speed, and in the first seconds of flight."""
    usable = np.isfinite(blocks.accel).sum() > len(blocks.accel) // 2
    if evidence.accel is None or not usable:
        return _Shake(None, 1.0)
    signal = evidence.accel
    flat = Series(signal.time_s, signal.value, np.ones_like(signal.value))

    def over(start: float, end: float) -> tuple[Array, Array]:
        n = max(1, int((end - start) / BLOCK_S + 1e-6))  # whole blocks, whatever the clock
        edges = start + BLOCK_S * np.arange(n + 1)
        return edges[:-1] + BLOCK_S / 2, _on_grid(flat, edges)[0]

    time, rolling = over(roll_start_s + 0.5, max(two_metres_s - 3.0, roll_start_s + 1.0))
    _, flying = over(two_metres_s, two_metres_s + 3.0)
    colour = _colour(rolling)
    white = [_white_std(rolling), _white_std(flying)]
    known = [w for w in white if math.isfinite(w)]
    on_ground, in_air = (w if math.isfinite(w) else max(known, default=0.5) for w in white)
    in_air = max(LEAST_SHAKE_M_S2[1], min(colour, 1.5) * in_air)
    mean = max(LEAST_SHAKE_M_S2[0], colour * on_ground)
    growth = _growth(evidence.speed, time, rolling, blocks.time)
    ground = np.maximum(LEAST_SHAKE_M_S2[0], mean * growth)
    return _Shake(ground, in_air)


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
class _Ground:
    """Filter of the two sensor biases while the wheels are loaded, before each block."""

    bias: Array
    bias_cov: Array
    log_likelihood: Array
    accel_error: Array
    accel_bias_var: Array


def _ground_filter(blocks: _Blocks, shake: Array | None) -> _Ground:
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
            running += _bumpy(y, s, r) if row[0] else -0.5 * (y * y / s + math.log(s))
            # A hop is not a change of bias: what does not look like rolling teaches little.
            s += r * max(0.0, y * y / (4 * s) - 1) * 4
            gain = ph / s
            x = x + gain * y
            p = p - np.outer(gain, ph)
        if math.isfinite(blocks.climb[k]):
            r = blocks.climb_var[k]
            running -= 0.5 * (blocks.climb[k] ** 2 / r + math.log(r))
        p = p + q
    return _Ground(bias, cov, total, error, var)


def _bumpy(error: float, variance: float, noise: float) -> float:
    """Log likelihood of a block on the ground: mostly quiet, now and then a bump."""
    loud = variance + 25 * noise + BUMP_M_S2**2
    quiet = math.log(1 - BUMP_SHARE) - 0.5 * (error**2 / variance + math.log(variance))
    bump = math.log(BUMP_SHARE) - 0.5 * (error**2 / loud + math.log(loud))
    return max(quiet, bump) + math.log1p(math.exp(-abs(quiet - bump)))


def _free_paths(blocks: _Blocks, ground: _Ground, shake: _Shake) -> tuple[Array, Array]:
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
    blocks: _Blocks, ground: _Ground, shake: _Shake, kind: Departure
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


def _rows(blocks: _Blocks, k: int, shake: float) -> Iterator[tuple[Array, float, float]]:
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


def _pitch_prior(
    pitch: Series | None, time: Array, roll_start_s: float, two_metres_s: float
) -> Array:
    """Little weight to instants before the nose came up, if it ever did."""
    flat = np.zeros(len(time))
    if pitch is None or len(pitch.time_s) < 5:
        return flat
    rolling = (pitch.time_s > roll_start_s + 0.3) & (pitch.time_s < two_metres_s - 3.0)
    if rolling.sum() < 3:
        return flat
    rise = np.interp(time, pitch.time_s, pitch.value) - float(np.median(pitch.value[rolling]))
    rise = np.degrees(rise)
    if rise[-1] < 3.0:
        return flat
    return np.log(np.maximum(0.003, 1 / (1 + np.exp(-(rise - 1.5) / 0.5))))


def _chain(
    ground: _Ground,
    climb: Array,
    hop: Array,
    departs: Array,
    shake: _Shake,
) -> tuple[Array, Array, float]:
    """Forward and backward pass over all chains.

    Returns
    -------
    first_clear, last_contact : array, shape (n,)
        Probability of each block.
    clean : float
        Probability that the first free path is the climb.
    """
    n = len(climb)
    index = np.arange(n)
    gap = (index[None, :] - index[:, None]) * BLOCK_S
    light = _lightness(ground, shake)
    # From the first upward push to the first clear moment the wheels are light.
    easing = _log_exponential(gap, LIGHT_MEAN_S) + light[None, :n] - light[:n, None]
    easing = np.where((gap >= 0) & (gap <= 1.2), easing, -np.inf)
    first = departs + ground.log_likelihood + np.logaddexp.reduce(easing, axis=0)
    between = _between_hops(ground, shake) + departs[None, :]
    step = np.full((n, n), -np.inf)
    longest = round(HOP_LENGTH_S[1] / BLOCK_S)
    for f in np.flatnonzero(np.isfinite(departs)):
        near = slice(f, f + longest + 1)
        step[f] = np.logaddexp.reduce(hop[f, near][:, None] + between[near], axis=0)
    forward, backward = first.copy(), climb.copy()
    for c in range(1, n):
        forward[c] = np.logaddexp(first[c], np.logaddexp.reduce(forward[:c] + step[:c, c]))
    for c in range(n - 2, -1, -1):
        later = np.logaddexp.reduce(step[c, c + 1 :] + backward[c + 1 :])
        backward[c] = np.logaddexp(climb[c], later)
    total = np.logaddexp.reduce(first + backward)
    clean = float(np.exp(np.logaddexp.reduce(first + climb) - total))
    return _normal(first + backward), _normal(forward + climb), clean


def _normal(log_weight: Array) -> Array:
    weight: Array = np.exp(EVIDENCE_SHARE * (log_weight - log_weight.max()))
    return np.asarray(weight / weight.sum())


def _log_exponential(gap: Array, mean: float) -> Array:
    """Log probability of a block, for exponentially distributed lengths."""
    return np.asarray(math.log(1 - math.exp(-BLOCK_S / mean)) - np.maximum(gap, 0) / mean)


def _log_normal(error: Array, variance: Array) -> Array:
    """Log density without its constant; 0 where there is no sample."""
    density = -0.5 * (error**2 / variance + np.log(variance))
    return np.asarray(np.where(np.isfinite(density), density, 0.0))


def _loaded(ground: _Ground, shake: Array) -> Array:
    """Log likelihood of each block as one with loaded wheels; 0 where there is no sample."""
    each = [
        _bumpy(error, noise**2 + var, noise**2) if math.isfinite(error) else 0.0
        for error, var, noise in zip(ground.accel_error, ground.accel_bias_var, shake, strict=True)
    ]
    return np.array(each)


def _lightness(ground: _Ground, shake: _Shake) -> Array:
    """Running log likelihood of light wheels less that of loaded ones, shape (n + 1,)."""
    n = len(ground.accel_error)
    if shake.ground is None:
        return np.zeros(n + 1)
    mean, spread = LIGHT_ACCEL_M_S2
    variance = shake.ground**2 + spread**2 + ground.accel_bias_var
    gain = _log_normal(ground.accel_error - mean, variance) - _loaded(ground, shake.ground)
    return np.concatenate([[0.0], np.cumsum(np.where(np.isfinite(gain), gain, 0.0))])


def _between_hops(ground: _Ground, shake: _Shake) -> Array:
    """Log evidence from a contact before block k to the next departure with block c.

    Two states that follow each other: *rough*, in which the gear rings and is struck, from the
    contact on; and *calm*, plain rolling. Shape (n, n), -inf where c is too near or too far.
    """
    n = len(ground.accel_error)
    height = np.diff(np.append(ground.log_likelihood, ground.log_likelihood[-1]))
    calm_block, rough_block = height, height
    if shake.ground is not None:
        e, bias = ground.accel_error, ground.accel_bias_var
        loaded = _loaded(ground, shake.ground)
        ringing = _log_normal(e, shake.ground**2 + RINGING_M_S2**2 + bias)
        struck = _log_normal(e - IMPACT_M_S2[0], shake.air**2 + IMPACT_M_S2[1] ** 2 + bias)
        rough = np.logaddexp(math.log(1 - IMPACT_SHARE) + ringing, math.log(IMPACT_SHARE) + struck)
        rough_block = height + rough - loaded
    between = np.full((n, n), -np.inf)
    rough_now, calm_now = np.zeros(n), np.full(n, -np.inf)
    to_calm, to_rough = BLOCK_S / ROUGH_MEAN_S, BLOCK_S / CALM_MEAN_S
    leave = math.log(1 - math.exp(-BLOCK_S / ROLLING_MEAN_S))
    for gap in range(1, round(LONGEST_ROLLING_S / BLOCK_S)):
        rows = np.arange(n - gap)
        block = rows + gap - 1
        calmer = np.logaddexp(
            calm_now[rows] + math.log(1 - to_rough), rough_now[rows] + math.log(to_calm)
        )
        rougher = np.logaddexp(
            rough_now[rows] + math.log(1 - to_calm), calm_now[rows] + math.log(to_rough)
        )
        # The impact itself is rough to its end.
        if gap <= IMPACT_BLOCKS:
            calmer, rougher = np.full(len(rows), -np.inf), rough_now[rows]
        calm_now[rows] = calmer + calm_block[block]
        rough_now[rows] = rougher + rough_block[block]
        if gap >= IMPACT_BLOCKS:
            waited = (gap - IMPACT_BLOCKS) * BLOCK_S / ROLLING_MEAN_S
            either = np.logaddexp(calm_now[rows], rough_now[rows])
            between[rows, rows + gap] = either + leave - waited
    return between


def _spread(weights: Array) -> Array:
    """Widen by what the model itself may be off."""
    reach = max(1, math.ceil(3 * LEAST_STD_S / BLOCK_S))
    kernel = np.exp(-0.5 * (np.arange(-reach, reach + 1) * BLOCK_S / LEAST_STD_S) ** 2)
    wide = np.convolve(weights, kernel / kernel.sum(), mode="same")
    return np.asarray(wide / wide.sum())


def _count_contacts(ground: _Ground, first_clear: Array, last_contact: Array) -> int:
    """Contacts between first clear and last contact: falls that end in a push upward."""
    first, last = int(np.argmax(first_clear)), int(np.argmax(last_contact))
    if last <= first:
        return 0
    error = np.nan_to_num(ground.accel_error[first : last + 3])
    count, falling = 0, False
    for e in error:
        if e < -0.4:
            falling = True
        elif falling and e > 0.4:
            count, falling = count + 1, False
    return max(count, 1)
