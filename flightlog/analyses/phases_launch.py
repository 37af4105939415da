"""How a flight left the ground and came back: coarse instants, and the kind of launch."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

import numpy as np

from flightlog.analyses.phases_evidence import Evidence
from flightlog.analyses.phases_states import POWER_OFF, SLOW_M_S, Ground, Span
from flightlog.estimation.frames import Array

_HANDLED_RAD_S = 0.08
"""In hands before the launch it turns more than this, parked less [rad/s]."""

_THROW_M_S = 4.5
"""Speed gained within 1 s: a throw gives 5 and more, a roll 2 to 4 (thrust/weight 0.45) [m/s]."""

_NO_ROLL_M = 4.0
_SHORT_ROLL_M = 12.0
"""Way from rest to lift-off: no aircraft of this kind rolls less, and few roll so little [m]."""

_LATE_POWER_M_S = 3.0
"""A roll needs power to get to this speed; a run with the aircraft in hand does not [m/s]."""

_TAXI_M_S = 5.0
"""Faster than this it does not taxi [m/s]."""

_RISES_M_S = 4.0
"""Slower than this at a height of over 2 m, it rose on its rotors [m/s]."""

_PASSED_M = 2.0
_TO_PASSED_S = 2.2
"""A height that the barometer tells from its errors, and the usual time to it [m, s]."""

_RISING_M_S = 0.5
_SINKING_M_S = -0.3
"""Climb rate by GPS that is not noise: reached 0.6 s after lift-off, kept in a flare [m/s]."""

_SCREEN_M = 5.0
"""The take-off analysis wants to see past this height [m]."""


@dataclass(frozen=True, slots=True)
class Departure:
    """How a flight began.

    Attributes
    ----------
    launch : {"runway", "hand", "vertical", "air", "unknown"}
        Kind; "vertical" is a rise without a roll.
    starts : {"rest", "rolling", "air"}
        What the log shows first of it.
    start_s, liftoff_s : float, float or None
        Start of roll or launch, and lift-off. [s]
    search_s : tuple of float
        Window for the take-off analysis. [s]
    """

    launch: Literal["runway", "hand", "vertical", "air", "unknown"]
    starts: Literal["rest", "rolling", "air"]
    start_s: float
    liftoff_s: float | None
    search_s: tuple[float, float]


def find_departure(e: Evidence, ground: Ground, first: Span, free: int) -> Departure:
    """Find start and lift-off of a flight.

    Parameters
    ----------
    e, ground : Evidence, Ground
        The session.
    first : (int, int)
        The flight's first stretch in the air.
    free : int
        Step before which everything belongs to an earlier flight.
    """
    begin = float(e.time_s[free])
    shown = _first_known(e, free)
    if _starts_in_air(e, ground, first, shown):
        return Departure("air", "air", begin, None, (begin, _passes_screen(e, shown, shown)))
    top = _first_above(ground, first)
    airborne, lowest = _leaves(e, ground, top, free)
    moving = _starts_moving(e, ground, airborne, free)
    liftoff_s = max(begin, float(e.time_s[airborne]) - 0.5)
    rolled_s = max(begin, _climbs_from(e, ground, first, top))
    end_s = _passes_screen(e, airborne, lowest)
    if moving is None:
        return Departure("unknown", "rolling", begin, rolled_s, (begin, end_s))
    start_s = _back_to_zero(e, moving)
    launch = _kind(e, ground, moving, airborne, top)
    if launch == "runway":
        liftoff_s = rolled_s
    else:
        start_s = liftoff_s
    start_s = min(max(begin, start_s), liftoff_s)
    return Departure(launch, "rest", start_s, liftoff_s, (_rests_before(e, start_s, free), end_s))


def _typical(values: Array) -> float:
    """Median of the known values; NaN, which compares as False, when there is none."""
    known = values[np.isfinite(values)]
    return float(np.median(known)) if len(known) else float("nan")


def _first_known(e: Evidence, free: int) -> int:
    known = np.flatnonzero(np.isfinite(e.speed_m_s[free:]) | np.isfinite(e.height_m[free:]))
    return free + int(known[0]) if len(known) else free


def _starts_in_air(e: Evidence, ground: Ground, first: Span, shown: int) -> bool:
    """Whether the session's first data show it flying already."""
    i, j = first
    if i > shown + e.steps(1.0) or ground.rest[:i].any():
        return False
    second = e.steps(1.0)
    speed = e.speed_m_s[i:j]
    at_first = _typical(e.speed_m_s[i : i + second])
    later = _typical(e.speed_m_s[i + 3 * second : i + 4 * second])
    gains = at_first < 0.6 * _typical(speed) and later > at_first + 2.0
    if not e.has_baro or not ground.known:
        return not gains
    # with drift the ground may seem metres away: a speed that builds up at a constant height
    # is a roll all the same
    height = e.height_m[i : i + 2 * second]
    level = np.isfinite(height).any() and np.nanmax(height) - np.nanmin(height) < 0.8
    return bool(ground.above_m[i] > ground.low_m) and not (gains and level)


def _first_above(ground: Ground, span: Span) -> int:
    i, j = span
    over = np.flatnonzero(ground.above_m[i:j] > ground.high_m)
    return i + int(over[0]) if len(over) else j - 1


def _leaves(e: Evidence, ground: Ground, top: int, free: int) -> tuple[int, int]:
    """Give the last step at the height of the ground before ``top``, and the lowest step."""
    rests = np.flatnonzero(ground.rest[free:top])
    # the lowest, not the mean: pressure errors at speed push the barometer down by 0.5 m
    low = max(free, top - e.steps(15.0), free + int(rests[-1]) if len(rests) else 0)
    height = e.height_m[low : top + 1]
    if not np.isfinite(height).any():
        return low, low
    lowest = low + int(np.nanargmin(height))
    margin = 0.4 if e.has_baro else 1.0
    on_ground = np.flatnonzero(e.height_m[lowest : top + 1] <= e.height_m[lowest] + margin)
    return lowest + int(on_ground[-1]), lowest


def _climbs_from(e: Evidence, ground: Ground, first: Span, top: int) -> float:
    """Give the time of lift-off from a roll, from the time of passing 2 m.

    Near the ground the barometer errs by half a metre, and what leaves a runway accelerates
    upwards by 0.7 to 1.3 m/s2: 1.7 to 2.9 s to 2 m, on 18 take-offs with known truth.
    """
    i, _ = first
    below = np.flatnonzero(~(ground.above_m[i : top + 1] > _PASSED_M))
    passed = min(i + int(below[-1]) + 1 if len(below) else i, top)
    passed_s = float(e.time_s[passed])
    if e.has_baro or not e.has_climb:
        return passed_s - _TO_PASSED_S
    # GPS height wanders by metres, its rate does not
    begin = max(0, top - e.steps(15.0))
    flat = np.flatnonzero(_rise(e)[begin : top + 1] < _RISING_M_S)
    left_s = float(e.time_s[begin + int(flat[-1])]) - 0.6 if len(flat) else passed_s
    return min(passed_s, max(passed_s - _TO_PASSED_S, left_s))


def _rise(e: Evidence) -> Array:
    """Rate of change of the height, over 1 s [m/s]."""
    half = e.steps(0.5)
    ends = np.pad(e.height_m, half, mode="edge")
    rise: Array = (ends[2 * half :] - ends[: -2 * half]) / (2 * half * e.step_s)
    return rise


def _starts_moving(e: Evidence, ground: Ground, airborne: int, free: int) -> int | None:
    """Give the last slow step before lift-off; None when the log shows none."""
    speed = e.speed_m_s[free : airborne + 1]
    if not np.isfinite(speed).any():
        rests = np.flatnonzero(ground.rest[free : airborne + 1])
        return free + int(rests[-1]) if len(rests) else None
    slow = np.flatnonzero(speed < SLOW_M_S)
    if len(slow):
        moving = free + int(slow[-1])
    elif free > 0:
        moving = free + int(np.nanargmin(speed))  # from one landing into the next roll
    else:
        return None
    begun = moving - _first_known(e, free) < e.steps(1.0)
    if begun and not ground.rest[free : moving + 1].any() and e.power[moving] > 0.5:
        return None  # the first second of data is already under power: the roll had begun
    # no stop between taxiing and the roll: it starts when the power comes on
    if e.power_source in ("current", "throttle"):
        idle = np.flatnonzero(e.power[moving : airborne + 1] < POWER_OFF)
        late = moving + int(idle[-1]) if len(idle) else moving
        if late - moving > e.steps(4.0) and e.speed_m_s[late] < _TAXI_M_S:
            return late
    return moving


def _back_to_zero(e: Evidence, moving: int) -> float:
    """Extrapolate the speed back from 1 m/s."""
    later = min(len(e.time_s) - 1, moving + e.steps(1.0))
    span_s = float(e.time_s[later] - e.time_s[moving])
    gain = float(e.speed_m_s[later] - e.speed_m_s[moving])
    if not span_s > 0 or not gain > 0.5:
        return float(e.time_s[moving])
    return float(e.time_s[moving]) - min(1.0, float(e.speed_m_s[moving]) * span_s / gain)


def _kind(
    e: Evidence, ground: Ground, moving: int, airborne: int, top: int
) -> Literal["runway", "hand", "vertical"]:
    """Tell a roll, a throw and a rise on rotors apart.

    A throw shows by any two of: speed jumps within a second; the way from rest is short;
    power came on only at a running pace; the aircraft turned in hands just before.
    """
    second = e.steps(1.0)
    until = max(airborne, moving) + second
    speed = e.speed_m_s[moving : until + 1]
    if not np.isfinite(speed).any():
        return "runway" if airborne - moving > 2 * second else "vertical"
    windy = bool(np.any(e.airspeed_m_s[airborne : top + 1] > 2 * _RISES_M_S))
    if not windy and not np.any(e.speed_m_s[moving : top + 1] >= _RISES_M_S):
        return "vertical"
    way_m = float(np.nansum(e.speed_m_s[moving : airborne + 1])) * e.step_s
    jump = speed[second:] - speed[:-second] if len(speed) > second else np.zeros(1)
    before = e.shake_rad_s[max(0, moving - 5 * second) : max(1, moving - second)]
    # A way too short for a roll at the pace of a roll is a lift-off that was placed too early,
    # by a barometer that a gust moved; it says nothing about a throw.
    misplaced = way_m < _NO_ROLL_M and not np.any(jump > _THROW_M_S)
    signs = [
        bool(np.any(jump > _THROW_M_S)),
        way_m < _SHORT_ROLL_M and not misplaced,
        _late_power(e, moving, until),
        _typical(before) > _HANDLED_RAD_S,
    ]
    return "hand" if sum(signs) >= 2 else "runway"


def _late_power(e: Evidence, moving: int, until: int) -> bool:
    """Whether it had a running pace before the drive came on."""
    if not e.power_source:
        return False
    paced = np.flatnonzero(e.speed_m_s[moving : until + 1] > _LATE_POWER_M_S)
    if not len(paced):
        return False
    k = moving + int(paced[0])
    power = e.power[max(0, k - e.steps(1.0)) : k + 1]
    return bool(np.isfinite(power).any()) and not bool(np.any(power >= POWER_OFF))


def _passes_screen(e: Evidence, airborne: int, lowest: int) -> float:
    """Give the time 5 s after passing 5 m, or 20 s on; never past the session's end."""
    over = np.flatnonzero(e.height_m[airborne:] > e.height_m[lowest] + _SCREEN_M)
    wanted = airborne + (int(over[0]) + e.steps(5.0) if len(over) else e.steps(20.0))
    return float(e.time_s[min(wanted, len(e.time_s) - 1)])


def _rests_before(e: Evidence, start_s: float, free: int) -> float:
    """Give the start of the search: up to 10 s before the roll, all of it standing still."""
    start = int(np.searchsorted(e.time_s, start_s))
    earliest = max(free, start - e.steps(10.0))
    moves = np.flatnonzero(e.speed_m_s[earliest:start] > 2 * SLOW_M_S)
    # taxiing before the roll is not rest; neither is the motion of the roll itself
    moves = moves[moves < start - earliest - e.steps(1.0)]
    return float(e.time_s[earliest + (int(moves[-1]) + 1 if len(moves) else 0)])


@dataclass(frozen=True, slots=True)
class Arrival:
    """How a flight ended.

    Attributes
    ----------
    ends : {"standstill", "air", "log"}
        See `flightlog.analyses.phases.Sortie`.
    touchdown_s : float or None
        Last touchdown. [s]
    end_s : float
        Standstill, or the last that the log shows. [s]
    """

    ends: Literal["standstill", "air", "log"]
    touchdown_s: float | None
    end_s: float


def find_arrival(
    e: Evidence, ground: Ground, last: Span, free: int, *, rotors: bool = False
) -> Arrival:
    """Find touchdown and standstill of a flight.

    Parameters
    ----------
    e, ground : Evidence, Ground
        The session.
    last : (int, int)
        The flight's last stretch in the air.
    free : int
        Step from which everything belongs to a later flight, or the number of steps.
    rotors : bool
        Whether it flies on rotors: it then flies for as long as they are driven.
    """
    i, j = last
    known = np.flatnonzero(np.isfinite(e.height_m[:free]) | np.isfinite(e.speed_m_s[:free]))
    final = int(known[-1]) if len(known) else free - 1
    rests = np.flatnonzero(ground.rest[j - 1 : free])
    still = _stands_still(e, j, free)
    if not len(rests) and still is None and j > final - e.steps(1.0):
        if not _slowed_down(e, ground, last):
            return Arrival("air", None, float(e.time_s[final]))
    stop = still if still is not None else (j - 1 + int(rests[0]) if len(rests) else final)
    stop = max(stop, j)
    touch = _touches(e, ground, last, stop)
    if rotors:
        touch = max(touch, _rotors_stop(e, i, stop))
    touch = min(touch, stop)
    touchdown_s = float(e.time_s[min(touch, len(e.time_s) - 1)])
    if still is None and not len(rests):
        # a taxi straight into the next take-off: cut where it was slowest
        between = e.speed_m_s[j:free]
        cut = j + int(np.nanargmin(between)) if np.isfinite(between).any() else final
        end_s = float(e.time_s[min(cut if free < len(e.time_s) else final, final)])
        return Arrival("log", touchdown_s, max(end_s, touchdown_s))
    end_s = min(_on_to_zero(e, min(stop, final)), float(e.time_s[min(free, final + 1) - 1]))
    return Arrival("standstill", touchdown_s, max(end_s, touchdown_s))


def _stands_still(e: Evidence, j: int, free: int) -> int | None:
    """Give the first step from which it stays slow for 1.5 s."""
    begin = max(0, j - e.steps(1.0))
    # driven on, it is not done yet: a multicopter hovers low, a roll goes on
    driven = e.power[begin:free] > 2 * POWER_OFF
    slow = (e.speed_m_s[begin:free] < SLOW_M_S) & ~driven
    need = e.steps(1.5)
    run = np.convolve(slow, np.ones(need), mode="valid") if len(slow) >= need else np.zeros(0)
    where = np.flatnonzero(run > need - 0.5)
    return begin + int(where[0]) if len(where) else None


def _rotors_stop(e: Evidence, i: int, still: int) -> int:
    """Give the step after the last driven one before the standstill."""
    driven = np.flatnonzero(e.power[i : still + 1] > 2 * POWER_OFF)
    return i + int(driven[-1]) + 1 if len(driven) else i


def _slowed_down(e: Evidence, ground: Ground, last: Span) -> bool:
    """Whether a log that stops in the last stretch off the ground had landed by then."""
    i, j = last
    if ground.known and e.has_baro:
        return False
    speed = e.speed_m_s[i:j]
    if not np.isfinite(speed).any():
        return False
    return _typical(speed[-e.steps(1.0) :]) < 0.5 * _typical(speed)


def _touches(e: Evidence, ground: Ground, last: Span, stop: int) -> int:
    """Give the step of the last touchdown.

    Where the height comes back to that of the standstill; without a barometer the hardest
    shock of the last seconds tells better than GPS height.
    """
    i, j = last
    over = np.flatnonzero(ground.above_m[i:j] > ground.high_m)
    high = i + int(over[-1]) if len(over) else i
    after = e.height_m[stop : stop + e.steps(3.0)]
    if not np.isfinite(after).any():
        after = e.height_m[max(i, j - 1) : stop + 1]
    if not np.isfinite(after).any():
        return stop
    margin = 0.3 if e.has_baro else 1.0
    back = np.flatnonzero(e.height_m[high : stop + 1] <= _typical(after) + margin)
    touch = high + int(back[0]) if len(back) else stop
    if not e.has_baro:
        begin = max(i, touch - e.steps(3.0))
        shock = e.shock_m_s2[begin : stop + 1]
        if np.isfinite(shock).any():
            return begin + int(np.nanargmax(shock))
        if not e.has_climb:
            return touch
        sinks = np.flatnonzero(_rise(e)[touch : stop + 1] < _SINKING_M_S)
        return touch + int(sinks[-1]) if len(sinks) else touch
    return touch


def _on_to_zero(e: Evidence, stop: int) -> float:
    """Extrapolate the speed from 1 m/s to zero."""
    before = max(0, stop - e.steps(1.0))
    span_s = float(e.time_s[stop] - e.time_s[before])
    loss = float(e.speed_m_s[before] - e.speed_m_s[stop])
    if not span_s > 0 or not loss > 0.5:
        return float(e.time_s[stop])
    return float(e.time_s[stop]) + min(1.0, float(e.speed_m_s[stop]) * span_s / loss)
