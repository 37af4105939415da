"""What is wrong with the battery's record, in words."""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flightlog.analyses.packs import NEEDS_CURRENT, Battery
from flightlog.analyses.phases import Sortie
from flightlog.analyses.power import Monitor, is_dead
from flightlog.findings import Finding, make_finding

if TYPE_CHECKING:
    from flightlog.recording import Recording


def battery_findings(recording: Recording, battery: Battery, sortie: Sortie) -> list[Finding]:
    """Give the findings about current, gaps and packs of one sortie.

    Parameters
    ----------
    recording : Recording
        The log; what its importer found is not said again.
    battery : Battery
        Its monitors with current.
    sortie : Sortie
        Its bounds.
    """
    found: list[Finding] = []
    for monitor in battery.monitors:
        found += _zero_findings(monitor)
        found += _gap_findings(monitor, sortie)
        clipped = monitor.clipped_in(sortie.start_s, sortie.end_s)
        if clipped > 0:
            top = float(monitor.current.rate.max())
            found.append(
                make_finding(
                    "current-clipped",
                    f"The current stood at {top:.1f} A for {clipped:.1f} s while the voltage "
                    "fell: the sensor was at its limit, and energy is more than measured.",
                    evidence={"limit_a": top, "seconds": clipped},
                    start_s=sortie.start_s,
                    end_s=sortie.end_s,
                )
            )
    if len(battery.monitors) > 1:
        how = "charges add" if battery.charges_add else "the same charge flows through all"
        found.append(
            make_finding(
                "several-packs",
                f"{len(battery.monitors)} battery monitors measure current: their energies are "
                f"summed; {how}.",
                evidence={"monitors": len(battery.monitors)},
            )
        )
    table = recording.get("battery")
    known = {f.code for f in recording.findings}
    if table is not None and not battery.monitors and "current-not-measured" not in known:
        current = table.get("current_a")
        values = np.empty(0) if current is None else current.to_numpy(dtype=float, na_value=np.nan)
        if is_dead(values[np.isfinite(values)]):
            found.append(
                make_finding(
                    "current-not-measured",
                    "The log has voltage but no current that moves.",
                    affects=NEEDS_CURRENT,
                )
            )
    return found


def _zero_findings(monitor: Monitor) -> list[Finding]:
    zero = monitor.zero
    found = []
    if zero.subtract_a and zero.parked_a is not None:
        found.append(
            make_finding(
                "current-offset",
                f"The current sensor reads {zero.parked_a:.2f} A with the motor off, which "
                f"avionics can't explain; {zero.subtract_a:.2f} A was taken off every reading.",
                evidence={"parked_a": zero.parked_a, "subtracted_a": zero.subtract_a},
            )
        )
    if abs(zero.drift_a) > 0.3:
        found.append(
            make_finding(
                "current-zero-drift",
                f"The current sensor's reading with the motor off moved by {zero.drift_a:+.2f} A "
                "during the flight.",
                evidence={"drift_a": zero.drift_a},
            )
        )
    if zero.parked_a is None:
        found.append(
            make_finding(
                "current-zero-unknown",
                "No stretch with the motor off shows the current sensor's zero; 0.6 A (95 %) is "
                "allowed for it.",
                evidence={"allowed_a": 2 * zero.std_a},
            )
        )
    return found


def _gap_findings(monitor: Monitor, sortie: Sortie) -> list[Finding]:
    part = monitor.power.integral(sortie.start_s, sortie.end_s)
    found = []
    if part.blind_s + part.counted_s > 0:
        gaps = monitor.power.gaps(sortie.start_s, sortie.end_s)
        found.append(
            make_finding(
                "battery-gap",
                f"Battery samples are missing for {part.blind_s + part.counted_s:.1f} s in "
                f"{len(gaps)} stretches: {part.counted_s:.1f} s taken from the logger's counter, "
                f"{part.blind_s:.1f} s bridged by a straight line and the interval widened.",
                evidence={"counted_s": part.counted_s, "bridged_s": part.blind_s},
                start_s=gaps[0][0],
                end_s=gaps[-1][1],
            )
        )
    step = float(np.median(np.diff(monitor.power.time_s)))
    if step > 1.0:
        found.append(
            make_finding(
                "battery-slow",
                f"Battery samples are {step:.1f} s apart: short peaks are not seen.",
                evidence={"step_s": step},
            )
        )
    return found
