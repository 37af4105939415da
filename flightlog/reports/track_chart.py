"""The track over the ground as a map in metres; each part of the flight has a stroke of its own."""

from __future__ import annotations

import math
from collections.abc import Iterator

import numpy as np

from flightlog.operations.flight_view import FlightView, number
from flightlog.reports.chart import Chart, Line, Panel, Spot, Stroke
from flightlog.reports.chart_pieces import lap_times, laps_of
from flightlog.reports.flown_path import FlownPath
from flightlog.reports.stored_words import figure_parts

TITLE = "Track over the ground"
FARTHEST_GATE_M = 20_000.0
"""A gate that is farther away belongs to another place. [m]"""


def track_chart(view: FlightView, path: FlownPath | None, why: str) -> Chart:
    """Draw the flown path on a plane, metres east and north of the start.

    Parameters
    ----------
    view : FlightView
        The flight.
    path : FlownPath or None
        Its path.
    why : str
        Why there is no path.
    """
    title = TITLE + _wind(view)
    if path is None:
        return Chart("track", title, map=True, lacking=why)
    lines = [line for line in _phases(view, path) if np.isfinite(line.y).any()]
    if not lines:
        return Chart("track", title, map=True, lacking="No position fix during the flight.")
    gate = _gate(view)
    spots = [*_spots(view, path), *([] if gate is None else _posts(gate))]
    origin = _origin(view)
    return Chart(
        "track",
        title,
        f"east of the {origin}",
        "m",
        (Panel(f"north of the {origin}", "m", [*lines, *([] if gate is None else [gate])], spots),),
        map=True,
    )


def _origin(view: FlightView) -> str:
    return "start of roll" if view.debrief.get("launch") == "runway" else "start"


def _wind(view: FlightView) -> str:
    """Say the wind, as the end of a title; "" where it is withheld."""
    figures = view.debrief.get("figures", {})
    if view.figure("wind.speed") is None or view.figure("wind.from_deg") is None:
        return ""
    speed, unit, _ = figure_parts("wind.speed", figures["wind.speed"])
    way, _, spread = figure_parts("wind.from_deg", figures["wind.from_deg"])
    where = "any direction" if spread == "any direction" else f"{way}°"
    return f", wind {speed} {unit} from {where}"


def _phases(view: FlightView, path: FlownPath) -> Iterator[Line]:
    """Cut the path into roll and climb, laps, and landing; without laps at its events."""
    start, end = view.event("start_s"), view.event("end_s")
    times = [t for lap in laps_of(view) for t in lap_times(lap)]
    first, last = (times[0], times[-1]) if times else _without_laps(view)
    middle = "laps" if times else "flight"
    begin = "roll and climb" if times else "roll"
    final = "last part and landing" if times else "landing roll"
    if start is None or end is None:
        return
    since_s, until_s = start if first is None else first, end if last is None else last
    # Laps lie over each other, where strokes would fill up: they are thin.
    cuts: tuple[tuple[str, float, float, Stroke, bool], ...] = (
        (middle, since_s, until_s, "solid", not times),
        (begin, start, since_s, "solid" if times else "dashed", True),
        (final, until_s, end, "dotted", True),
    )
    for name, since, until, stroke, strong in cuts:
        if until > since:
            shown = path.within(since, until)
            yield Line(name, path.east_m[shown], path.north_m[shown], stroke=stroke, strong=strong)


def _without_laps(view: FlightView) -> tuple[float | None, float | None]:
    return view.event("liftoff_s"), view.event("touchdown_s")


def _gate(view: FlightView) -> Line | None:
    """Give the gate in metres from the start; None without one, or with one of another place."""
    gate, path, start = view.debrief.get("gate"), view.path, view.event("start_s")
    if not gate or path is None or start is None:
        return None
    degrees = [[number(v) for v in gate[side]] for side in ("left", "right")]
    if any(v is None for pair in degrees for v in pair):
        return None
    places = np.array(degrees, dtype=np.float64)
    east, north = path.frame.east_north(places[:, 0], places[:, 1])
    x = np.asarray(east - np.interp(start, path.time_s, path.east_m), dtype=np.float64)
    y = np.asarray(north - np.interp(start, path.time_s, path.north_m), dtype=np.float64)
    if not np.hypot(x, y).max() < FARTHEST_GATE_M:
        return None
    return Line("gate", x, y, stroke="dashed", strong=False)


def _posts(gate: Line) -> Iterator[Spot]:
    for x, y in zip(gate.x.tolist(), gate.y.tolist(), strict=True):
        yield Spot("end of the gate", x, y, "cross")


def _spots(view: FlightView, path: FlownPath) -> Iterator[Spot]:
    yield Spot(_origin(view), 0.0, 0.0, "circle")
    shapes = (("lift-off", "liftoff_s", "triangle"), ("touchdown", "touchdown_s", "square"))
    for name, key, shape in shapes:
        at = view.event(key)
        if at is None or not path.time_s[0] <= at <= path.time_s[-1]:
            continue
        x, y = (float(np.interp(at, path.time_s, v)) for v in (path.east_m, path.north_m))
        if math.isfinite(x) and math.isfinite(y):
            yield Spot(name, x, y, shape)  # type: ignore[arg-type]
