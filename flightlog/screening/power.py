"""Current and voltage against what the charger and the battery's data sheet say.

The zero of the current (``current-offset``), a current at its limit (``current-clipped``) and
several monitors (``several-packs``) are found by the analyses themselves, which allow for them in
their intervals: `flightlog.analyses.power` and `flightlog.analyses.battery_findings`.
"""

from __future__ import annotations

import math
from collections.abc import Iterator
from itertools import pairwise
from typing import TYPE_CHECKING

import numpy as np

from flightlog.analyses.energy import charge_between
from flightlog.analyses.packs import CURRENT_SCALE_STD, VOLTAGE_SCALE_STD, battery_of
from flightlog.constants import COULOMB_PER_AH
from flightlog.estimation.frames import Array
from flightlog.findings import Finding, make_finding
from flightlog.screening.cells import rested_voltage
from flightlog.screening.context import FlightView, LogView
from flightlog.screening.series import column
from flightlog.screening.signals import REST_MARGIN_S, blocks, edges
from flightlog.uncertain import Uncertain

if TYPE_CHECKING:
    from flightlog.analyses.power import Flow

CHARGER_STD = 0.02 / math.sqrt(3)
"""Standard uncertainty of the charge that a charger shows: 2 % either way and nothing more known
(JCGM 100:2008, 4.3.7). [-]"""

CHARGE_EFFICIENCY = 0.995
CHARGE_EFFICIENCY_STD = 0.003
"""Charge that comes out of a lithium-polymer battery over the charge that went in. [-]"""

MOST_SCALE = 2.0
"""A sensor that is set up at all is not off by more than this factor."""

NEEDED_CHARGES = 5
"""Charges that have to agree before a scale is changed."""

STATED_RESISTANCE_STD = 0.2
"""Standard uncertainty of a stated resistance in flight: 10 K of unknown temperature. [-]"""

SIGNIFICANT = 3.0
"""Standard uncertainties that a difference has to have to be told."""

_COUNTER_STARTS = 0.02
_BLOCK_S = 1.0
_LEAST_STEP_A = 3.0
_LEAST_STEPS = 6
_SAME_PACK = 0.005


def charge_scale(counted_c: float, counted_std_c: float, charged_c: float) -> Uncertain:
    """Scale that the logged current would need, from one charge. [-]

    Parameters
    ----------
    counted_c, counted_std_c : float
        Charge that the log counts, without the doubt about its scale. [C]
    charged_c : float
        Charge that the charger put back. [C]
    """
    scale = charged_c * CHARGE_EFFICIENCY / counted_c
    return Uncertain(
        scale,
        {
            "charger": scale * CHARGER_STD,
            "charge efficiency": scale * CHARGE_EFFICIENCY_STD / CHARGE_EFFICIENCY,
            "count": scale * counted_std_c / counted_c,
        },
        "",
    )


def current_scale(view: LogView) -> Iterator[Finding]:
    """Compare the counted charge with what the charger put back.

    Only a log of a whole discharge can be compared; for another the finding is a note that says
    why not. The scale is proposed and never applied: the figures keep their values, and their
    intervals are widened by the difference.
    """
    charged = view.inputs.charged_coulomb
    if charged is None:
        return
    counted, reason = _counted(view, charged)
    if counted is None:
        yield make_finding(
            "current-scale",
            f"The charger's {charged / COULOMB_PER_AH:.3f} Ah can't be compared with the log: "
            f"{reason}.",
            severity="note",
            affects=(),
            evidence={"charged_ah": charged / COULOMB_PER_AH},
        )
        return
    yield _judged_scale(counted, charged)


def _judged_scale(counted: Uncertain, charged_c: float) -> Finding:
    """Say what both charges make of the scale: it agrees, it is off, or a number is wrong."""
    scale = charge_scale(counted.value, counted.std, charged_c)
    off = abs(scale.value - 1)
    agrees = off <= 2 * scale.std
    slip = not 1 / MOST_SCALE < scale.value < MOST_SCALE
    counted_ah, charged_ah = counted.value / COULOMB_PER_AH, charged_c / COULOMB_PER_AH
    said = (
        f"The log counts {counted_ah:.3f} Ah, {100 * counted_ah / charged_ah:.0f} % of the "
        f"{charged_ah:.3f} Ah of the charger: "
    )
    if agrees:
        said += f"they agree within {200 * scale.std:.0f} %."
    elif slip:
        said += "no sensor is off by so much, so the number is not of this log or not in Ah."
    else:
        said += (
            f"a scale of {scale.value:.2f} (± {2 * scale.std:.2f}) is proposed and was not "
            f"applied; it needs {NEEDED_CHARGES} charges that agree."
        )
    return make_finding(
        "current-scale",
        said,
        severity="note" if agrees or slip else None,
        affects=() if agrees or slip else None,
        remedy="Nothing to do." if agrees else "Check the number that was given." if slip else None,
        evidence={
            "counted_ah": counted_ah,
            "charged_ah": charged_ah,
            "scale": scale.value,
            "scale_std": scale.std,
        },
        widen=0.0 if agrees or slip else off,
    )


def _counted(view: LogView, charged_c: float) -> tuple[Uncertain | None, str]:
    """Charge of the whole log [C] without its doubt about the scale, or why it is no discharge."""
    battery = battery_of(view.recording)
    if battery.reason:
        return None, battery.reason
    reason = _not_whole(view, charged_c)
    if reason:
        return None, reason
    flows = [m.current for m in battery.monitors]
    start, end = min(f.time_s[0] for f in flows), max(f.time_s[-1] for f in flows)
    charge = charge_between(view.recording, float(start), float(end))
    if not isinstance(charge, Uncertain) or charge.value <= 0:
        return None, "too long a part of it has no current"
    kept = {n: e for n, e in charge.sources.items() if not n.startswith("current scale")}
    return Uncertain(charge.value, kept, "Ah").scaled(COULOMB_PER_AH, "C"), ""


def _not_whole(view: LogView, charged_c: float) -> str:
    """Why the log may not hold everything that was taken from the battery; "" if it does."""
    if view.recording.receipt.seams:
        return "the logger restarted, and what flowed meanwhile is not in it"
    if any(s.starts != "rest" for s in view.sorties):
        return "it does not start with the aircraft at rest"
    if any(s.ends != "standstill" for s in view.sorties):
        return "it does not end with the aircraft at a standstill"
    count = column(view.recording["battery"], "charge_used_coulomb")
    count = count[np.isfinite(count)]
    if count.size and count[0] > _COUNTER_STARTS * charged_c:
        return f"its counter starts at {count[0] / COULOMB_PER_AH:.3f} Ah"
    rested = [_rested_before(view, s.start_s) for s in view.sorties]
    known = [v for v in rested if v is not None]
    if any(b > a * (1 + _SAME_PACK) for a, b in pairwise(known)):
        return "the battery was changed or charged between its flights"
    return ""


def _rested_before(view: LogView, start_s: float) -> float | None:
    table = view.recording["battery"]
    rows = table.loc[(table["time_s"] > start_s - 10) & (table["time_s"] < start_s)]
    return rested_voltage(rows, start_s - REST_MARGIN_S) if len(rows) else None


def drop_resistance(current: Flow, voltage: Flow, start_s: float, end_s: float) -> Uncertain | None:
    """Resistance from steps of 1 s means: what the voltage falls by when the current rises. [ohm]

    Differences of neighbouring means take out the state of charge and most of the slow
    relaxation. This is a screen, and not the resistance of the battery: it holds everything
    between the cells and the sensor.

    Parameters
    ----------
    current, voltage : Flow
        Of one monitor. [A], [V]
    start_s, end_s : float
        Window. [s]

    Returns
    -------
    Uncertain or None
        None with too few steps of the current.
    """
    seconds = edges(start_s, end_s, _BLOCK_S)
    if seconds.size < _LEAST_STEPS + 1:
        return None
    amps = blocks(current.time_s, current.rate, seconds)
    volts = blocks(voltage.time_s, voltage.rate, seconds)
    step_a, step_v = np.diff(amps), np.diff(volts)
    use = np.isfinite(step_a) & np.isfinite(step_v)
    use &= np.abs(step_a) > _LEAST_STEP_A
    if use.sum() < _LEAST_STEPS:
        return None
    step_a, step_v = step_a[use], step_v[use]
    return _through_zero(step_a, -step_v)


def _through_zero(x: Array, y: Array) -> Uncertain:
    slope = float(x @ y) / float(x @ x)
    scatter = y - slope * x
    std = math.sqrt(float(scatter @ scatter) / (x.size - 1) / float(x @ x))
    return Uncertain(
        slope,
        {
            "scatter": std,
            "current scale": CURRENT_SCALE_STD * slope,
            "voltage scale": VOLTAGE_SCALE_STD * slope,
        },
        "ohm",
    )


def wiring_resistance(view: FlightView) -> Iterator[Finding]:
    """Compare the resistance that the sensor sees with the one stated for the battery.

    The least voltage at the battery was higher than measured by what the wiring took: its
    interval is widened by that.
    """
    aircraft = view.inputs.aircraft
    battery = battery_of(view.recording)
    if aircraft is None or aircraft.battery_resistance_ohm is None or len(battery.monitors) != 1:
        return
    monitor, stated = battery.monitors[0], aircraft.battery_resistance_ohm
    seen = drop_resistance(
        monitor.current, monitor.voltage, view.sortie.search_s[0], view.sortie.end_s
    )
    if seen is None:
        return
    wiring = seen.value - stated
    std = math.hypot(seen.std, STATED_RESISTANCE_STD * stated)
    if wiring <= SIGNIFICANT * std:
        return
    amps = float(monitor.current.running_mean(_BLOCK_S)[1].max(initial=0.0))
    least = view.figures.get("battery.min_voltage")
    share = wiring * amps / least.quantity.value if least is not None else 0.0
    yield make_finding(
        "wiring-resistance",
        f"The voltage falls by {1e3 * seen.value:.0f} mΩ times the current, the aircraft file "
        f"gives the battery {1e3 * stated:.0f} mΩ: {1e3 * wiring:.0f} (± {2e3 * std:.0f}) mΩ of "
        f"wiring are in the voltage, {wiring * amps:.1f} V at the greatest current.",
        evidence={
            "seen_ohm": seen.value,
            "stated_ohm": stated,
            "wiring_ohm": wiring,
            "wiring_std_ohm": std,
        },
        start_s=view.sortie.start_s,
        end_s=view.sortie.end_s,
        widen=max(0.0, share),
    )
