"""What really happened: events, distances and energy from the simulated motion itself."""

from __future__ import annotations

from dataclasses import dataclass
from math import hypot
from typing import Any

import numpy as np

from . import aircraft as ac
from .aircraft import Array
from .dynamics import STEP
from .geodesy import Place
from .run import Flown

MOVING = 0.05  # m/s: start of roll and standstill
UP_FOR_GOOD = 2.0  # m: height of the wheels after which contact is a landing
BRIEF = 0.02  # s: shorter losses of contact are the tyre's business, not a hop
CLEAR_HEIGHTS = (1, 2, 3, 5, 10, 15, 20, 30)


@dataclass
class Motion:
    """Quantities that events are found in: all arrays over `Flown.time`."""

    time: Array
    s: Array
    c: Array
    speed: Array
    wheel_height: Array
    touching: np.ndarray[Any, np.dtype[np.bool_]]


def wheel_track(flown: Flown) -> tuple[Array, Array]:
    """Path of the middle of the main axle. [m]"""
    pitch, yaw = flown["pitch"].astype(float), flown["yaw"].astype(float)
    ahead = -ac.CENTRE_TO_AXLE * np.cos(pitch) - 0.22 * np.sin(pitch)
    return flown["s"] + ahead * np.cos(yaw), flown["c"] + ahead * np.sin(yaw)


def motion(flown: Flown) -> Motion:
    """Pick what the events need."""
    s, c = wheel_track(flown)
    speed = np.hypot(flown["vs"].astype(float), flown["vc"].astype(float))
    return Motion(flown.time, s, c, speed, flown["wheel_height"].astype(float),
                  flown["contact"] > 0)  # fmt: skip


def last_rise(speed: Array, before: int, first: int = 0) -> int:
    """Index of the last rise through `MOVING` before index ``before``."""
    slow = np.flatnonzero(speed[first:before] <= MOVING)
    return first + int(slow[-1]) + 1 if slow.size else first


@dataclass
class TakeOffIndices:
    """Where in the arrays the events of one take-off lie."""

    start: int
    first_airborne: int
    liftoff: int
    two_metres: int
    contacts: int


def find_takeoff(m: Motion, first: int, last: int) -> TakeOffIndices | None:
    """Events of the take-off between indices ``first`` and ``last``, None without one."""
    high = np.flatnonzero(m.wheel_height[first:last] >= UP_FOR_GOOD)
    if not high.size:
        return None
    two = first + int(high[0])
    liftoff = first + int(np.flatnonzero(m.touching[first:two])[-1]) + 1
    start = last_rise(m.speed, liftoff, first)
    airborne = ~m.touching[start : liftoff + 1]
    edges = np.flatnonzero(np.diff(airborne.astype(np.int8)))
    begins = edges[airborne[edges + 1]] + 1
    ends = edges[~airborne[edges + 1]] + 1
    ends = np.append(ends, [two - start] * (begins.size - ends.size))
    long = (ends - begins) * STEP >= BRIEF
    hops = begins[long]
    first_airborne = start + int(hops[0]) if hops.size else liftoff
    return TakeOffIndices(start, first_airborne, liftoff, two, int(hops.size))


def describe_takeoff(
    flown: Flown, m: Motion, k: TakeOffIndices, place: Place, boot: float, end: int
) -> dict[str, Any]:
    """Truth of one take-off, by the names that the logs' own truth files use.

    Parameters
    ----------
    flown, m, k
        The flight, its motion and the indices of its events.
    place : Place
        Where the runway is.
    boot : float
        Log time at the simulation's time 0. [s]
    end : int
        Index at which this flight is over.
    """

    def along(i: int) -> float:
        return hypot(m.s[i] - m.s[k.start], m.c[i] - m.c[k.start])

    def clock(i: int) -> float:
        return float(m.time[i]) + boot

    start_ne = place.north_east(m.s[k.start], m.c[k.start])
    lift_ne = place.north_east(m.s[k.liftoff], m.c[k.liftoff])
    roll = slice(k.start, k.liftoff)
    throttle_up = [t for t, word in flown.events if word == "roll" and t <= m.time[k.start] + 0.1]
    above = m.wheel_height[: k.two_metres]
    low = np.flatnonzero(above < 0.1)
    last_low = int(low[-1]) + 1
    skips = slice(k.first_airborne, k.liftoff + 1)
    return {
        "t_throttle_up": throttle_up[-1] + boot,
        "t_brake_release": throttle_up[-1] + flown.setting.plan.hold + boot,
        "t_start_roll": clock(k.start),
        "t_first_airborne": clock(k.first_airborne),
        "t_liftoff": clock(k.liftoff),
        "ground_roll_time_s": float(m.time[k.liftoff] - m.time[k.start]),
        "start_pos_ne_m": [float(start_ne[0]), float(start_ne[1])],
        "start_latlon": place.point(m.s[k.start], m.c[k.start]),
        "liftoff_pos_ne_m": [float(lift_ne[0]), float(lift_ne[1])],
        "liftoff_latlon": place.point(m.s[k.liftoff], m.c[k.liftoff]),
        "ground_roll_m": along(k.liftoff),
        "ground_roll_path_m": path_length(m, k.start, k.liftoff),
        "contacts_before_2m": k.contacts,
        "first_airborne_dist_m": along(k.first_airborne),
        "hop_max_height_m": max(float(m.wheel_height[skips].max()), 0.0) if k.contacts > 1 else 0.0,
        "dist_at_last_0p1m_m": along(last_low),
        "t_at_last_0p1m": clock(last_low),
        "liftoff_groundspeed": float(m.speed[k.liftoff]),
        "liftoff_tas": float(flown["airspeed"][k.liftoff]),
        "liftoff_pitch_deg": float(np.degrees(flown["pitch"][k.liftoff])),
        "clear": _clear(m, k, clock, along, end),
        "headwind_mean_roll_mps": -float(flown["wind_s"][roll].mean()),
        "crosswind_from_right_mean_roll_mps": -float(flown["wind_c"][roll].mean()),
    }


def path_length(m: Motion, i: int, j: int) -> float:
    """Length of the path between two indices. [m]"""
    return float(np.hypot(np.diff(m.s[i : j + 1]), np.diff(m.c[i : j + 1])).sum())


def _clear(m: Motion, k: TakeOffIndices, clock: Any, along: Any, end: int) -> dict[str, Any]:
    found = {}
    for height in CLEAR_HEIGHTS:
        over = np.flatnonzero(m.wheel_height[k.liftoff : end] >= height)
        if over.size:
            i = k.liftoff + int(over[0])
            found[str(height)] = {
                "t": clock(i),
                "t_from_roll_s": float(m.time[i] - m.time[k.start]),
                "dist_m": along(i),
                "path_m": path_length(m, k.start, i),
            }
    return found
