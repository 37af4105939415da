"""The landing as a picture: height of the wheels and load factor about the first contact."""

from __future__ import annotations

import numpy as np

from flightlog.analyses.landing_data import gather_landing
from flightlog.constants import G0_M_S2
from flightlog.estimation.touchdown import locate_touchdown
from flightlog.inputs import Inputs
from flightlog.operations.flight_view import FlightView
from flightlog.recording import Recording
from flightlog.reports.chart import Array, Chart, Line, Mark, Panel, Spot
from flightlog.reports.chart_pieces import banded, bounds, series
from flightlog.reports.flown_path import SIGMAS, FlownPath
from flightlog.reports.stored_words import figure_text

TITLE = "Landing"
SINK, PEAK = "landing.sink_rate", "landing.peak_load_factor"
BEFORE_S, AFTER_S = 5.0, 5.0
"""The picture goes from so long before the first contact to so long after it. [s]"""
_TANGENT_S = 1.5
"""So long the sink rate is drawn on as a straight line. [s]"""


def landing_chart(view: FlightView, path: FlownPath | None, why: str) -> Chart:
    """Draw height and load factor against the time from the first contact.

    Parameters
    ----------
    view : FlightView
        The flight.
    path : FlownPath or None
        Its path.
    why : str
        Why there is no log.
    """
    if view.recording is None:
        return Chart("landing", TITLE, lacking=why)
    touch = _touch(view, view.recording)
    if touch is None:
        return Chart("landing", TITLE, lacking="The log does not hold the landing.")
    at, half = touch
    lacking: list[str] = []
    found = (_height(view, path, at, lacking), _load(view, view.recording, at, lacking))
    panels = [panel for panel in found if panel is not None]
    missing = f"Not drawn: {'; '.join(lacking)}." if lacking else ""
    if not panels:
        return Chart("landing", TITLE, lacking=missing)
    return Chart(
        "landing",
        TITLE,
        "time from the first contact",
        "s",
        panels,
        (Mark("first contact", 0.0, -half, half),),
        left_out=missing,
    )


def _touch(view: FlightView, recording: Recording) -> tuple[float, float] | None:
    """Give the first contact as the figures have it, and half its 95 % interval. [s]"""
    coarse = view.event("touchdown_s")
    if coarse is None:
        return None
    sortie, takeoff = view.sortie, view.takeoff
    if sortie is None or takeoff is None or sortie.touchdown_s is None:
        return coarse, 0.0
    inputs = Inputs(aircraft=view.aircraft)
    data = gather_landing(recording, sortie.touchdown_s, view.path, inputs, takeoff)
    found = locate_touchdown(data.evidence, sortie.touchdown_s, sortie.end_s)
    return (coarse, 0.0) if found is None else (found.time_s, SIGMAS * found.time_std_s)


def _height(
    view: FlightView, path: FlownPath | None, at: float, lacking: list[str]
) -> Panel | None:
    shown = path.within(at - BEFORE_S, at + AFTER_S) if path is not None else None
    if path is None or shown is None or not np.isfinite(path.height_m[shown]).any():
        lacking.append("height (log a barometer, or the altitude of the position fixes)")
        return None
    t, height = path.time_s[shown] - at, path.height_m[shown]
    lines = [banded("height", t, height, path.height_half_m[shown])]
    sink = view.figure(SINK)
    if sink is not None and np.isfinite(height).sum() > 1:
        good = np.isfinite(height)
        ground = float(np.interp(0.0, t[good], height[good]))
        x: Array = np.array([-_TANGENT_S, 0.0])
        name = f"sink rate {figure_text(SINK, view.debrief['figures'][SINK])}"
        lines.append(Line(name, x, ground - sink[0] * x, stroke="dashed"))
    return Panel("Height of the wheels", "m", lines)


def _load(view: FlightView, recording: Recording, at: float, lacking: list[str]) -> Panel | None:
    t, force = series(recording, "imu", "accel_z_m_s2", (at - BEFORE_S, at + AFTER_S))
    if not np.isfinite(force).any():
        lacking.append("load factor (log accelerometers, at 100 Hz or faster)")
        return None
    line = Line("load factor", t - at, -force / G0_M_S2)
    spots: tuple[Spot, ...] = ()
    if (peak := view.figure(PEAK)) is not None:
        after = (line.x >= 0) & np.isfinite(line.y)
        if after.any():
            # The figure is a mean over some samples: it stands where the samples are highest.
            x = float(line.x[after][int(np.argmax(line.y[after]))])
            spots = (Spot(f"peak {figure_text(PEAK, view.debrief['figures'][PEAK])}", x, peak[0]),)
    return Panel("Load factor", "", (line,), spots, bounds(view, PEAK))
