"""At rest, on the ground, in the air: the states of each step of a session.

Rest is looked for first, because it is what the sensors agree on best: slow, at a steady
height, drive off or nothing shaking. The height of the ground is known where the aircraft
rests and is a straight line between two rests, so that drift of the barometer over a flight
starts nothing and hides nothing.
"""

from __future__ import annotations

from dataclasses import dataclass
from itertools import pairwise

import numpy as np
from numpy.typing import NDArray

from flightlog.analyses.phases_evidence import Evidence
from flightlog.estimation.frames import Array

Mask = NDArray[np.bool_]
Span = tuple[int, int]
"""First step and the one after the last."""

SLOW_M_S = 1.0
"""Below this it may stand still: a receiver at rest mostly shows less [m/s]."""

_NOISY_M_S = 2.5
"""Receivers at rest have been seen at 2 m/s; with a quiet IMU up to this is rest [m/s]."""

_QUIET_RAD_S = 0.06
"""Parked 0.00 to 0.03, in hands 0.1 to 0.4, multicopter hovering 0.08 and more [rad/s]."""

POWER_OFF = 0.15
"""Share of full power below which nothing is driven; a slow taxi needs about as much."""

_STEADY_M = 1.0
"""Barometer range over 3 s at rest, wind gusts at the static port included [m]."""

_GLIDE_M = 6.0
"""More than a barometer drifts within a flight [m]."""

_CARRIED_M_S = 3.0
"""Slower than this may be walking with the aircraft under the arm [m/s]."""

_FLYING_M_S = 6.0
"""Over this for long, with no way to tell height, is flight; attempts end within 20 s [m/s]."""

_LONG_S = 20.0

_DRIFT_M = 15.0
_GPS_DRIFT_M = 40.0
_DRIFT_M_MIN = 1.0
"""Heights of two rests that differ by more, in so many minutes, are of two places [m, m/min]."""

_UNDER_M = 5.0
"""So far below the ground that it left, it is over another place for good [m]."""

TOGETHER_S = 20.0
"""Ground contact shorter than this and without a standstill does not end a flight [s]."""


@dataclass(frozen=True, slots=True)
class Ground:
    """Where it rests, and how far above the ground it is.

    Attributes
    ----------
    rest : array of bool
        Surely at rest on the ground.
    above_m : array
        Height above the ground's line between rests; NaN where not known. [m]
    known : bool
        Whether there is any rest in the session. If not, ``above_m`` counts from the lowest
        height of the session.
    low_m, high_m : float
        Below ``low_m`` it may be on the ground, over ``high_m`` it is in the air: 1 and 2.5 m
        with a barometer, 3 and 6 m with GPS height.
    """

    rest: Mask
    above_m: Array
    known: bool
    low_m: float
    high_m: float


def spans(mask: Mask) -> list[Span]:
    """Give the runs of True."""
    edges = np.flatnonzero(np.diff(np.concatenate([[False], mask, [False]]).astype(np.int8)))
    return [(int(i), int(j)) for i, j in zip(edges[::2], edges[1::2], strict=True)]


def only_long(mask: Mask, steps: int) -> Mask:
    """Drop runs of True shorter than so many steps."""
    kept = np.zeros_like(mask)
    for i, j in spans(mask):
        if j - i >= steps:
            kept[i:j] = True
    return kept


def at_rest(e: Evidence) -> Mask:
    """Whether it surely stands on the ground.

    A multicopter that hovers is as slow and as steady: what tells it is the drive, or, when
    power is not logged, the shaking. With neither, 5 s of slow and steady must do.
    """
    speed_known, imu_known = np.isfinite(e.speed_m_s), np.isfinite(e.shake_rad_s)
    power_known = np.isfinite(e.power)
    quiet = e.shake_rad_s < _QUIET_RAD_S
    slow = (e.speed_m_s < SLOW_M_S) | (quiet & ~(e.speed_m_s >= _NOISY_M_S))
    blind = ~speed_known & ~imu_known & np.isfinite(e.height_m)
    off = np.where(power_known, e.power < POWER_OFF, quiet | ~imu_known)
    rest = (slow | blind) & off & _steady(e)
    informed = bool(power_known.any() or imu_known.any())
    long = only_long(rest, e.steps(2.0 if informed else 5.0))
    for i, j in spans(rest):  # of a rest that the log cuts off, less must do
        if (i == 0 or j == len(rest)) and j - i >= e.steps(1.0 if informed else 2.0):
            long[i:j] = True
    if e.has_baro and not speed_known.any():
        # a steady glide is quiet too: without speed only the lowest rests are believed
        heights = [
            (float(np.nanmin(e.height_m[i:j], initial=np.inf)), i, j) for i, j in spans(long)
        ]
        for height, i, j in heights:
            if height > min(heights)[0] + _GLIDE_M:
                long[i:j] = False
    return long


def _steady(e: Evidence) -> Mask:
    if not e.has_baro:
        return np.ones(len(e.time_s), dtype=bool)
    half = e.steps(1.5)
    known = np.isfinite(e.height_m)
    highest = np.pad(np.where(known, e.height_m, -np.inf), half, mode="edge")
    lowest = np.pad(np.where(known, e.height_m, np.inf), half, mode="edge")
    top = np.lib.stride_tricks.sliding_window_view(highest, 2 * half + 1).max(axis=1)
    bottom = np.lib.stride_tricks.sliding_window_view(lowest, 2 * half + 1).min(axis=1)
    return np.asarray(top - bottom < _STEADY_M)  # unknown height: -inf, does not object


def find_ground(e: Evidence) -> Ground:
    """Find the rests, and the height above the ground."""
    rest = at_rest(e)
    low, high = (1.0, 2.5) if e.has_baro else (3.0, 6.0)
    at: list[int] = []
    level: list[float] = []
    edge = e.steps(5.0)
    for i, j in spans(rest):
        for k, near in ((i, slice(i, min(j, i + edge))), (j, slice(max(i, j - edge), j))):
            if np.isfinite(e.height_m[near]).any():
                at.append(k)
                level.append(float(np.nanmedian(e.height_m[near])))
    zero: Array = np.zeros(1)
    if at:
        zero = np.interp(np.arange(len(e.time_s)), at, level)
        _place_on_other_ground(zero, e, at, level)
    elif np.isfinite(e.height_m).any():
        zero = np.full(1, np.nanmin(e.height_m))
    above = e.height_m - zero
    return Ground(rest, above, bool(rest.any()), low, high)


def _place_on_other_ground(zero: Array, e: Evidence, at: list[int], level: list[float]) -> None:
    """Between rests whose heights no drift explains, take the ground to be at one or the other.

    A glide from a hill into a valley follows the straight line between its rests closely, and
    would seem to be on the ground half of the time.
    """
    for (i, before), (j, after) in pairwise(zip(at, level, strict=True)):
        minutes = (j - i) * e.step_s / 60.0
        drift = (_DRIFT_M if e.has_baro else _GPS_DRIFT_M) + _DRIFT_M_MIN * minutes
        if abs(after - before) > drift:
            zero[i:j] = before
            lower = np.flatnonzero(e.height_m[i:j] < before - _UNDER_M)
            if len(lower):
                zero[i + int(lower[0]) : j] = min(before, after)


def find_flights(e: Evidence, ground: Ground) -> list[list[Span]]:
    """Give the stretches in the air, grouped into flights.

    Parts of one flight are apart by less than 20 s on the ground, without a rest between
    (touch-and-go); a flight may have several parts.
    """
    above = _bridge(ground.above_m)
    speed = _bridge(e.speed_m_s)
    if e.has_baro:
        up = above > ground.low_m
        if not ground.known:
            up |= speed > _FLYING_M_S
    else:
        up = (above > ground.low_m) & (speed > SLOW_M_S) | (speed > _FLYING_M_S - 1.0)
    up &= ~ground.rest
    parts = [s for s in spans(up) if _flies(e, ground, above, speed, s)]
    flights: list[list[Span]] = []
    for i, j in parts:
        last = flights[-1][-1][1] if flights else 0
        near = flights and i - last < e.steps(TOGETHER_S)
        if near and not ground.rest[last:i].any():
            flights[-1].append((i, j))
        else:
            flights.append([(i, j)])
    return flights


def _bridge(values: Array) -> Array:
    """Interpolate over silences of any length within a session; unknown ends stay NaN."""
    known = np.flatnonzero(np.isfinite(values))
    if not len(known):
        return values
    filled = np.interp(np.arange(len(values)), known, values[known])
    filled[: known[0]] = np.nan
    filled[known[-1] + 1 :] = np.nan
    return filled


def _flies(e: Evidence, ground: Ground, above: Array, speed: Array, span: Span) -> bool:
    """Whether a stretch off the ground is flight, by several sensors together.

    Height alone is not enough (a barometer warms up, a car climbs a hill, a hand lifts the
    aircraft on to a table), nor is speed alone (an attempt, a drive home).
    """
    i, j = span
    if (e.armed[i:j] == 0).all():
        return False  # the drive was locked all the time: it was carried or driven
    fast = int(np.sum(speed[i:j] > _CARRIED_M_S)) >= e.steps(2.0)
    very_fast = int(np.sum(speed[i:j] > _FLYING_M_S))
    high = len(spans(only_long(above[i:j] > ground.high_m, e.steps(1.0)))) > 0
    if not e.has_baro or not ground.known:
        gained = high and very_fast >= e.steps(3.0)
        sustained = very_fast >= e.steps(_LONG_S)
        if e.has_baro:
            gained |= fast and bool(np.any(above[i:j] > 2 * ground.high_m))
        return bool(gained or sustained) and not _towed(e, ground, span)
    if not high:
        return False
    if fast:
        return not _towed(e, ground, span)
    if np.isfinite(e.power[i:j]).any():
        return int(np.sum(e.power[i:j] > POWER_OFF)) >= e.steps(2.0)
    # slow, and power unknown: a multicopter shakes in the air, a drifting barometer does not
    shaken = int(np.sum(e.shake_rad_s[i:j] > _QUIET_RAD_S)) > 0.5 * (j - i)
    return shaken and bool(np.any(above[i:j] > 2 * ground.high_m))


def _towed(e: Evidence, ground: Ground, span: Span) -> bool:
    """Whether it left a rest and never used power: a car, or a walk."""
    i, j = span
    if e.power_source not in ("current", "throttle") or not ground.rest[:i].any():
        return False
    power = e.power[max(0, i - e.steps(15.0)) : j]
    return bool(np.isfinite(power).any()) and not bool(np.sum(power > POWER_OFF) >= e.steps(1.0))
