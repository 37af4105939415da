"""The charts of what is wearing out, one for each group of its figures.

They are made one at a time, when they are asked for: some read the whole log again.
"""

from __future__ import annotations

from flightlog.operations.flight_view import FlightView
from flightlog.reports.battery_chart import battery_chart
from flightlog.reports.chart import Chart
from flightlog.reports.flight_charts import NO_POSITION, no_log
from flightlog.reports.flown_path import flown_path
from flightlog.reports.landing_chart import landing_chart
from flightlog.reports.link_chart import link_chart
from flightlog.reports.surfaces_chart import surfaces_chart
from flightlog.reports.vibration_chart import vibration_chart


def wear_chart(view: FlightView, group: str) -> Chart:
    """Give the chart of a group.

    Parameters
    ----------
    view : FlightView
        The flight.
    group : str
        One of `flightlog.reports.figure_groups.WEAR`.

    Returns
    -------
    Chart
        One that can't be drawn says what to log.
    """
    why = no_log(view)
    if group == "Battery":
        return battery_chart(view, why)
    if group == "Surfaces":
        return surfaces_chart(view, why)
    if group == "Vibration":
        return vibration_chart(view, why)
    if group == "Landing":
        return landing_chart(view, flown_path(view), why)
    return link_chart(view, why or (NO_POSITION if view.path is None else ""))
