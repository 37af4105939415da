"""Flights that were looked at, kept so that a second look is at once."""

from __future__ import annotations

from dataclasses import dataclass, field
from functools import cached_property
from typing import Any

from flightlog.dashboard.plots import figure_of
from flightlog.logbook.entry import Entry
from flightlog.operations.desk import Desk
from flightlog.operations.flight_view import FlightView, basis_of, flight_view
from flightlog.operations.sorties import SortieRecord
from flightlog.recording import Recording
from flightlog.reports import flight_sheet_wear
from flightlog.reports.chart import Chart, together
from flightlog.reports.figure_groups import WEAR
from flightlog.reports.flight_charts import flight_charts
from flightlog.reports.stored_debrief import stored_sortie
from flightlog.reports.wear_charts import wear_chart

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
    of_wear: dict[str, Picture] = field(default_factory=dict)

    @cached_property
    def pictures(self) -> dict[str, Picture]:
        made = flight_charts(self.view)
        time = together("time", "The whole flight over time", made["flight"], made["power"])
        charts = {name: made[name] for name in ("roll", "track", "laps")} | {"time": time}
        return {
            name: Picture(chart, None if chart.lacking else figure_of(chart))
            for name, chart in charts.items()
        }

    def wear(self, group: str) -> Picture:
        """Give the chart of a group of what is wearing out; made when it is first looked at."""
        if group not in self.of_wear:
            chart = wear_chart(self.view, group)
            self.of_wear[group] = Picture(chart, None if chart.lacking else figure_of(chart))
        return self.of_wear[group]


_KEPT: dict[tuple[object, ...], _Seen] = {}
_AT_HAND: dict[str, Recording] = {}
"""The log that was read last, by the hash of its entry."""


def at_hand(entry: Entry, recording: Recording) -> None:
    """Keep a log that was just read, so that it is not read again for its charts."""
    _AT_HAND.clear()
    _AT_HAND[entry.hash] = recording


def view(desk: Desk, record: SortieRecord) -> FlightView:
    """Give a flight with its log; it is read only the first time.

    Parameters
    ----------
    desk : Desk
        The team's; pages use it under their lock, which guards what is kept here too.
    record : SortieRecord
        The flight.
    """
    return _seen(desk, record).view


def pictures(desk: Desk, record: SortieRecord) -> dict[str, Picture]:
    """Give the charts of a flight as they are drawn; all that goes over time is on one axis."""
    return _seen(desk, record).pictures


def most_telling(desk: Desk, record: SortieRecord) -> str:
    """Give the group of what is wearing out that needs attention first."""
    view = _seen(desk, record).view
    stored = stored_sortie(view.debrief, view.whole) if view.debrief else None
    return flight_sheet_wear.most_telling(stored)[0] if stored is not None else WEAR[0]


def wear_picture(desk: Desk, record: SortieRecord, group: str) -> Picture:
    """Give the chart of a group of what is wearing out as it is drawn."""
    return _seen(desk, record).wear(group)


def _seen(desk: Desk, record: SortieRecord) -> _Seen:
    key = basis_of(desk, record)
    found = _KEPT.pop(key, None)
    if found is None:
        log = _AT_HAND.get(record.recording.hash) if record.recording is not None else None
        found = _Seen(flight_view(desk, record, log))
    _KEPT[key] = found  # the last one that was looked at goes last
    while len(_KEPT) > _MOST:
        del _KEPT[next(iter(_KEPT))]
    return found
