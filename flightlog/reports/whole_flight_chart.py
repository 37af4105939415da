"""The whole flight over time: height, speeds, attitude and throttle, with its events."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from flightlog.operations.flight_view import FlightView
from flightlog.recording import Recording
from flightlog.reports.chart import Chart, Line, Panel, Stroke
from flightlog.reports.chart_pieces import (
    STROKES,
    banded,
    bounds,
    event_marks,
    series,
    window,
    with_gaps,
)
from flightlog.reports.flown_path import FlownPath

TITLE = "The whole flight"

Between = tuple[float, float]


def whole_flight_chart(view: FlightView, path: FlownPath | None, why: str) -> Chart:
    """Draw height, ground speed and airspeed, bank and pitch, and throttle against time.

    Parameters
    ----------
    view : FlightView
        The flight.
    path : FlownPath or None
        Its path.
    why : str
        Why there is no log.
    """
    recording, between = view.recording, window(view)
    if recording is None or between is None:
        return Chart("flight", TITLE, lacking=why)
    lacking: list[str] = []
    found = (
        _height(view, path, between, lacking),
        _speeds(view, recording, path, between, lacking),
        _attitude(recording, between, lacking),
        _throttle(view, recording, between, lacking),
    )
    panels = [panel for panel in found if panel is not None]
    missing = f"Not drawn: {'; '.join(lacking)}." if lacking else ""
    if not panels:
        return Chart("flight", TITLE, lacking=f"{missing} {why}".strip())
    marks = event_marks(view)
    return Chart("flight", TITLE, "time of the log", "s", panels, marks, left_out=missing)


def _height(
    view: FlightView, path: FlownPath | None, between: Between, lacking: list[str]
) -> Panel | None:
    shown = path.within(*between) if path is not None and path.has_height else None
    if path is None or shown is None or not np.isfinite(path.height_m[shown]).any():
        lacking.append("height (log a barometer, or the altitude of the position fixes)")
        return None
    half = path.height_half_m[shown]
    line = banded("height above the start", path.time_s[shown], path.height_m[shown], half)
    return Panel("Height", "m", (line,), bounds=bounds(view, "flight.max_height"))


def _speeds(
    view: FlightView,
    recording: Recording,
    path: FlownPath | None,
    between: Between,
    lacking: list[str],
) -> Panel | None:
    lines = []
    shown = path.within(*between) if path is not None else None
    if path is not None and shown is not None and np.isfinite(path.speed_m_s[shown]).any():
        speed, half = path.speed_m_s[shown], path.speed_half_m_s[shown]
        lines.append(banded("over ground", path.time_s[shown], speed, half))
    else:
        lacking.append("speed over ground (log GPS position and speed)")
    air = _line("airspeed", recording, "airspeed", "airspeed_m_s", between, "dashed")
    if air is not None:
        lines.append(air)
    else:
        lacking.append("airspeed (fit an airspeed sensor and log it)")
    limits = (
        *bounds(view, "flight.max_ground_speed", "over ground"),
        *bounds(view, "flight.max_airspeed", "airspeed"),
    )
    return Panel("Speed", "m/s", lines, bounds=limits) if lines else None


def _attitude(recording: Recording, between: Between, lacking: list[str]) -> Panel | None:
    wanted: tuple[tuple[str, str, Stroke], ...] = (
        ("bank, right wing down", "roll_rad", "solid"),
        ("pitch, nose up", "pitch_rad", "dashed"),
    )
    found = (
        _line(name, recording, "attitude", column, between, stroke, 180 / math.pi)
        for name, column, stroke in wanted
    )
    lines = [line for line in found if line is not None]
    if not lines:
        lacking.append("bank and pitch (log the attitude)")
        return None
    return Panel("Bank and pitch", "°", lines)


def _throttle(
    view: FlightView, recording: Recording, between: Between, lacking: list[str]
) -> Panel | None:
    if "outputs" not in recording:
        lacking.append("throttle (log what the outputs were told)")
        return None
    if not view.motors:
        lacking.append("throttle (name the motor's output in the aircraft file)")
        return None
    lines = list(_pulses(view, recording, between))
    if not lines:
        lacking.append("throttle (the motor's output is not in the log)")
        return None
    return Panel("Throttle", "µs", lines)


def _pulses(view: FlightView, recording: Recording, between: Between) -> Iterator[Line]:
    outputs = recording["outputs"]
    for stroke, channel in zip(STROKES, view.motors, strict=False):
        rows = outputs.loc[outputs["channel"] == channel]
        t = rows["time_s"].to_numpy(dtype=np.float64)
        pulse = rows["pulse_us"].to_numpy(dtype=np.float64, na_value=np.nan)
        good = np.isfinite(t) & np.isfinite(pulse) & (t >= between[0]) & (t <= between[1])
        if good.any():
            yield Line(f"output {channel}", *with_gaps(t[good], pulse[good]), stroke=stroke)


def _line(
    name: str,
    recording: Recording,
    table: str,
    column: str,
    between: Between,
    stroke: Stroke,
    scale: float = 1.0,
) -> Line | None:
    t, value = series(recording, table, column, between)
    return Line(name, t, scale * value, stroke=stroke) if t.size else None
