"""The corners of a flight: how long, far, high, fast, and how hard it was flown.

Every extreme is that of a short mean, so that no single sample defines it, and is freed of
the bias of picking the largest of noisy values (`flightlog.analyses.extremes`).
"""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flightlog.analyses.extremes import largest
from flightlog.analyses.heights import Heights, wheel_heights
from flightlog.analyses.loads import load_figures
from flightlog.analyses.phases import Sortie
from flightlog.analyses.track import Window, airborne_window, ground_distance
from flightlog.estimation.frames import Array
from flightlog.estimation.path import FlightPath
from flightlog.figures import Answer, Figure
from flightlog.inputs import Inputs
from flightlog.uncertain import Uncertain

if TYPE_CHECKING:
    from flightlog.recording import Recording

_NO_PATH = "the log has no positions that a path can be drawn through; log GPS"
_PATH_FIGURES = ("flight.distance", "flight.max_range", "flight.max_ground_speed")
_CORRELATION_S = 1.0
_AERIAL_STD_M = 1.0


def answer(
    recording: Recording,
    sortie: Sortie,
    path: FlightPath | None,
    inputs: Inputs,
    takeoff: Answer | None = None,
) -> Answer:
    """Give the flight.* figures of one sortie.

    Parameters
    ----------
    recording : Recording
        Airspeed, inertial sensors and attitude.
    sortie : Sortie
        Its bounds.
    path : FlightPath or None
        Smoothed path with heights.
    inputs : Inputs
        Pilot's position, aircraft file, mass.
    takeoff : Answer, optional
        Its "takeoff.liftoff_time" replaces the sortie's coarse time.
    """
    window = airborne_window(sortie, takeoff)
    figures: dict[str, Figure] = {}
    withheld: dict[str, str] = {}
    heights = wheel_heights(recording, sortie, path)
    _add_duration(window, figures, withheld)
    _add_height(heights, window, figures, withheld)
    if path is None or path.time_s.size < 2:
        withheld |= dict.fromkeys(_PATH_FIGURES, _NO_PATH)
    else:
        _add_distance(path, window, figures, withheld)
        _add_range(path, sortie, window, inputs, figures, withheld)
        _add_ground_speed(path, window, figures, withheld)
    loads = load_figures(recording, sortie, window, inputs, heights)
    figures |= loads.figures
    withheld |= loads.withheld
    return Answer(figures, withheld, loads.findings)


def seen_part(window: Window) -> str:
    """What the method of a figure adds when the log holds only part of the flight."""
    return f"; over the seen part only: {window.missing}" if window.missing else ""


def _add_duration(window: Window, figures: dict[str, Figure], withheld: dict[str, str]) -> None:
    if window.missing:
        withheld["flight.duration"] = (
            f"{window.missing}: the flight lasted at least {window.length_s:.1f} s; log from "
            "before the take-off until after the landing"
        )
        return
    sources = {"lift-off": window.start_std_s, "touchdown": window.end_std_s}
    figures["flight.duration"] = Figure(
        "flight.duration",
        Uncertain(window.length_s, sources, "s"),
        "lift-off to touchdown",
        ("gps",),
    )


def _add_distance(
    path: FlightPath, window: Window, figures: dict[str, Figure], withheld: dict[str, str]
) -> None:
    start = max(window.start_s, float(path.time_s[0]))
    distance = ground_distance(path, start, min(window.end_s, float(path.time_s[-1])))
    if distance is None:
        withheld["flight.distance"] = (
            "over 5 % of the flight has no positions; check the GPS reception"
        )
        return
    for name, time_s, std_s in (
        ("lift-off", window.start_s, window.start_std_s),
        ("touchdown", window.end_s, window.end_std_s),
    ):
        distance = distance.widened(_speed_at(path, time_s) * std_s, name)
    figures["flight.distance"] = Figure(
        "flight.distance",
        distance,
        f"integral of the smoothed ground speed{seen_part(window)}",
        ("gps",),
    )


def _speed_at(path: FlightPath, time_s: float) -> float:
    return float(np.interp(time_s, path.time_s, np.hypot(path.east_m_s, path.north_m_s)))


def _measured(path: FlightPath, window: Window) -> Array:
    """Rows of the path in the window and outside its gaps."""
    t = path.time_s
    rows = (t >= window.start_s) & (t <= window.end_s)
    for a, b in path.gaps_s:
        rows &= (t <= a) | (t >= b)
    return np.flatnonzero(rows).astype(float)


def _add_range(
    path: FlightPath,
    sortie: Sortie,
    window: Window,
    inputs: Inputs,
    figures: dict[str, Figure],
    withheld: dict[str, str],
) -> None:
    rows = _measured(path, window).astype(int)
    if rows.size == 0:
        withheld["flight.max_range"] = "no positions while airborne; check the GPS reception"
        return
    site = inputs.site
    if site is not None and site.pilot_deg is not None:
        lat, lon = (np.array([v]) for v in site.pilot_deg)
        east, north = (float(v[0]) for v in path.frame.east_north(lat, lon))
        # The pilot's position and a fix share no error.
        slow, of = math.hypot(path.drift_std_m, _AERIAL_STD_M), "the pilot's position"
    elif sortie.starts == "rest" or sortie.launch == "hand":
        at = np.clip(np.searchsorted(path.time_s, sortie.start_s), 0, path.time_s.size - 1)
        east, north = float(path.east_m[at]), float(path.north_m[at])
        slow, of = path.drift_std_m * math.sqrt(2), "the start"
    else:
        withheld["flight.max_range"] = (
            f"{window.missing or 'the log starts during the roll'}, so the start is unknown; give "
            "the pilot's position in the site file"
        )
        return
    distance = np.hypot(path.east_m[rows] - east, path.north_m[rows] - north)
    top = largest(path.time_s[rows], distance, path.position_std_m[rows], _CORRELATION_S)
    figures["flight.max_range"] = Figure(
        "flight.max_range",
        Uncertain(max(0.0, top.value), {"track noise": top.std, "position drift": slow}, "m"),
        f"smoothed track from {of}{seen_part(window)}",
        ("gps",),
    )


def _add_ground_speed(
    path: FlightPath, window: Window, figures: dict[str, Figure], withheld: dict[str, str]
) -> None:
    rows = _measured(path, window).astype(int)
    if rows.size == 0:
        withheld["flight.max_ground_speed"] = "no positions while airborne; check the GPS reception"
        return
    speed = np.hypot(path.east_m_s[rows], path.north_m_s[rows])
    top = largest(path.time_s[rows], speed, path.speed_std_m_s[rows], _CORRELATION_S)
    figures["flight.max_ground_speed"] = Figure(
        "flight.max_ground_speed",
        Uncertain(top.value, {"speed noise": top.std, "smoothing": 0.1}, "m/s"),
        f"smoothed ground speed{seen_part(window)}",
        ("gps",),
    )


def _add_height(
    heights: Heights | None,
    window: Window,
    figures: dict[str, Figure],
    withheld: dict[str, str],
) -> None:
    if heights is None:
        withheld["flight.max_height"] = "the log has no height; log a barometer"
        return
    if "starts" in window.missing:
        withheld["flight.max_height"] = (
            f"{window.missing}, so the height of the start is unknown; log from rest"
        )
        return
    t = heights.time_s
    rows = (t >= window.start_s) & (t <= window.end_s) & heights.seen(t)
    if not rows.any():
        withheld["flight.max_height"] = "no heights while airborne; log a barometer throughout"
        return
    top = largest(t[rows], heights.height_m[rows], heights.noise_std_m[rows], _CORRELATION_S)
    slow = heights.slow_errors(top.value, top.time_s)
    figures["flight.max_height"] = Figure(
        "flight.max_height",
        Uncertain(top.value, {"height noise": top.std, **slow}, "m"),
        f"smoothed {'barometric' if heights.barometric else 'GPS'} height{seen_part(window)}",
        ("baro", "gps") if heights.barometric else ("gps",),
    )
