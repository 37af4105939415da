"""Outputs that are not what the aircraft file or their column says."""

from __future__ import annotations

import math
from collections.abc import Iterator
from typing import TYPE_CHECKING

import numpy as np

from flightlog.columns import TABLES
from flightlog.estimation.frames import Array
from flightlog.findings import Finding, make_finding
from flightlog.screening.context import LogView
from flightlog.screening.series import column, samples, unit_remedy
from flightlog.screening.signals import blocks, edges

if TYPE_CHECKING:
    import pandas as pd

    from flightlog.recording import Recording

MOTOR_WORDS = ("motor", "throttle", "esc")
"""What the name of an output that drives a motor holds."""

LEAST_SHARE = 0.01
LEAST_VALUES = 10
"""Values that are no pulses, as share and number, from which on they are more than damage."""

FOLLOWS = 0.7
"""Correlation with the drive from which on an output is taken to drive it: current rises with
about the cube of the pulse, so that throttles have shown 0.78 and more. [-]"""

_LOW_US, _HIGH_US = next(
    (c.low or 0.0, c.high or np.inf) for c in TABLES["outputs"] if c.name == "pulse_us"
)
_BLOCK_S = 0.5
_LEAST_BLOCKS = 40
_LEAST_TRAVEL_US = 20.0
# Current and pulse stay where they are for seconds: so many blocks count as one.
_ALIKE = 10.0
_SIGNIFICANT = 3.0


def pulse_scale(least: float, greatest: float) -> str:
    """Recognise what outputs that are not microseconds may be.

    Parameters
    ----------
    least, greatest : float
        Of the values that can't be pulses.
    """
    if -1.05 <= least and greatest <= 1.05:
        return "shares of the full travel" + (", 0 to 1" if least >= 0 else ", -1 to 1")
    if -105 <= least and greatest <= 105:
        return "per cent of the full travel"
    if least >= 0 and greatest < _LOW_US:
        return "steps of a digital protocol, 0 to 2000"
    if -1200 <= least and greatest < _LOW_US:
        return "steps of a radio, -1024 to 1024"
    if least > _HIGH_US and greatest <= 65535:
        return "counts of a timer, or 16-bit shares of the full travel"
    return "of no known unit"


def pulse_unit(view: LogView) -> Iterator[Finding]:
    """Find outputs that are not pulses in microseconds, whether an importer left them out or not.

    Zero and 65535 stand for an output that is switched off; importers leave them out in silence.
    """
    seen = _impossible(view.recording)
    if seen is None:
        return
    count, whole, least, greatest = seen
    if count < LEAST_VALUES or count < LEAST_SHARE * whole:
        return
    yield make_finding(
        "pulse-unit",
        f"{count} of {whole} output values ({100 * count / whole:.0f} %) lie between {least:g} "
        f"and {greatest:g}, which are no pulses in microseconds: they look like "
        f"{pulse_scale(least, greatest)}.",
        evidence={"values": count, "of": whole, "least": least, "greatest": greatest},
        remedy=unit_remedy(view.recording),
    )


def _impossible(recording: Recording) -> tuple[int, int, float, float] | None:
    """Number of values that are no pulses, of how many, the least and the greatest of them."""
    for finding in recording.findings:
        told = finding.evidence
        key = "outputs.pulse_us"
        if finding.code == "values-out-of-range" and f"{key}.least" in told:
            table = recording.get("outputs")
            whole = int(told[key]) if table is None else len(table)
            return (
                int(told[key]),
                max(whole, int(told[key])),
                float(told[f"{key}.least"]),
                float(told[f"{key}.greatest"]),
            )
    pulse = column(recording.get("outputs"), "pulse_us")
    pulse = pulse[np.isfinite(pulse) & (pulse != 0) & (pulse != 65535)]
    strange = pulse[(pulse < _LOW_US) | (pulse > _HIGH_US)]
    if not strange.size:
        return None
    return strange.size, pulse.size, float(strange.min()), float(strange.max())


def throttle_channel(view: LogView) -> Iterator[Finding]:
    """Compare the output named motor with current or rotation: another one may be the throttle."""
    aircraft = view.inputs.aircraft
    outputs = view.recording.get("outputs")
    if aircraft is None or outputs is None:
        return
    named = [n for n, name in aircraft.outputs.items() if drives_motor(name)]
    drive = _drive(view.recording)
    if not named or drive is None:
        return
    what, time_s, level = drive
    followed, count = _correlations(outputs, time_s, level)
    if not followed:
        return
    best = max(followed, key=lambda n: followed[n])
    own = max((followed.get(n, 0.0) for n in named), default=0.0)
    if best in named or followed[best] < FOLLOWS:
        return
    # Fisher's z: a difference of correlations in standard deviations.
    apart = math.atanh(min(followed[best], 0.999)) - math.atanh(max(own, -0.999))
    if apart < _SIGNIFICANT * math.sqrt(2 / max(1.0, count / _ALIKE - 3)):
        return
    yield make_finding(
        "throttle-channel",
        f"The aircraft file names output {', '.join(map(str, named))} the motor, which goes with "
        f"the {what} at a correlation of {own:.2f}; output {best} does at {followed[best]:.2f}.",
        evidence={
            "named": ", ".join(map(str, named)),
            "correlation": own,
            "follows": best,
            "its_correlation": followed[best],
        },
    )


def drives_motor(name: str) -> bool:
    """Whether an output of this name in an aircraft file drives a motor."""
    words = name.lower()
    return any(word in words for word in MOTOR_WORDS)


def _drive(recording: Recording) -> tuple[str, Array, Array] | None:
    """What shows the motor's work: current, else rotation."""
    for table, name, what, least in (
        ("battery", "current_a", "current", 3.0),
        ("rotation", "speed_rad_s", "rotation", 50.0),
    ):
        time_s, level = samples(recording.one(table), name)
        if level.size >= _LEAST_BLOCKS and float(np.ptp(level)) > least:
            return what, time_s, level
    return None


def _correlations(
    outputs: pd.DataFrame, time_s: Array, level: Array
) -> tuple[dict[int, float], int]:
    """Correlation of each output with the drive over half-second means, and their number."""
    parts = edges(float(time_s[0]), float(time_s[-1]), _BLOCK_S)
    if parts.size < _LEAST_BLOCKS + 1:
        return {}, 0
    wanted = blocks(time_s, level, parts)
    at, channel, pulse = (column(outputs, n) for n in ("time_s", "channel", "pulse_us"))
    found: dict[int, float] = {}
    most = 0
    for number in np.unique(channel[np.isfinite(channel)]):
        rows = (channel == number) & np.isfinite(pulse)
        if rows.sum() < _LEAST_BLOCKS:
            continue
        means = blocks(at[rows], pulse[rows], parts)
        both = np.isfinite(means) & np.isfinite(wanted)
        a, b = means[both], wanted[both]
        if a.size < _LEAST_BLOCKS or np.ptp(a) < _LEAST_TRAVEL_US or np.ptp(b) == 0:
            continue
        found[int(number)] = float(np.corrcoef(a, b)[0, 1])
        most = max(most, a.size)
    return found, most
