"""The radio link as a picture: power received against distance, and the margin that is left."""

from __future__ import annotations

import numpy as np

from flightlog.analyses.link_data import Seconds, Strength, seconds_of, station_of, strength_of
from flightlog.analyses.track import airborne_window
from flightlog.inputs import Inputs, LinkSetting
from flightlog.operations.flight_view import FlightView
from flightlog.reports.chart import Bound, Chart, Line, Mark, Panel
from flightlog.reports.plain import plain
from flightlog.reports.stored_words import figure_parts, figure_text

TITLE = "Link: power received against distance"
EXPONENT, MARGIN = "link.range_exponent", "link.margin"
NEAREST_M = 10.0
"""Where the line of the law begins. [m]"""
_POINTS = 100
_LONGEST = 300


def link_chart(view: FlightView, why: str) -> Chart:
    """Draw the received power against the distance, with the law and the margin of the figures.

    Parameters
    ----------
    view : FlightView
        The flight.
    why : str
        Why there is no log, or no path.
    """
    recording, sortie, takeoff = view.recording, view.sortie, view.takeoff
    if recording is None or sortie is None or takeoff is None or view.path is None:
        lacking = why or "The flight can't be found in its log again."
        return Chart("link", TITLE, lacking=lacking)
    inputs = Inputs(aircraft=view.aircraft)
    strength = strength_of(recording, airborne_window(sortie, takeoff.answer), inputs)
    if isinstance(strength, str):
        return Chart("link", TITLE, lacking=f"Nothing to draw: {strength}.")
    station = station_of(view.path, sortie, inputs)
    if isinstance(station, str):
        return Chart("link", TITLE, lacking=f"Nothing to draw: {station}.")
    setting = view.aircraft.link if view.aircraft is not None else None
    weakest = setting.sensitivity_dbm if setting is not None else None
    rows = seconds_of(recording, strength, view.path, station, (), weakest)
    if not rows.time_s.size:
        return Chart("link", TITLE, lacking="Nothing to draw: the path is not known there.")
    return _drawn(view, rows, strength, setting or LinkSetting())


def _drawn(view: FlightView, rows: Seconds, strength: Strength, setting: LinkSetting) -> Chart:
    planned, weakest = setting.planned_distance_m, setting.sensitivity_dbm
    order = np.argsort(rows.distance_m, kind="stable")
    lines = [
        Line(
            "as received, 1 s means",
            rows.distance_m[order],
            rows.power[order],
            stroke="points",
            strong=False,
        )
    ]
    left_out = ""
    exponent = view.figure(EXPONENT)
    if exponent is not None and strength.unit != "counts":
        lines.append(_law(view, rows, exponent[0], planned))
    else:
        reason = view.debrief["withheld"].get(EXPONENT, strength.missing or "it is not known")
        left_out = f"The law over distance is left out: {plain(str(reason), _LONGEST)}."
    bounds = []
    if weakest is not None and strength.unit == "dBm":
        bounds.append(Bound("weakest usable power", weakest, ">="))
    marks = []
    if planned is not None:
        margin = view.debrief["figures"].get(MARGIN)
        value, unit, _ = figure_parts(MARGIN, margin) if margin is not None else ("", "", "")
        said = f"margin {value} {unit}" if margin is not None else "as planned"
        marks.append(Mark(said, planned, limit=True))
    panel = Panel("Power received", strength.unit, lines, bounds=bounds)
    return Chart(
        "link", TITLE, "distance from the ground station", "m", (panel,), marks, left_out=left_out
    )


def _law(view: FlightView, rows: Seconds, exponent: float, planned: float | None) -> Line:
    """Give the law of the range exponent through the middle of the samples."""
    far = np.maximum(rows.distance_m, NEAREST_M)
    level = float(np.median(rows.power + 10.0 * exponent * np.log10(far)))
    most = max(float(far.max()), planned or 0.0, 2 * NEAREST_M)
    x = np.geomspace(NEAREST_M, most, _POINTS)
    name = f"range exponent {figure_text(EXPONENT, view.debrief['figures'][EXPONENT])}"
    return Line(name, x, level - 10.0 * exponent * np.log10(x))
