"""How the wheels came back to the ground: when, how fast they sank, whether they left it again.

The vertical channel of a landing is smoothed as one: the upward acceleration is integrated, its
zero is a state, and what pins the integral is the ground itself. Once the aircraft rolls on for
good its height no longer changes, so that the velocity which the impact took away is known to a
few centimetres a second, whatever ground effect and speed do to the barometer. Barometer (with an
error that walks) and GPS climb rate (with a zero of its own) take part with what they are worth.
Kalman (1960) forwards, Rauch, Tung and Striebel (1965) backwards.

Without an accelerometer see `flightlog.estimation.touchdown_fall`.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flightlog.estimation.frames import Array
from flightlog.estimation.kalman import Motion, Smoothed, smooth
from flightlog.estimation.liftoff_evidence import Series
from flightlog.estimation.touchdown_evidence import (
    BARO_WALK,
    CLIMB_ZERO_STD_M_S,
    CONTACT_STD_M,
    LEAST_STD_M_S,
    Hop,
    LandingEvidence,
    Touchdown,
    place_samples,
)
from flightlog.estimation.touchdown_fall import without_inertial
from flightlog.estimation.touchdown_pulse import find_onset

BEFORE_S, AFTER_S = 9.0, 8.0
"""Window about the coarse touchdown. [s]"""

STEP_S = 0.02
"""Finest step of the smoother. [s]"""

ZERO_STD_M_S2, ZERO_WALK = 0.5, 0.02
"""Zero of the upward acceleration before it is seen, and its random walk: bending of the attitude
with the acceleration of flare and braking. [m/s²], [m/s²/sqrt(s)]"""

SCALE_STD = 0.015
"""What the scale takes from a change of velocity within one step, as its share. [-]"""

SUDDEN_SHARE = 0.5
"""What samples miss of a change that comes within one of their intervals. [-]"""

SLOPE_STD = 0.02
"""Slope of a strip that nothing is said about. [-]"""

REST_STD_M = 0.03
"""How even the ground is, with tyres, struts and grass. [m]"""

EARLIEST_S = 8.0
"""So long before the coarse touchdown the contact may be, at the most. [s]"""

SLOWED_SHARE = 0.4
"""Of the speed of the approach: below it an aircraft rolls. [-]"""

SETTLED_S = 0.5
"""After the last contact the gear has stopped to swing. [s]"""

STOPPED_S, STOPPED_SHARE = 0.25, 0.25
"""A contact takes all of the sink rate but the second within the first. [s], [-]"""

REBOUND_M = (0.15, 0.1)
"""Height of a rebound at the most: the first, and the second times the square of the sink rate.
[m], [m/(m/s)²]"""

LOW_M, HOP_M = 0.01, 0.02
"""Height above which the wheels are clear of the ground, and least top of what is a hop. [m]"""

SURELY_DOWN_S = 3.5
"""So long after the coarse touchdown no wheel leaves the ground for long. [s]"""

_H, _V, _B, _E, _C, _G, _S = range(7)


def locate_touchdown(
    evidence: LandingEvidence, coarse_s: float, still_s: float
) -> Touchdown | None:
    """First contact and sink rate.

    Parameters
    ----------
    evidence : LandingEvidence
        Signals about the landing.
    coarse_s : float
        Touchdown, good to a second or two. [s]
    still_s : float
        Standstill, or the end of the log. [s]

    Returns
    -------
    Touchdown or None
        None where nothing but the coarse time is known.
    """
    still_s = max(still_s, coarse_s + 0.5)
    if evidence.upward is not None and _covers(evidence.upward, coarse_s, still_s):
        try:
            found = _inertial(evidence, evidence.upward, coarse_s, still_s)
        except np.linalg.LinAlgError:  # accelerations that no aircraft has
            found = None
        if found is not None:
            return found
    return without_inertial(evidence, coarse_s, still_s)


def _covers(series: Series, coarse_s: float, still_s: float) -> bool:
    """Whether samples go without a hole from 3 s before the touchdown to after it."""
    t = series.time_s
    near = t[(t > coarse_s - 3.0) & (t < min(coarse_s + 3.0, still_s))]
    return near.size > 20 and float(np.diff(near).max()) < 0.2


@dataclass(frozen=True, slots=True)
class _Track:
    """Smoothed vertical channel: time of each step, state and covariance."""

    time_s: Array
    height: Array
    height_std: Array
    climb: Array
    climb_std: Array
    zero: Array

    def at(self, time_s: float) -> tuple[float, float, float, float]:
        """Height, its std, climb rate, its std at an instant."""
        values = (self.height, self.height_std, self.climb, self.climb_std)
        h, hs, v, vs = (float(np.interp(time_s, self.time_s, x)) for x in values)
        return h, hs, v, vs


def _inertial(
    evidence: LandingEvidence, upward: Series, coarse_s: float, still_s: float
) -> Touchdown | None:
    rolling = min(coarse_s + SURELY_DOWN_S, _slowed(evidence.speed, coarse_s), still_s)
    track = _smooth(evidence, upward, coarse_s, still_s, rolling, None, 2 * STEP_S)
    touch, touch_std = _first_contact(track, upward, coarse_s, rolling)
    # Once the hops are known the ground pins the height sooner, and that the touchdown; only then
    # may the touchdown pin the height.
    for pin in (False, True):
        hops = _hops(track, touch)
        last = hops[-1].end_s if hops else touch
        settled = min(max(last, touch) + SETTLED_S, max(rolling, touch + 0.1))
        track = _smooth(evidence, upward, coarse_s, still_s, settled, touch if pin else None)
        if not pin:
            touch, touch_std = _first_contact(track, upward, coarse_s, settled)
    if not math.isfinite(touch) or not np.isfinite(track.climb).all():
        return None
    hops = _hops(track, touch)
    # Before the contact, and before the last sample that knew nothing of it: the impact changes
    # the velocity fast, the flare slowly.
    step = max(STEP_S, float(np.median(np.diff(upward.time_s))))
    before = track.time_s[max(0, int(np.searchsorted(track.time_s, touch - step)) - 1)]
    _, _, climb, std = track.at(float(before))
    if touch_std > 2 * step:
        early, late = track.at(touch - touch_std - step)[2], track.at(touch + touch_std)[2]
        std = math.hypot(std, 0.5 * (late - early))
    std = math.hypot(std, LEAST_STD_M_S)
    sink, weight = normal_grid(-climb, std)
    return Touchdown(
        touch,
        touch_std,
        sink,
        weight,
        tuple(hops),
        settled,
        inertial=True,
        zero_m_s2=float(np.interp(touch, track.time_s, track.zero)),
        faint=_faint(track, touch, hops),
    )


def normal_grid(mean: float, std: float, points: int = 81) -> tuple[Array, Array]:
    """Points of a Gaussian within four standard deviations, and their probabilities."""
    z = np.linspace(-4.0, 4.0, points)
    weight = np.exp(-0.5 * z * z)
    return mean + std * z, weight / weight.sum()


def _slowed(speed: Series | None, coarse_s: float) -> float:
    """When the speed fell to a share of the approach's that no flight has; infinite if never.

    The coarse touchdown may be seconds late where the barometer is off; this is not.
    """
    if speed is None:
        return math.inf
    t, v = speed.time_s, speed.value
    approach = v[(t > coarse_s - BEFORE_S) & (t < coarse_s - 4.0) & np.isfinite(v)]
    if approach.size < 3:
        return math.inf
    limit = SLOWED_SHARE * float(np.median(approach))
    slow = np.flatnonzero((t > coarse_s - EARLIEST_S + 1.0) & (v < limit))
    return float(t[slow[0]]) if slow.size else math.inf


def _smooth(
    evidence: LandingEvidence,
    upward: Series,
    coarse_s: float,
    still_s: float,
    rolling_s: float,
    touch_s: float | None,
    step_s: float = STEP_S,
) -> _Track:
    """Smooth height, climb rate and the sensors' errors through the whole landing.

    ``rolling_s``: from then on the height is that of the ground; ``touch_s``: and there, if
    known.
    """
    t = upward.time_s
    rate = max(step_s, float(np.median(np.diff(t[(t > coarse_s - 3) & (t < coarse_s + 3)]))))
    end = min(max(coarse_s + AFTER_S, rolling_s + 1.0), still_s + 2.0, float(t[-1]))
    end = max(end, min(rolling_s + 0.5, float(t[-1])))
    start = max(coarse_s - BEFORE_S, float(t[0]))
    n = max(8, math.ceil((end - start) / rate))
    edges = start + rate * np.arange(n + 1)
    # The integral over each step, exact for whatever spacing the samples have.
    gained = np.diff(np.interp(edges, t, _integral(upward)))
    time = edges
    steps = n + 1
    dt = rate
    noise_dv = _velocity_noise(gained, dt, float(np.median(np.diff(t))) / dt)
    f = np.tile(np.eye(7), (n, 1, 1))
    f[:, _H, _V] = dt
    f[:, _V, _B] = -dt
    f[:, _H, _B] = -(dt**2) / 2
    speed = np.zeros(n)
    if evidence.speed is not None and len(evidence.speed.time_s):
        speed = np.interp(time[:-1], evidence.speed.time_s, evidence.speed.value)
    f[:, _G, _S] = speed * dt
    push = np.zeros((n, 7))
    push[:, _V], push[:, _H] = gained, gained * dt / 2
    q = np.zeros((n, 7, 7))
    q[:, _V, _V] = noise_dv**2
    q[:, _H, _H] = (noise_dv * dt) ** 2 / 3 + 1e-10
    q[:, _H, _V] = q[:, _V, _H] = noise_dv**2 * dt / 2
    q[:, _B, _B] = ZERO_WALK**2 * dt
    q[:, _E, _E] = BARO_WALK**2 * dt
    mean = np.zeros(7)
    cov = np.diag([100.0, 5.0, ZERO_STD_M_S2, 100.0, CLIMB_ZERO_STD_M_S, 1e-3, SLOPE_STD]) ** 2
    rows = np.zeros((4, 7))
    rows[0, [_H, _E]] = 1.0
    rows[1, [_V, _C]] = 1.0
    rows[2, _H], rows[2, _G] = 1.0, -1.0
    rows[3] = rows[2]
    measured = np.full((steps, 4), np.nan)
    height_std = place_samples(measured[:, 0], evidence.height, time, dt)
    climb_std = place_samples(measured[:, 1], evidence.climb, time, dt)
    # Heights of neighbouring steps on the ground err together: one in 0.1 s counts.
    stride = max(1, round(0.1 / dt))
    ground = np.flatnonzero(time >= min(rolling_s, time[-1] - 2 * dt))
    measured[ground[::stride], 2] = 0.0
    if touch_s is not None and time[0] < touch_s < time[-1]:
        measured[int(np.searchsorted(time, touch_s)), 3] = 0.0
    noise = np.diag([height_std, climb_std, REST_STD_M, CONTACT_STD_M]) ** 2
    got = smooth(mean, cov, Motion(f, q, push), rows, noise, measured)
    return _above_ground(time, got)


def _above_ground(time: Array, got: Smoothed) -> _Track:
    height = got.mean[:, _H] - got.mean[:, _G]
    c = got.cov
    var = c[:, _H, _H] + c[:, _G, _G] - 2 * c[:, _H, _G]
    return _Track(
        time,
        height,
        np.sqrt(np.maximum(var, 0.0)),
        got.mean[:, _V],
        np.sqrt(np.maximum(c[:, _V, _V], 0.0)),
        got.mean[:, _B],
    )


def _integral(series: Series) -> Array:
    """Running integral of a signal at its samples, by trapezia."""
    step = np.diff(series.time_s)
    area = step * (series.value[1:] + series.value[:-1]) / 2
    return np.concatenate([[0.0], np.cumsum(area)])


def _velocity_noise(gained: Array, dt: float, coarseness: float) -> Array:
    """Noise of the velocity gained in each step. [m/s]

    White from the second differences of quiet steps, and a share of how fast the gain changes:
    samples that miss part of an impact, the more the fewer of them there are in a step.
    """
    curve = np.abs(np.diff(np.pad(gained, 1, mode="edge"), 2))
    white = 1.4826 * float(np.median(curve)) / math.sqrt(6)
    sudden = np.convolve(curve, np.ones(3) / 3, mode="same")
    sudden = sudden * SUDDEN_SHARE * min(coarseness, 1.0) ** 2
    scale = SCALE_STD * np.abs(gained)
    return np.asarray(np.sqrt(max(white, 0.05 * dt) ** 2 + scale**2 + sudden**2))


def _first_contact(
    track: _Track, upward: Series, coarse_s: float, rolling_s: float
) -> tuple[float, float]:
    """Time of the first contact and its standard uncertainty: by the impact, else by the height.

    An impact counts where the height allows for it.
    """
    level = track.height - 3.0 * np.hypot(track.height_std, CONTACT_STD_M)
    low = np.flatnonzero((level < 0) & (track.time_s > coarse_s - EARLIEST_S))
    # From the last time that it was surely high above the ground before the roll.
    before = track.time_s < rolling_s - 0.02
    high = np.flatnonzero((track.height - 3 * track.height_std > 1.0) & before)
    first = int(high[-1]) + 1 if high.size else 0
    low = low[low >= first]
    start = float(track.time_s[low[0]]) if low.size else coarse_s - 1.0
    down = np.flatnonzero((track.height < 0) & (np.arange(len(level)) >= first))
    crossing = float(track.time_s[down[0]]) if down.size else rolling_s
    std = np.hypot(np.interp(crossing, track.time_s, track.height_std), CONTACT_STD_M)
    sink = max(0.15, -float(np.interp(crossing, track.time_s, track.climb)))
    reach = float(std) / sink
    until = min(crossing + min(3.5 * reach, 1.0) + 0.05, rolling_s + 0.5)

    def stops(time_s: float) -> bool:
        sink = -float(np.interp(time_s - STEP_S, track.time_s, track.climb))
        within = (track.time_s > time_s) & (track.time_s < time_s + STOPPED_S)
        if not within.any():
            return False
        best = np.flatnonzero(within)[np.argmax(track.climb[within])]
        # No gear throws it higher than its own fall allows, the wing carrying most of the weight.
        later = (track.time_s > time_s) & (track.time_s < rolling_s)
        rise = track.height[later] - 2 * track.height_std[later]
        if rise.size and float(rise.max()) > REBOUND_M[0] + REBOUND_M[1] * sink**2:
            return False
        return bool(track.climb[best] > -STOPPED_SHARE * max(sink, 0.0) - 2 * track.climb_std[best])

    onset = find_onset(upward, start, max(until, start + 0.1), stops)
    if onset is None:
        return crossing, min(reach, 1.0)
    return onset


def _hops(track: _Track, touch_s: float) -> list[Hop]:
    """Stretches after the first contact in which the wheels were clear of the ground."""
    return [
        hop
        for hop in _above(track, touch_s, LOW_M)
        if hop.end_s - hop.start_s > 0.04 and hop.top_m > HOP_M
    ]


def _faint(track: _Track, touch_s: float, hops: list[Hop]) -> tuple[Hop, ...]:
    """Stretches above the ground that are no `hops`: beside them nothing is told from noise."""
    return tuple(
        one
        for one in _above(track, touch_s, 0.0)
        if not any(one.start_s < hop.end_s and hop.start_s < one.end_s for hop in hops)
    )


def _above(track: _Track, touch_s: float, level_m: float) -> list[Hop]:
    """Stretches after the first contact above a height."""
    after = track.time_s > touch_s + STEP_S
    over = after & (track.height > level_m)
    edges = np.flatnonzero(np.diff(np.concatenate([[False], over, [False]]).astype(np.int8)))
    hops = []
    for i, j in zip(edges[::2], edges[1::2], strict=True):
        top = i + int(np.argmax(track.height[i:j]))
        end = float(track.time_s[min(j, len(track.time_s) - 1)])
        hops.append(
            Hop(float(track.time_s[i]), end, float(track.height[top]), float(track.height_std[top]))
        )
    return hops
