"""Flights that were looked at, kept so that a second look is at once."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property
from typing import Any

from flightlog.dashboard.plots import figure_of
from flightlog.operations.desk import Desk
from flightlog.operations.flight_view import FlightView, flight_view
from flightlog.operations.sorties import SortieRecord
from flightlog.recording import Recording
from flightlog.reports.chart import Chart, together
from flightlog.reports.flight_charts import flight_charts

_MOST = 4
"""A recording of 40 MB takes 100 MB of memory."""


@dataclass(frozen=True, slots=True)
class Picture:
    """A chart, and how it is drawn on the screen; None where it lacks a sensor."""

    chart: Chart
    figure: Any


@dataclass
class _Seen:
    view: FlightView

    @cached_property
    def pictures(self) -> dict[str, Picture]:
        made = flight_charts(self.view)
        time = together("time", "The whole flight over time", made["flight"], made["power"])
        charts = {name: made[name] for name in ("roll", "track", "laps")} | {"time": time}
        return {
            name: Picture(chart, None if chart.lacking else figure_of(chart))
            for name, chart in charts.items()
        }


_KEPT: dict[tuple[str, str], _Seen] = {}


def view(desk: Desk, record: SortieRecord, recording: Recording | None = None) -> FlightView:
    """Give a flight with its log; it is read only the first time.

    Parameters
    ----------
    desk : Desk
        The team's; pages use it under their lock, which guards what is kept here too.
    record : SortieRecord
        The flight.
    recording : Recording, optional
        Its log, where it was just read.
    """
    return _seen(desk, record, recording).view


def pictures(desk: Desk, record: SortieRecord) -> dict[str, Picture]:
    """Give the charts of a flight as they are drawn; all that goes over time is on one axis."""
    return _seen(desk, record, None).pictures


def _seen(desk: Desk, record: SortieRecord, recording: Recording | None) -> _Seen:
    key = (str(desk.folder.path), record.entry.hash)
    found = _KEPT.pop(key, None) or _Seen(flight_view(desk, record, recording))
    _KEPT[key] = found  # the last one that was looked at goes last
    while len(_KEPT) > _MOST:
        del _KEPT[next(iter(_KEPT))]
    return found
