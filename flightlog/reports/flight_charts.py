"""The charts of a flight, each of which answers one question.

roll    how it took off, and how far from the limit
track   where it flew
laps    how alike the laps were
power   what the battery gave
flight  what happened when

Every chart is there for every flight; one that can't be drawn says which sensor is missing.
"""

from __future__ import annotations

from flightlog.operations.flight_view import FlightView
from flightlog.reports.chart import Chart
from flightlog.reports.flown_path import flown_path
from flightlog.reports.laps_chart import laps_chart
from flightlog.reports.plain import plain
from flightlog.reports.power_chart import power_chart
from flightlog.reports.roll_chart import roll_chart
from flightlog.reports.track_chart import track_chart
from flightlog.reports.whole_flight_chart import whole_flight_chart

NO_POSITION = "The log holds too few positions for a path: log GPS position and speed."
_LONGEST = 300


def flight_charts(view: FlightView) -> dict[str, Chart]:
    """Give the charts of a flight: "roll", "track", "laps", "power", "flight", in this order."""
    why = no_log(view)
    path = flown_path(view)
    no_path = why or (NO_POSITION if path is None else "")
    charts = (
        roll_chart(view, path, no_path),
        track_chart(view, path, no_path),
        laps_chart(view, path, no_path),
        power_chart(view, why),
        whole_flight_chart(view, path, why),
    )
    return {chart.id: chart for chart in charts}


def no_log(view: FlightView) -> str:
    """Say why nothing of a flight can be drawn; "" where something can."""
    return _sentence(view.why) if view.recording is None or not view.debrief else ""


def _sentence(clause: str) -> str:
    text = plain(clause, _LONGEST).rstrip(".") or "the log of this flight can't be shown"
    return f"{text[0].upper()}{text[1:]}."
