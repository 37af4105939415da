"""Does the motor's current weaken the radio link?"""

from __future__ import annotations

from typing import TYPE_CHECKING

import numpy as np

from flightlog.analyses.link_data import Seconds
from flightlog.analyses.packs import battery_of
from flightlog.estimation.link_budget import partial_correlation
from flightlog.figures import Figure
from flightlog.findings import Finding, make_finding
from flightlog.uncertain import Uncertain

if TYPE_CHECKING:
    from flightlog.recording import Recording

CURRENT_ALARM = 0.3
"""Correlation with the motor's current from which on an inspection is worth it. [-]"""

_LEAST_SWING_A = 0.5


def with_current(
    recording: Recording, rows: Seconds, least: int
) -> tuple[Figure, list[Finding]] | str:
    """Give link.current_correlation and what it means, or why it can't be had.

    Parameters
    ----------
    recording : Recording
        Its battery.
    rows : Seconds
        Power and place; counts serve as well as decibels.
    least : int
        Seconds without which nothing is said.
    """
    battery = battery_of(recording)
    if battery.reason:
        return battery.reason
    current = np.zeros(rows.time_s.size)
    known = ~rows.below
    for monitor in battery.monitors:
        t, mean = monitor.current.running_mean(1.0)
        if t.size < 2:
            return "too few samples of the current"
        current += np.interp(rows.time_s, t, mean)
        known &= (rows.time_s >= t[0]) & (rows.time_s <= t[-1])
        for a, b in monitor.current.gaps(float(t[0]), float(t[-1])):
            known &= (rows.time_s <= a) | (rows.time_s >= b)
    if known.sum() < least or float(current[known].std()) < _LEAST_SWING_A:
        return "the current hardly changed where the strength of the signal is known"
    columns = [np.log10(rows.distance_m)]
    aimed = bool(rows.aimed[known].all())
    if aimed:
        # What the aircraft's attitude in climb does to the signal is not the motor's doing.
        forward, right, down = rows.direction(np.ones(rows.time_s.size, dtype=bool)).T
        columns += [forward, right, down, forward * right, forward**2 - right**2]
    design = np.column_stack(columns)[known]
    found = partial_correlation(rows.power[known], current[known], design - design.mean(axis=0))
    if found is None:
        return "signal and current change too slowly and too seldom to tell them from chance"
    figure = Figure(
        "link.current_correlation",
        Uncertain.of(found.value, (found.high - found.low) / 3.919928, "", source="scatter"),
        f"distance{' and direction' if aimed else ''} taken out; "
        f"{found.samples:.0f} independent seconds of {int(known.sum())}",
        ("link", "gps", "battery"),
    )
    if found.high >= -CURRENT_ALARM:
        return figure, []
    text = (
        f"The signal weakens with the motor's current: partial correlation {found.value:.2f} "
        f"({found.low:.2f} to {found.high:.2f}), distance taken out."
    )
    evidence = {"correlation": found.value, "low": found.low, "high": found.high}
    return figure, [make_finding("link-current", text, evidence=evidence)]
