"""Take-off distance to a screen height: start of roll to wheels at that height.

The height comes from rule book or site; it decides the distance more than anything else, so
without one the figure is withheld. The instant is where the smoothed height of the path
passes it; the distance is along the ground from the start of roll. Below 3 m the barometer's
ground-effect error is a large share of the height, and the interval says so.
"""

from __future__ import annotations

import math

import numpy as np

from flightlog.analyses.takeoff import Takeoff
from flightlog.estimation.path import FlightPath
from flightlog.figures import Answer, Figure
from flightlog.inputs import Inputs
from flightlog.uncertain import Posterior, Uncertain

FIGURE = "takeoff.distance_to_screen"

GROUND_EFFECT_STD_M = 0.35
"""Barometer error near the ground at flying speed: a few hundredths of dynamic pressure. [m]"""


def answer(takeoff: Takeoff, path: FlightPath | None, inputs: Inputs) -> Answer:
    """``takeoff.distance_to_screen``, or why it can't be had.

    Parameters
    ----------
    takeoff : Takeoff
        Measured; its track carries the distance from the start of roll.
    path : FlightPath or None
        Smoothed heights and speeds.
    inputs : Inputs
        ``screen_height_m`` of the rule book, else that of the site.
    """
    site = inputs.site.screen_height_m if inputs.site is not None else None
    height = inputs.screen_height_m if inputs.screen_height_m is not None else site
    if height is None:
        return _withheld("no screen height is given: the rule book or the site file gives one")
    if takeoff.track is None or takeoff.liftoff_s is None:
        return _withheld("the ground roll itself is withheld")
    if path is None or path.height_m is None or path.height_std_m is None:
        return _withheld("the log has no height: log a barometer")
    passed = _passage(path, takeoff.liftoff_s, height)
    if passed is None:
        return _withheld(f"the aircraft did not climb through {height:g} m in the log")
    time_s, time_std = passed
    distance = _distance(takeoff, path, time_s)
    speed = float(np.interp(time_s, path.time_s, np.hypot(path.east_m_s, path.north_m_s)))
    std = math.hypot(distance.std, speed * time_std)
    figure = Figure(
        FIGURE,
        Uncertain.of(distance.value, std, "m", source="screen"),
        f"smoothed track to wheels at {height:g} m",
        ("gps", "baro"),
    )
    return Answer({FIGURE: figure})


def _withheld(reason: str) -> Answer:
    return Answer(withheld={FIGURE: reason})


def _passage(path: FlightPath, liftoff_s: float, height_m: float) -> tuple[float, float] | None:
    """Time of passing the height and its standard uncertainty. [s]"""
    if path.height_m is None or path.height_std_m is None:
        return None
    after = np.flatnonzero((path.time_s > liftoff_s) & (path.height_m >= height_m))
    if not after.size or after[0] == 0:
        return None
    k = int(after[0])
    h0, h1 = float(path.height_m[k - 1]), float(path.height_m[k])
    t0, t1 = float(path.time_s[k - 1]), float(path.time_s[k])
    part = (height_m - h0) / (h1 - h0) if h1 > h0 else 1.0
    # The slope over a second: that of one step is mostly noise.
    near = np.interp([t1 - 0.5, t1 + 0.5], path.time_s, path.height_m)
    rate = max(float(near[1] - near[0]), 0.3)
    std = math.hypot(float(path.height_std_m[k]), GROUND_EFFECT_STD_M) / rate
    return t0 + min(max(part, 0.0), 1.0) * (t1 - t0), math.hypot(std, 0.05)


def _distance(takeoff: Takeoff, path: FlightPath, time_s: float) -> Posterior | Uncertain:
    """Distance from the start of roll at an instant. [m]"""
    track = takeoff.track
    if track is None:
        raise ValueError("a distance needs a track")
    known = min(time_s, float(track.time_s[-1]))
    value, std, _, _ = track.at(np.array([known]))
    mean = float(value[0] @ track.weight)
    spread = math.sqrt(
        float(std[0] ** 2 @ track.weight) + float((value[0] - mean) ** 2 @ track.weight)
    )
    rest = 0.0
    if time_s > known:
        inside = (path.time_s >= known) & (path.time_s <= time_s)
        speed = np.hypot(path.east_m_s, path.north_m_s)[inside]
        rest = float(np.mean(speed)) * (time_s - known) if speed.size else 0.0
    return Uncertain.of(mean + rest, math.hypot(spread, 0.02 * rest + 0.2), "m", source="track")
