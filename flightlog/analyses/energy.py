"""What a flight took from the battery.

Energy is the integral of voltage times current, charge that of current. Their uncertainty
has three parts that every window of one recording shares, so that they cancel in
differences: the scale of the current sensor, the scale of the voltage sensor, and the zero
of the current sensor. Two parts belong to one window: sampling noise, and stretches without
samples. Where the battery was logged by another clock than the flight, the offset between them
adds one more, which all windows share.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

import numpy as np

from flightlog.analyses.battery_findings import battery_findings
from flightlog.analyses.battery_peaks import peaks
from flightlog.analyses.packs import (
    CURRENT_SCALE_STD,
    NEEDS_CURRENT,
    VOLTAGE_SCALE_STD,
    Battery,
    battery_of,
)
from flightlog.analyses.phases import Sortie
from flightlog.analyses.power import Flow, Integral, Monitor
from flightlog.analyses.track import airborne_window, ground_distance, start_of_roll
from flightlog.constants import COULOMB_PER_AH, JOULE_PER_WH
from flightlog.estimation.path import FlightPath
from flightlog.figures import Answer, Figure
from flightlog.uncertain import Quantity, Uncertain

if TYPE_CHECKING:
    from flightlog.recording import Recording

MAX_BLIND_SHARE = 0.05
"""Share of a window without samples and without a counter, above which it is withheld."""

MAX_CLIPPED_SHARE = 0.05
"""Share of a window with a clipped current, above which it is withheld."""


def energy_between(recording: Recording, start_s: float, end_s: float) -> Quantity | None:
    """Energy taken from the battery in a window.

    Values of adjoining windows add up exactly.

    Parameters
    ----------
    recording : Recording
        The log.
    start_s, end_s : float
        Window on the log's clock. [s]

    Returns
    -------
    Quantity or None
        Energy [Wh]; windows of one recording share the sources "current scale", "voltage
        scale" and "current offset". None where it can't be had: no current sensor, or too
        long without samples.
    """
    battery = battery_of(recording)
    if battery.reason or not end_s > start_s:
        return None
    total: Uncertain | None = None
    for monitor in battery.monitors:
        part = _energy(monitor, start_s, end_s)
        if part is None:
            return None
        total = part if total is None else total + part
    if total is None:
        return None
    flows = [m.power for m in battery.monitors]
    return _on_other_clock(total, recording, flows, (start_s, end_s), 1 / JOULE_PER_WH)


def charge_between(recording: Recording, start_s: float, end_s: float) -> Quantity | None:
    """Charge taken from the battery in a window [Ah]; as `energy_between`."""
    battery = battery_of(recording)
    if battery.reason or not end_s > start_s:
        return None
    parts = [_charge(monitor, start_s, end_s) for monitor in battery.monitors]
    whole = [part for part in parts if part is not None]
    if len(whole) < len(parts):
        return None
    total = whole[0]
    for part in whole[1:]:
        total = total + part
    if not battery.charges_add:
        total = total.scaled(1 / len(whole), "Ah")
    flows = [m.current for m in battery.monitors]
    share = 1.0 if battery.charges_add else 1 / len(whole)
    return _on_other_clock(total, recording, flows, (start_s, end_s), share / COULOMB_PER_AH)


def _on_other_clock(
    total: Uncertain,
    recording: Recording,
    flows: Sequence[Flow],
    window_s: tuple[float, float],
    scale: float,
) -> Uncertain:
    """Widen a window's total where the battery was logged by another clock than the flight.

    A window that is late by dt gains what flows at its end and loses what flows at its start.
    The same dt holds in every window, so the effects of adjoining ones add up as well.
    """
    partners = (p for p in recording.receipt.partners if "battery" in p.tables)
    std_s = max((p.offset_std_s for p in partners), default=0.0)
    if not std_s:
        return total
    start, end = (sum(float(flow.at(t)) for flow in flows) for t in window_s)
    effect = (end - start) * std_s * scale
    return total + Uncertain(0.0, {"clock of the battery": effect}, total.unit)


def _suffix(monitor: Monitor) -> str:
    """Sensors of different packs err independently."""
    return "" if monitor.instance == 0 else f" {monitor.instance + 1}"


def _window_sources(
    monitor: Monitor, flow: Flow, part: Integral, start_s: float, end_s: float
) -> dict[str, float] | None:
    """Error sources of one window alone; None when too much of it was not measured."""
    length = end_s - start_s
    clipped = monitor.clipped_in(start_s, end_s)
    if part.blind_s > MAX_BLIND_SHARE * length or clipped > MAX_CLIPPED_SHARE * length:
        return None
    name = f"{start_s:.3f}-{end_s:.3f}"
    sources = {f"sampling {name}": part.sampling_std}
    if part.blind_s > 0:
        low, high = np.quantile(flow.rate, [0.01, 0.99])
        # Anything between idle and full power may have happened while nothing was logged.
        sources[f"gaps {name}"] = part.blind_s * float(high - low) / math.sqrt(12)
    if clipped > 0:
        sources[f"clipping {name}"] = 0.2 * clipped * float(flow.rate.max())
    return sources


def _energy(monitor: Monitor, start_s: float, end_s: float) -> Uncertain | None:
    part = monitor.power.integral(start_s, end_s)
    own = _window_sources(monitor, monitor.power, part, start_s, end_s)
    if own is None:
        return None
    tail = _suffix(monitor)
    volt_seconds = monitor.voltage.integral(start_s, end_s).value
    sources = {
        f"current scale{tail}": CURRENT_SCALE_STD * part.value,
        f"voltage scale{tail}": VOLTAGE_SCALE_STD * part.value,
        f"current offset{tail}": monitor.zero.std_a * volt_seconds,
        **{name + tail: effect for name, effect in own.items()},
    }
    return Uncertain(part.value, sources, "J").scaled(1 / JOULE_PER_WH, "Wh")


def _charge(monitor: Monitor, start_s: float, end_s: float) -> Uncertain | None:
    part = monitor.current.integral(start_s, end_s)
    own = _window_sources(monitor, monitor.current, part, start_s, end_s)
    if own is None:
        return None
    tail = _suffix(monitor)
    sources = {
        f"current scale{tail}": CURRENT_SCALE_STD * part.value,
        f"current offset{tail}": monitor.zero.std_a * (end_s - start_s),
        **{name + tail: effect for name, effect in own.items()},
    }
    return Uncertain(part.value, sources, "C").scaled(1 / COULOMB_PER_AH, "Ah")


def answer(
    recording: Recording,
    sortie: Sortie,
    path: FlightPath | None = None,
    takeoff: Answer | None = None,
) -> Answer:
    """Give energy, charge and the extremes of current, voltage and power of one sortie.

    Parameters
    ----------
    recording : Recording
        The log.
    sortie : Sortie
        Its bounds.
    path : FlightPath, optional
        Unlocks energy.per_km.
    takeoff : Answer, optional
        Its "takeoff.start_time" and "takeoff.liftoff_time" replace the sortie's coarse times.
    """
    battery = battery_of(recording)
    start = start_of_roll(sortie, takeoff)
    figures: dict[str, Figure] = {}
    withheld: dict[str, str] = {}
    findings = battery_findings(recording, battery, sortie)
    if battery.reason:
        withheld.update(dict.fromkeys(NEEDS_CURRENT, battery.reason))
    else:
        _add_totals(recording, battery, sortie, start, figures, withheld)
        _add_per_km(recording, sortie, path, takeoff, figures, withheld)
    extremes = peaks(recording, battery, sortie)
    figures |= extremes.figures
    withheld |= extremes.withheld
    return Answer(figures, withheld, tuple(findings))


def _add_totals(
    recording: Recording,
    battery: Battery,
    sortie: Sortie,
    start: Uncertain,
    figures: dict[str, Figure],
    withheld: dict[str, str],
) -> None:
    if sortie.starts == "air":
        reason = "the log starts in the air, so the start of the flight is missing; log from rest"
        withheld.update({"energy.used": reason, "charge.used": reason})
        return
    for id_, between, scale in (
        ("energy.used", energy_between, 1 / JOULE_PER_WH),
        ("charge.used", charge_between, 1 / COULOMB_PER_AH),
    ):
        quantity = between(recording, start.value, sortie.end_s)
        if quantity is None:
            withheld[id_] = _why_not(battery, start.value, sortie.end_s)
            continue
        rate = sum(
            float((m.power if id_ == "energy.used" else m.current).at(start.value))
            for m in battery.monitors
        )
        figures[id_] = Figure(
            id_,
            _widened(quantity, abs(rate) * start.std * scale, "start of roll"),
            _method(battery, sortie),
            ("battery",),
        )


def _widened(quantity: Quantity, std: float, source: str) -> Quantity:
    return quantity.widened(std, source) if isinstance(quantity, Uncertain) else quantity


def _method(battery: Battery, sortie: Sortie) -> str:
    words = [
        "trapezoid over the samples; the interval holds "
        f"{100 * CURRENT_SCALE_STD:.1f} % (1 sigma) for the scale of the current sensor"
    ]
    offset = sum(m.zero.subtract_a for m in battery.monitors)
    if offset:
        words.append(f"sensor zero of {offset:.2f} A taken off")
    if len(battery.monitors) > 1:
        joint = "parallel" if battery.charges_add else "series"
        words.append(f"{len(battery.monitors)} monitors in {joint}")
    if sortie.ends == "air":
        words.append("up to the end of the log, in the air")
    return "; ".join(words)


def _why_not(battery: Battery, start_s: float, end_s: float) -> str:
    length = end_s - start_s
    for monitor in battery.monitors:
        blind = monitor.power.integral(start_s, end_s).blind_s
        if blind > MAX_BLIND_SHARE * length:
            return (
                f"no battery samples in {blind:.1f} s of {length:.1f} s and no energy counter; "
                "log the battery at 2 Hz or faster, with its consumed charge and energy"
            )
        clipped = monitor.clipped_in(start_s, end_s)
        if clipped > MAX_CLIPPED_SHARE * length:
            return (
                f"the current stood at the sensor's limit of {monitor.current.rate.max():.1f} A "
                f"for {clipped:.1f} s; fit a current sensor with a larger range"
            )
    return "the window holds no battery samples; log the battery during the flight"


def _add_per_km(
    recording: Recording,
    sortie: Sortie,
    path: FlightPath | None,
    takeoff: Answer | None,
    figures: dict[str, Figure],
    withheld: dict[str, str],
) -> None:
    window = airborne_window(sortie, takeoff)
    if path is None:
        withheld["energy.per_km"] = "no ground track without positions; log GPS"
        return
    start, end = max(window.start_s, float(path.time_s[0])), window.end_s
    energy = energy_between(recording, start, end)
    if energy is None:
        withheld["energy.per_km"] = _why_not(battery_of(recording), start, end)
        return
    distance = ground_distance(path, start, end)
    if distance is None or distance.value < 100:
        withheld["energy.per_km"] = (
            "under 100 m of ground track"
            if distance is not None
            else "too much of the flight has no position; check the GPS reception"
        )
        return
    ratio = energy.value / distance.value
    quantity = energy.scaled(1 / distance.value, "Wh/m")
    # Both ends move energy and distance together: only the difference to the mean rate is left.
    ends = math.hypot(window.start_std_s, window.end_std_s) / max(end - start, 1.0) * ratio
    quantity = _widened(quantity, ratio * distance.std / distance.value, "ground track")
    quantity = _widened(quantity, ends, "ends of the flight")
    seen = f"; over the seen part: {window.missing}" if window.missing else ""
    figures["energy.per_km"] = Figure(
        "energy.per_km",
        quantity.scaled(1000.0, "Wh/km"),
        f"airborne energy over smoothed ground track{seen}",
        ("battery", "gps"),
    )
