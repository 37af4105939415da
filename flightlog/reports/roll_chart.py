"""The take-off as a picture: speed and height of the wheels against the distance rolled."""

from __future__ import annotations

from collections.abc import Iterator

import numpy as np

from flightlog.operations.flight_view import FlightView
from flightlog.reports.chart import Chart, Line, Mark, Panel
from flightlog.reports.chart_pieces import banded, judged, limit_source
from flightlog.reports.flown_path import FlownPath
from flightlog.reports.numbers import with_unit
from flightlog.reports.plain import plain

ROLL = "takeoff.ground_roll"
BEYOND_M = 40.0
"""The picture goes on so far beyond the lift-off. [m]"""
LONGEST_S = 30.0
"""And not longer than this after it. [s]"""
TITLE = "Take-off roll"
NO_HEIGHT = "Height is left out: log a barometer, or the altitude of the position fixes."
_LONGEST = 300


def roll_chart(view: FlightView, path: FlownPath | None, why: str) -> Chart:
    """Draw speed over ground and height of the wheels against the distance along the runway.

    Parameters
    ----------
    view : FlightView
        The flight.
    path : FlownPath or None
        Its path.
    why : str
        Why there is no path.
    """
    start, liftoff = view.event("start_s"), view.event("liftoff_s")
    if path is None:
        return Chart("roll", TITLE, lacking=why)
    if start is None or liftoff is None or ROLL not in view.debrief["figures"]:
        reason = view.debrief["withheld"].get(ROLL, "the log does not hold the take-off")
        reason = plain(str(reason), _LONGEST).rstrip(".")
        return Chart("roll", TITLE, lacking=f"The roll can't be drawn: {reason}.")
    lines = _lines(path, start, liftoff)
    if not np.isfinite(lines[0].y).any():
        return Chart("roll", TITLE, lacking=f"No position fix near the take-off. {why}".strip())
    panels = [Panel("Speed over ground", "m/s", (lines[0],))]
    if np.isfinite(lines[1].y).any():
        panels.append(Panel("Height of the wheels", "m", (lines[1],)))
    return Chart(
        "roll",
        TITLE,
        "distance along the runway",
        "m",
        panels,
        tuple(_marks(view)),
        left_out="" if len(panels) == 2 else NO_HEIGHT,
    )


def _lines(path: FlownPath, start_s: float, liftoff_s: float) -> tuple[Line, Line]:
    """Give speed and height over the distance in the direction of the roll."""
    t = path.time_s
    # The ends of the roll lie between points of the path: they are put in.
    end_s = min(float(t[-1]), liftoff_s + LONGEST_S)
    at = np.unique([start_s, liftoff_s, *t[path.within(start_s, end_s)]])
    east, north = (np.interp(at, t, values) for values in (path.east_m, path.north_m))
    to = np.interp(liftoff_s, at, east), np.interp(liftoff_s, at, north)
    length = float(np.hypot(*to)) or 1.0
    along = (east * to[0] + north * to[1]) / length
    # Turning back after the lift-off would draw the line over itself.
    beyond = np.flatnonzero((at > liftoff_s) & ((along > length + BEYOND_M) | ~(along >= 0)))
    last = int(beyond[0]) + 1 if beyond.size else at.size
    x = np.maximum.accumulate(np.nan_to_num(along[:last], nan=-np.inf))
    x = np.where(np.isfinite(x), x, 0.0)

    def over(values: object) -> np.ndarray[tuple[int, ...], np.dtype[np.float64]]:
        return np.asarray(np.interp(at[:last], t, np.asarray(values)), dtype=np.float64)

    return (
        banded("speed over ground", x, over(path.speed_m_s), over(path.speed_half_m_s)),
        banded("height of the wheels", x, over(path.height_m), over(path.height_half_m)),
    )


def _marks(view: FlightView) -> Iterator[Mark]:
    yield Mark("start of roll", 0.0)
    roll = view.figure(ROLL)
    if roll is not None:
        yield Mark("lift-off", *roll)
    for outcome in judged(view, ROLL):
        at = _from_start(view, outcome["definition"], float(outcome["bound"]["value"]))
        if at is not None:
            limit = with_unit(f"{outcome['bound']['value']:g}", outcome["bound"]["unit"])
            yield Mark(f"limit {limit} ({limit_source(outcome)})", at, limit=True)


def _from_start(view: FlightView, definition: object, bound_m: float) -> float | None:
    """Give where a limit lies from the start of roll; None where that is not known. [m]"""
    if not isinstance(definition, dict) or "start" not in definition:
        return bound_m
    # Measured from the painted line: the roll began as far from it as the two figures differ.
    roll, line = view.figure(ROLL), view.figure("takeoff.distance_from_line")
    return bound_m - (line[0] - roll[0]) if roll is not None and line is not None else None
