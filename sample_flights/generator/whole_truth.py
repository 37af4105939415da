"""Truth of whole flights that only some analyses ask for: pack, touchdown, surfaces."""

from __future__ import annotations

from itertools import pairwise
from typing import Any

import numpy as np

from . import aircraft as ac
from . import truth
from .dynamics import STEP
from .run import Flown

SLOW_SHARES = ((0.55, 5.0), (0.70, 110.0))
"""Slow parts of the pack's resistance: share of the ohmic one, time constant [s]."""


def response(resistance: float, seconds: float) -> float:
    """Voltage drop over a step of current, that long after it. [ohm]"""
    slow = sum(share * (1.0 - np.exp(-seconds / tau)) for share, tau in SLOW_SHARES)
    return float(resistance * (1.0 + slow))


def battery_truth(flown: Flown, boot: float, kelvin: float, resistance_25: float) -> dict[str, Any]:
    """What the pack is, and its noise-free course at 10 Hz.

    ``r0_ohm`` is the ohmic part. The drop a time t after a step of current is
    ``R(t) = r0 (1 + 0.55 (1 - exp(-t/5 s)) + 0.70 (1 - exp(-t/110 s)))``; ``r_1s_ohm`` is R(1 s),
    and ``_25c_ohm`` the same for the pack at 25 °C: r0 goes as exp(1800 K (1/T - 1/298.15 K)).
    The open-circuit voltage falls with the charge used besides.
    """
    r0 = flown.setting.build["resistance"]
    when = np.arange(0.0, flown.time[-1], 0.1)
    course = {
        name: np.interp(when, flown.time, flown[key]).astype(np.float32)
        for name, key in (
            ("voltage_v", "voltage"), ("current_a", "current"), ("charge_c", "charge"))
    }  # fmt: skip
    return {
        "r0_ohm": r0,
        "r_1s_ohm": response(r0, 1.0),
        "r_5s_ohm": response(r0, 5.0),
        "r_60s_ohm": response(r0, 60.0),
        "r0_25c_ohm": resistance_25,
        "r_1s_25c_ohm": response(resistance_25, 1.0),
        "temperature_k": kelvin,
        "charge_state": flown.setting.build["charge_state"],
        "capacity_c": ac.CAPACITY,
        "course": {"time_s": when + boot, **course},
    }


def wheel_climb(flown: Flown) -> np.ndarray[Any, np.dtype[np.float64]]:
    """Vertical speed of the lower main wheel's contact point over the sloping ground. [m/s]"""
    pitch, roll = flown["pitch"].astype(float), flown["roll"].astype(float)
    forward, below = ac.WHEEL_FORWARD[1], ac.WHEEL_BELOW[1]
    arm = np.cos(pitch) * forward + np.sin(pitch) * below
    low = np.where(roll < 0.0, ac.WHEEL_RIGHT[1], ac.WHEEL_RIGHT[2])
    slope = flown.setting.build["slope"]
    return np.asarray(
        flown["vh"] + arm * flown["pitch_rate"] - low * flown["roll_rate"] - slope * flown["vs"]
    )


def landing_truth(flown: Flown, boot: float) -> dict[str, Any]:
    """Touchdown as it was.

    ``wheel_sink_m_s`` is that of the lower main wheel over the ground just before the first
    contact of any wheel, ``centre_sink_m_s`` that of the centre of gravity over the slope;
    ``peak_load_factor`` the greatest 10 ms mean of -fz at the centre of gravity over standard
    gravity until standstill; bounces are losses of contact of all wheels by how long they last.
    """
    m = truth.motion(flown)
    high = np.flatnonzero(m.wheel_height > truth.UP_FOR_GOOD)
    touch = int(high[-1]) + int(np.flatnonzero(m.touching[high[-1] :])[0])
    stopped = touch + int(np.flatnonzero(m.speed[touch:] <= truth.MOVING)[0])
    airborne = ~m.touching[touch:stopped]
    edges = np.flatnonzero(np.diff(airborne.astype(np.int8))) + 1
    bounds = [0, *edges.tolist(), stopped - touch]
    gaps = [(b - a) * STEP for a, b in pairwise(bounds) if airborne[a]]
    heights = [float(m.wheel_height[touch + a : touch + b].max()) for a, b in pairwise(bounds)
               if airborne[a]]  # fmt: skip
    four = 4  # steps: 10 ms
    force = -flown["fz"][touch - 40 : stopped].astype(float)
    mean = np.convolve(force, np.full(four, 1.0 / four), "valid")
    peak = int(np.argmax(mean))
    slope = flown.setting.build["slope"]
    walk = touch + int(np.flatnonzero(m.speed[touch:] <= 1.0)[0])
    before = touch - 1
    return {
        "t_touch": float(m.time[touch]) + boot,
        "wheel_sink_m_s": float(-wheel_climb(flown)[before]),
        "centre_sink_m_s": float(slope * flown["vs"][before] - flown["vh"][before]),
        "touch_speed_m_s": float(m.speed[touch]),
        "touch_airspeed_m_s": float(flown["airspeed"][touch]),
        "touch_pitch_deg": float(np.degrees(flown["pitch"][touch])),
        "first_contact": int(flown["contact"][touch]),
        "peak_load_factor": float(mean[peak]) / ac.GRAVITY,
        "t_peak": float(m.time[touch - 40 + peak]) + boot,
        "peak_wheel_load_n": float(flown["wheel_load"][touch:stopped].max()),
        "gaps_s": gaps,
        "gap_heights_m": heights,
        "bounces_0p08s": int(sum(g > 0.08 for g in gaps)),
        "bounces_5cm": int(sum(h > 0.05 for h in heights)),
        "roll_out_m": truth.path_length(m, touch, stopped),
        "roll_out_to_1m_s_m": truth.path_length(m, touch, walk),
        "t_stop": float(m.time[stopped]) + boot,
    }


def surface_truth(flown: Flown, boot: float) -> dict[str, Any]:
    """Deflections at 50 Hz [deg, trailing edge down or left positive], and what the servos do.

    ``elevator`` is the surface, ``elevator_servo`` what its servo asks of it;
    ``in_gap_share`` the share of the time in the air in which the play was not used up.
    """
    every = slice(0, None, 8)
    signs = {"elevator": -1.0, "elevator_servo": -1.0, "aileron": -1.0, "rudder": 1.0}
    course = {k: (s * np.degrees(flown[k][every])).astype(np.float32) for k, s in signs.items()}
    air = flown["wheel_height"] > 2.0
    half = 0.5 * flown.setting.build["play"]
    gap = np.abs(flown["elevator"] - flown["elevator_servo"])[air]
    starts = {word: t for t, word in flown.events}
    level = (flown.time > starts["cruise"] + 3.0) & (flown.time < starts["let_down"])
    level &= np.abs(flown["roll"]) < 0.09
    pressure = 0.5 * flown.setting.build["air_density"] * flown["airspeed"][level] ** 2
    effect = pressure * ac.WING_AREA * ac.CHORD * ac.CM_ELEVATOR
    effect = effect / (ac.INERTIA_PITCH * flown.setting.build["mass"] / 8.0)
    return {
        "course": {"time_s": flown.time[every] + boot, **course},
        "servo_time_s": ac.SERVO_TIME,
        "elevator_play_deg": float(np.degrees(flown.setting.build["play"])),
        "in_gap_share": float(np.mean(gap < 0.98 * half)) if half else 0.0,
        "trim_deg": {
            k: float(s * np.degrees(np.median(flown[k][level]))) for k, s in signs.items()
        },
        "elevator_effect_1_s2": float(effect.mean()) if level.any() else None,
    }
