"""What the charts of a flight share: events as marks, limits as bounds, lines with holes."""

from __future__ import annotations

from collections.abc import Iterator, Mapping, Sequence
from typing import Any

import numpy as np

from flightlog.analyses.power import Flow
from flightlog.operations.flight_view import FlightView, number
from flightlog.recording import Recording
from flightlog.reports.chart import Array, Bound, Line, Mark, Stroke
from flightlog.reports.numbers import with_unit
from flightlog.reports.plain import plain
from flightlog.rules.book import whose

STROKES: tuple[Stroke, ...] = ("solid", "dashed", "dotted", "points")
"""In the order in which the lines of a panel take them."""
AROUND_S = 5.0
"""Charts over time begin so long before the flight, and end so long after it. [s]"""
GAP_S, GAP_STEPS = 1.0, 5.0
"""A silence is a gap from so long on, and from so many of the channel's own steps on. [s]"""
MOST_NAMED = 8
"""With more crossings of the gate than this only some of them are named."""
_LONGEST = 60


def event_marks(view: FlightView) -> tuple[Mark, ...]:
    """Give the events of a flight as marks over time."""
    start = "start of roll" if view.debrief.get("launch") == "runway" else "start"
    named = [(start, "start_s"), ("lift-off", "liftoff_s")]
    last = [("touchdown", "touchdown_s")]
    if view.debrief.get("ends") == "standstill":
        last.append(("standstill", "end_s"))
    marks = [*_marks(view, named), *_gates(view), *_marks(view, last)]
    return tuple(sorted(marks, key=lambda mark: mark.x))


def _marks(view: FlightView, named: Sequence[tuple[str, str]]) -> Iterator[Mark]:
    for name, key in named:
        at = view.event(key)
        if at is not None:
            yield Mark(name, at)


def _gates(view: FlightView) -> Iterator[Mark]:
    crossings = sorted({t for lap in laps_of(view) for t in lap_times(lap)})
    every = -(-len(crossings) // MOST_NAMED)
    for count, at in enumerate(crossings):
        yield Mark(f"gate {count + 1}" if count % every == 0 else "", at)


def laps_of(view: FlightView) -> list[Mapping[str, Any]]:
    """Give the laps of the stored debrief that have a beginning and an end."""
    return [lap for lap in view.debrief.get("laps") or () if len(lap_times(lap)) == 2]


def lap_times(lap: Mapping[str, Any]) -> tuple[float, ...]:
    """Give the crossings at both ends of a lap. [s]"""
    times = (number(lap.get("start_s")), number(lap.get("end_s")))
    return tuple(t for t in times if t is not None)


def window(view: FlightView) -> tuple[float, float] | None:
    """Give from when to when charts over time go; None without times. [s]"""
    start, end = view.event("start_s"), view.event("end_s")
    return (start - AROUND_S, end + AROUND_S) if start is not None and end is not None else None


# --- limits


def bounds(view: FlightView, figure: str, of: str = "") -> tuple[Bound, ...]:
    """Give the limits by which a figure was judged, as level lines.

    Parameters
    ----------
    view : FlightView
        The flight.
    figure : str
        Its id.
    of : str
        Of which line of its panel they are, where there are several.
    """
    what = f"{of} " if of else ""
    return tuple(
        Bound(
            f"{what}{bound_name(outcome)}",
            float(outcome["bound"]["value"]),
            outcome["bound"]["op"],
        )
        for outcome in judged(view, figure)
        if outcome.get("definition") is None
    )


def judged(view: FlightView, figure: str) -> list[Mapping[str, Any]]:
    """Give the outcomes about a figure that have a finite bound."""
    return [
        outcome
        for outcome in view.debrief.get("outcomes") or ()
        if outcome["figure"] == figure and number(outcome["bound"]["value"]) is not None
    ]


def bound_name(outcome: Mapping[str, Any]) -> str:
    """Name a limit: "at most 40 m (clause 4.2)"."""
    bound = outcome["bound"]
    word = "at most" if bound["op"] == "<=" else "at least"
    limit = with_unit(f"{bound['value']:g}", bound["unit"])
    return f"{word} {limit} ({limit_source(outcome)})"


def limit_source(outcome: Mapping[str, Any]) -> str:
    """Say whose limit it is: a clause of the rule book, or the file of aircraft or pack."""
    if own := whose(str(outcome["kind"]), str(outcome["source"])):
        return f"{own} file"
    return plain(str(outcome["source"] or outcome["limit"]), _LONGEST)


# --- lines


def series(
    recording: Recording, table: str, column: str, between_s: tuple[float, float]
) -> tuple[Array, Array]:
    """Give times and values of a channel, with NaN where it was silent; empty without any."""
    rows = recording.one(table)
    if rows is None or column not in rows:
        return np.empty(0), np.empty(0)
    t = rows["time_s"].to_numpy(dtype=np.float64)
    value = rows[column].to_numpy(dtype=np.float64, na_value=np.nan)
    good = np.isfinite(t) & np.isfinite(value) & (t >= between_s[0]) & (t <= between_s[1])
    return with_gaps(t[good], value[good])


def flow_within(flow: Flow, between_s: tuple[float, float]) -> tuple[Array, Array]:
    """Give times and values of a rate within a stretch of time, with NaN where it was silent."""
    inside = (flow.time_s >= between_s[0]) & (flow.time_s <= between_s[1])
    return with_gaps(flow.time_s[inside], flow.rate[inside])


def with_gaps(time_s: Array, value: Array) -> tuple[Array, Array]:
    """Put a NaN into each silence that is longer than the channel's own steps explain."""
    steps = np.diff(time_s)
    if not steps.size:
        return time_s, value
    long = np.flatnonzero(steps > max(GAP_S, GAP_STEPS * float(np.median(steps))))
    middle = (time_s[long] + time_s[long + 1]) / 2
    return np.insert(time_s, long + 1, middle), np.insert(value, long + 1, np.nan)


def banded(name: str, x: Array, y: Array, half: Array, stroke: Stroke = "solid") -> Line:
    """Give a line with its band."""
    return Line(name, x, y, y - half, y + half, stroke)
