"""Greatest current and power, least voltage: extremes of 1 s means while armed."""

from __future__ import annotations

import math
from dataclasses import replace
from typing import TYPE_CHECKING

import numpy as np

from flightlog.analyses.extremes import Extreme, largest
from flightlog.analyses.packs import CURRENT_SCALE_STD, NO_BATTERY, VOLTAGE_SCALE_STD, Battery
from flightlog.analyses.phases import Sortie
from flightlog.analyses.power import Flow, voltages
from flightlog.estimation.frames import Array
from flightlog.figures import Answer, Figure
from flightlog.uncertain import Uncertain

if TYPE_CHECKING:
    from flightlog.recording import Recording


def _armed_window(recording: Recording, sortie: Sortie) -> tuple[float, float]:
    """Armed stretch before the sortie and in it; the sortie where the log does not tell.

    One arming may hold several sorties, so the stretch begins with the rest before this one and
    ends with it.
    """
    arming = recording.get("arming")
    if arming is None:
        return sortie.start_s, sortie.end_s
    at = arming["time_s"].to_numpy(dtype=float)
    state = arming["armed"].to_numpy(dtype=float)
    on = at[(state > 0.5) & (at <= sortie.start_s)]
    last_off = at[(state < 0.5) & (at <= sortie.start_s)]
    start = sortie.start_s
    if on.size and not (last_off.size and last_off[-1] > on[-1]):
        start = float(on[on > last_off[-1]][0]) if last_off.size else float(on[0])
    return max(start, min(sortie.search_s[0], sortie.start_s)), sortie.end_s


def peaks(recording: Recording, battery: Battery, sortie: Sortie) -> Answer:
    """Give battery.max_current, battery.max_power and battery.min_voltage of one sortie.

    Parameters
    ----------
    recording : Recording
        The log; its ``arming`` table says when the motor might run.
    battery : Battery
        Its monitors with current.
    sortie : Sortie
        Its bounds.
    """
    figures: dict[str, Figure] = {}
    withheld: dict[str, str] = {}
    start, end = _armed_window(recording, sortie)
    if not battery.reason:
        for id_, unit in (("battery.max_current", "A"), ("battery.max_power", "W")):
            figure = _largest_flow(battery, id_, unit, start, end)
            if isinstance(figure, str):
                withheld[id_] = figure
            else:
                figures[id_] = figure
    lows = [
        low for flow in voltages(recording) if (low := _extreme(flow, start, end, -1)) is not None
    ]
    if not lows:
        withheld["battery.min_voltage"] = (
            NO_BATTERY if "battery" not in recording else "the log has no battery voltage"
        )
        return Answer(figures, withheld)
    low = min(lows, key=lambda e: e.value)
    figures["battery.min_voltage"] = Figure(
        "battery.min_voltage",
        Uncertain(
            low.value, {"voltage scale": VOLTAGE_SCALE_STD * low.value, "noise": low.std}, "V"
        ),
        "least 1 s mean of every pack" if len(lows) > 1 else "least 1 s mean",
        ("battery",),
    )
    return Answer(figures, withheld)


def _largest_flow(
    battery: Battery, id_: str, unit: str, start_s: float, end_s: float
) -> Figure | str:
    """Greatest current or power of all packs together, or why it can't be had."""
    clipped = [m for m in battery.monitors if m.clipped_in(start_s, end_s) > 0]
    if clipped:
        return (
            f"the current stood at the sensor's limit of {clipped[0].current.rate.max():.1f} A; "
            "fit a current sensor with a larger range"
        )
    flows = [m.power if unit == "W" else m.current for m in battery.monitors]
    flow = flows[0]
    if unit == "W" or battery.charges_add:
        for other in flows[1:]:
            flow = _sum(flow, other)
    top = _extreme(flow, start_s, end_s, 1)
    if top is None:
        return "the window holds no battery samples; log the battery during the flight"
    share = len(flows) if unit == "W" or battery.charges_add else 1
    offset = math.hypot(*(m.zero.std_a for m in battery.monitors[:share]))
    if unit == "W":
        offset *= top.value / max(abs(_current_at(battery, top.time_s)), 1.0)
    sources = {
        "current scale": CURRENT_SCALE_STD * top.value,
        "current offset": offset,
        "noise": top.std,
    }
    if unit == "W":
        sources["voltage scale"] = VOLTAGE_SCALE_STD * top.value
    slow = float(np.median(np.diff(flow.time_s))) >= 1.0
    return Figure(
        id_,
        Uncertain(top.value, sources, unit),
        "greatest sample; samples are a second or more apart" if slow else "greatest 1 s mean",
        ("battery",),
    )


def _current_at(battery: Battery, time_s: float) -> float:
    return sum(float(m.current.at(time_s)) for m in battery.monitors)


def _sum(a: Flow, b: Flow) -> Flow:
    """Sum of two rates at the samples of the first."""
    rate = a.rate + b.at(a.time_s)
    total = a.total + b.up_to(a.time_s) - b.up_to(a.time_s[0])
    return replace(a, rate=rate, total=np.asarray(total), counter=a.counter[:0])


def _extreme(flow: Flow, start_s: float, end_s: float, sign: int) -> Extreme | None:
    """Extreme 1 s mean of a window."""
    t, mean = flow.running_mean(1.0)
    inside = (t >= start_s) & (t <= end_s)
    if not inside.any():
        return None
    rows = (flow.time_s >= start_s) & (flow.time_s <= end_s)
    noise = _sample_noise(flow.rate[rows])
    step = float(np.median(np.diff(flow.time_s)))
    # The mean of n samples of white noise.
    noise /= math.sqrt(max(1.0, 1.0 / max(step, 1e-3)))
    found = largest(t[inside], sign * mean[inside], noise, 0.5 if step < 1 else 0.0)
    return replace(found, value=sign * found.value)


def _sample_noise(x: Array) -> float:
    """White noise of samples by the median of second differences, which steps do not move."""
    if x.size < 4:
        return 0.0
    return float(1.4826 * np.median(np.abs(np.diff(x, 2))) / math.sqrt(6))
