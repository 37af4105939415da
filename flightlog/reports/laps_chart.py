"""The laps side by side: height, speed and power over the distance since the gate."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np

from flightlog.analyses.packs import NO_BATTERY, battery_of
from flightlog.operations.flight_view import FlightView, number
from flightlog.reports.chart import Array, Chart, Line, Panel, Stroke
from flightlog.reports.chart_pieces import STROKES, flow_within, lap_times, laps_of
from flightlog.reports.flown_path import FlownPath
from flightlog.reports.plain import plain

TITLE = "Laps side by side"
_LONGEST = 300


@dataclass(frozen=True, slots=True)
class _Lap:
    """A lap with its look: the best one is strong, two others have strokes, the rest is thin."""

    name: str
    start_s: float
    end_s: float
    stroke: Stroke
    strong: bool

    def line(self, x: Array, y: Array) -> Line:
        return Line(self.name, x, y, stroke=self.stroke, strong=self.strong)


def laps_chart(view: FlightView, path: FlownPath | None, why: str) -> Chart:
    """Draw height, speed over ground and power of all laps over the distance since the gate.

    Parameters
    ----------
    view : FlightView
        The flight.
    path : FlownPath or None
        Its path.
    why : str
        Why there is no path.
    """
    laps = _looks(laps_of(view))
    if path is None:
        return Chart("laps", TITLE, lacking=why)
    if not laps:
        return Chart("laps", TITLE, lacking=f"There is no whole lap: {_no_lap(view)}.")
    panels = [Panel("Height", "m", _over(laps, path, path.height_m))] if path.has_height else []
    panels.append(Panel("Ground speed", "m/s", _over(laps, path, path.speed_m_s)))
    power = list(_power(view, laps, path))
    if power:
        panels.append(Panel("Power", "W", power))
    return Chart(
        "laps", TITLE, "distance since the gate", "m", panels, left_out=_left_out(view, path, power)
    )


def _no_lap(view: FlightView) -> str:
    reason = view.debrief["withheld"].get("laps.mean_time", "the gate was not crossed twice")
    return plain(str(reason), _LONGEST).rstrip(".")


def _left_out(view: FlightView, path: FlownPath, power: Sequence[Line]) -> str:
    parts = []
    if not path.has_height:
        parts.append("Height is left out: log a barometer, or the altitude of the position fixes.")
    if not power:
        reason = battery_of(view.recording).reason if view.recording is not None else NO_BATTERY
        parts.append(f"Power is left out: {reason or 'it was not logged during the laps'}.")
    return " ".join(parts)


def _looks(laps: Sequence[Mapping[str, Any]]) -> list[_Lap]:
    """Give each lap its look; the best comes last, over the others."""
    times = [_time(lap) for lap in laps]
    best = int(np.argmin(times)) if laps else -1
    strokes = iter(STROKES[1:3])
    others = [
        _look(lap, time, next(strokes, "solid"))
        for n, (lap, time) in enumerate(zip(laps, times, strict=True))
        if n != best
    ]
    return [*others, *([_look(laps[best], times[best], "solid", best=True)] if laps else [])]


def _time(lap: Mapping[str, Any]) -> float:
    start, end = lap_times(lap)
    stored = number((lap.get("time") or {}).get("value"))
    return stored if stored is not None else end - start


def _look(lap: Mapping[str, Any], time: float, stroke: Stroke, *, best: bool = False) -> _Lap:
    start, end = lap_times(lap)
    says = f"{time:.1f} s, best" if best else f"{time:.1f} s"
    return _Lap(f"lap {lap.get('number', '?')} ({says})", start, end, stroke, best)


def _over(laps: Sequence[_Lap], path: FlownPath, values: Array) -> list[Line]:
    lines = []
    for lap in laps:
        shown = path.within(lap.start_s, lap.end_s)
        lines.append(lap.line(_since(path, path.time_s[shown], lap), values[shown]))
    return lines


def _since(path: FlownPath, time_s: Array, lap: _Lap) -> Array:
    """Give the distance over ground since the gate. [m]"""
    at = np.interp(time_s, path.time_s, path.travelled_m)
    return np.asarray(at - np.interp(lap.start_s, path.time_s, path.travelled_m))


def _power(view: FlightView, laps: Sequence[_Lap], path: FlownPath) -> Iterator[Line]:
    """Give what all packs together gave, at the samples of the first monitor."""
    monitors = battery_of(view.recording).monitors if view.recording is not None else ()
    for lap in laps if monitors else ():
        t, watts = flow_within(monitors[0].power, (lap.start_s, lap.end_s))
        for other in monitors[1:]:
            watts = watts + other.power.at(t)
        if np.isfinite(watts).any():
            yield lap.line(_since(path, t, lap), watts)
