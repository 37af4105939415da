"""What the battery gave over time: voltage, current, power, and the energy used since the start."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np

from flightlog.analyses.packs import NO_BATTERY, Battery, battery_of
from flightlog.analyses.power import Flow, voltages
from flightlog.constants import JOULE_PER_WH
from flightlog.operations.flight_view import FlightView
from flightlog.reports.chart import Array, Chart, Line, Panel, Spot
from flightlog.reports.chart_pieces import (
    STROKES,
    bounds,
    event_marks,
    flow_within,
    window,
    with_gaps,
)
from flightlog.reports.stored_words import figure_text

TITLE = "Battery and power"
MEAN_S = 1.0
"""Figures of the battery are means over so long, and so is the strong line. [s]"""


def power_chart(view: FlightView, why: str) -> Chart:
    """Draw pack voltage, current, power and energy used against time.

    Parameters
    ----------
    view : FlightView
        The flight.
    why : str
        Why there is no log.
    """
    recording, between = view.recording, window(view)
    if recording is None or between is None:
        return Chart("power", TITLE, lacking=why)
    battery = battery_of(recording)
    panels = _measured(view, voltages(recording), battery, between)
    if not panels:
        return Chart("power", TITLE, lacking=f"Nothing to draw: {battery.reason or NO_BATTERY}.")
    left_out = (
        f"Current, power and energy are left out: {battery.reason}." if battery.reason else ""
    )
    return Chart(
        "power", TITLE, "time of the log", "s", panels, event_marks(view), left_out=left_out
    )


def _measured(
    view: FlightView, volts: Sequence[Flow], battery: Battery, between: tuple[float, float]
) -> list[Panel]:
    amps = [m.current for m in battery.monitors]
    watts = [m.power for m in battery.monitors]
    rows = (
        ("Voltage", "V", volts, "battery.min_voltage"),
        ("Current", "A", amps, "battery.max_current"),
        ("Power", "W", watts, "battery.max_power"),
    )
    panels = []
    for label, unit, flows, figure in rows:
        lines = _lines(flows, between)
        if lines:
            panels.append(Panel(label, unit, lines, bounds=bounds(view, figure)))
    used = _used(view, watts, between)
    return [*panels, *([used] if used is not None else [])]


def _lines(flows: Sequence[Flow], between: tuple[float, float]) -> list[Line]:
    """Give the means of each monitor, and of a single one the samples behind them too."""
    lines = []
    for stroke, (count, flow) in zip(STROKES, enumerate(flows, start=1), strict=False):
        which = f"monitor {count}, " if len(flows) > 1 else ""
        t, mean = flow.running_mean(MEAN_S)
        inside = (t >= between[0]) & (t <= between[1])
        if not inside.any():
            continue
        at, value = with_gaps(t[inside], mean[inside])
        if len(flows) == 1 and t.size != flow.time_s.size:
            lines.append(Line("samples", *flow_within(flow, between), strong=False))
        sparse = t.size == flow.time_s.size
        lines.append(
            Line(f"{which}{'samples' if sparse else '1 s mean'}", at, value, stroke=stroke)
        )
    return lines


def _used(view: FlightView, watts: Sequence[Flow], between: tuple[float, float]) -> Panel | None:
    """Give the energy since the start; where samples are missing there is no line."""
    start = view.event("start_s")
    if not watts or start is None:
        return None
    t, first = flow_within(watts[0], (start, between[1]))
    if not np.isfinite(first).any():
        return None
    total: Array = np.where(np.isfinite(first), 0.0, np.nan)
    for flow in watts:
        total = total + (flow.up_to(t) - flow.up_to(start)) / JOULE_PER_WH
    line = Line("energy used", t, total)
    return Panel("Energy used", "Wh", (line,), _total(view), bounds(view, "energy.used"))


def _total(view: FlightView) -> tuple[Spot, ...]:
    """Give the figure of the debrief, which counters may have helped over missing samples."""
    used, end = view.figure("energy.used"), view.event("end_s")
    if used is None or end is None:
        return ()
    text = figure_text("energy.used", view.debrief["figures"]["energy.used"])
    return (Spot(f"in all {text}", end, used[0], "circle"),)
