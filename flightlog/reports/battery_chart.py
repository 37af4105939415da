"""What the battery loses under load: voltage lost against current, with the resistance as a line.

The voltage also falls with what was taken out, and the more slowly so the slower it is. That part
is a smooth curve over the charge used and is taken off, so that what is left is the loss.
"""

from __future__ import annotations

import numpy as np

from flightlog.analyses.packs import NO_BATTERY, battery_of
from flightlog.analyses.power import Flow, voltages
from flightlog.operations.flight_view import FlightView
from flightlog.reports.chart import Array, Chart, Line, Panel
from flightlog.reports.plain import plain
from flightlog.reports.power_chart import MEAN_S
from flightlog.reports.stored_words import figure_text

TITLE = "Battery: voltage lost against current"
RESISTANCE = "battery.resistance"
_LEAST = 20
_BENDS = 3
"""The voltage over the charge used is a polynomial of this degree."""
_LONGEST = 300


def battery_chart(view: FlightView, why: str) -> Chart:
    """Draw the voltage lost against current, with the line of the battery's resistance.

    Parameters
    ----------
    view : FlightView
        The flight.
    why : str
        Why there is no log.
    """
    recording = view.recording
    start, end = view.event("start_s"), view.event("end_s")
    if recording is None or start is None or end is None:
        return Chart("battery", TITLE, lacking=why)
    battery, volts = battery_of(recording), voltages(recording)
    if not battery.monitors or not volts:
        reason = battery.reason or NO_BATTERY
        return Chart("battery", TITLE, lacking=f"Nothing to draw: {reason}.")
    current, voltage = _means(battery.monitors[0].current, volts[0], start, end)
    figure = view.figure(RESISTANCE)
    if figure is None or current.size < _LEAST:
        reason = view.debrief["withheld"].get(RESISTANCE, "its debrief is of an older program")
        text = plain(str(reason), _LONGEST).rstrip(".")
        return Chart("battery", TITLE, lacking=f"Without the resistance nothing is drawn: {text}.")
    lost = _lost(current, voltage, figure[0])
    order = np.argsort(current)
    ends: Array = np.array([0.0, float(current.max())])
    name = f"resistance {figure_text(RESISTANCE, view.debrief['figures'][RESISTANCE])}"
    value, low, high = figure
    lines = (
        Line("1 s means", current[order], lost[order], stroke="points", strong=False),
        Line(name, ends, value * ends, low * ends, high * ends),
    )
    return Chart("battery", TITLE, "current", "A", (Panel("Voltage lost", "V", lines),))


def _means(current: Flow, voltage: Flow, start: float, end: float) -> tuple[Array, Array]:
    """Give both as means over the same seconds. [A], [V]"""
    t, amps = current.running_mean(MEAN_S)
    at, volts = voltage.running_mean(MEAN_S)
    inside = (t >= max(start, at[0])) & (t <= min(end, at[-1])) if at.size else np.zeros(0, bool)
    if not inside.any():
        return np.empty(0), np.empty(0)
    # One point a second: neighbours of a running mean say the same.
    steps = np.arange(float(t[inside][0]), float(t[inside][-1]), MEAN_S)
    amps_then, volts_then = np.interp(steps, t, amps), np.interp(steps, at, volts)
    good = np.isfinite(amps_then) & np.isfinite(volts_then)
    return np.asarray(amps_then[good]), np.asarray(volts_then[good])


def _lost(current: Array, voltage: Array, ohm: float) -> Array:
    """Give the voltage lost to the current: what is below the curve of the charge used. [V]

    The curve is fitted to the voltages brought to no current by the resistance.
    """
    used = np.cumsum(current)
    share = used / (float(used[-1]) or 1.0)
    design = np.vander(share, _BENDS + 1)
    rested = voltage + ohm * current
    curve, *_ = np.linalg.lstsq(design, rested, rcond=None)
    return np.asarray(design @ curve - voltage)
