"""How hard the drive worked, from whatever the log holds of it."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flightlog.estimation.frames import Array

if TYPE_CHECKING:
    import pandas as pd

    from flightlog.recording import Recording

_LEAST_CURRENT_A = 3.0
"""A current that never varies by this much shows no motor running [A]."""

_LEAST_PULSE_US = 150.0
"""An output that never varies by this much drives nothing [us]."""

_FULL_TRAVEL_US = 600.0
"""Idle to full power is at least this much on a speed controller [us]."""

_USUAL_THROTTLE = 3
"""By convention of many autopilots; a hint between equals, never proof."""

_MOST_SAMPLES = 40_000
"""Slow signals: more samples than this only cost time."""


@dataclass(frozen=True, slots=True)
class Power:
    """Drive power over time, as a share of the largest of the recording.

    Attributes
    ----------
    time_s : array
        Log clock. [s]
    share : array
        0 idle, 1 the largest met.
    source : {"current", "throttle", "voltage", ""}
        "" when the log does not tell.
    channel : int or None
        The output taken for the throttle.
    """

    time_s: Array
    share: Array
    source: str
    channel: int | None = None


_UNKNOWN = Power(np.zeros(0), np.zeros(0), "")


def read_power(recording: Recording) -> Power:
    """Tell the drive power from current, else throttle output, else sag of the voltage.

    Current is a measurement; an output is what the speed controller was told; the voltage
    only shows that the load changed, and recovers with the battery.
    """
    battery = recording.one("battery")
    current = _samples(battery, "current_a")
    measured = _from_current(current) if current else None
    if measured is not None:
        return measured
    voltage = _samples(battery, "voltage_v")
    commanded = _from_outputs(recording.get("outputs"), voltage)
    if commanded is not None:
        return commanded
    return _from_voltage(*voltage) if voltage else _UNKNOWN


def _samples(table: pd.DataFrame | None, name: str) -> tuple[Array, Array] | None:
    if table is None or name not in table:
        return None
    time_s = table["time_s"].to_numpy(dtype=float)
    values = table[name].to_numpy(dtype=float, na_value=np.nan)
    # NaN compares as False; beyond these bounds there is no clock and no battery
    good = (abs(time_s) < 1e12) & (abs(values) < 1e6)
    time_s, values = time_s[good], values[good]
    stride = len(values) // _MOST_SAMPLES + 1
    return (time_s[::stride], values[::stride]) if len(values) >= 10 else None


def _sustained(values: Array) -> float:
    """Largest value of which three in a row are no lower.

    A percentile would miss the one second of power of an attempt in a long log, the maximum
    would believe a spike.
    """
    return float(np.max(np.minimum(np.minimum(values[:-2], values[1:-1]), values[2:])))


def _from_current(current: tuple[Array, Array]) -> Power | None:
    time_s, amperes = current
    idle, full = float(np.percentile(amperes, 2)), _sustained(amperes)
    # a log that holds only cruise has no idle to compare with: its current says nothing
    if full - idle < _LEAST_CURRENT_A or idle > 0.35 * full:
        return None
    return Power(time_s, np.clip((amperes - idle) / (full - idle), 0.0, 1.0), "current")


def _from_outputs(
    outputs: pd.DataFrame | None, voltage: tuple[Array, Array] | None
) -> Power | None:
    if outputs is None:
        return None
    channels = outputs["channel"].to_numpy(dtype=float, na_value=np.nan)
    times = outputs["time_s"].to_numpy(dtype=float)
    pulses = outputs["pulse_us"].to_numpy(dtype=float, na_value=np.nan)
    found: list[tuple[float, int, Array, Array]] = []
    for number in np.unique(channels[(channels >= 1) & (channels <= 64)]):
        rows = np.flatnonzero(channels == number)
        rows = rows[:: len(rows) // _MOST_SAMPLES + 1]
        rows = rows[(abs(times[rows]) < 1e12) & (pulses[rows] > 500) & (pulses[rows] < 2500)]
        if len(rows) < 10:
            continue
        share = _throttle_share(pulses[rows])
        if share is None:
            continue
        score = 0.5 * (int(number) == _USUAL_THROTTLE)
        if voltage is not None:
            score += max(0.0, -_correlation(times[rows], share, *voltage))
        found.append((score, -int(number), times[rows], share))
    if not found:
        return None
    _, channel, time_s, share = max(found, key=lambda f: f[:2])
    return Power(time_s, share, "throttle", -channel)


def _throttle_share(pulses: Array) -> Array | None:
    """Scale an output that behaves like a throttle: it dwells at its low end, near 1 ms.

    A control surface rests in the middle of its travel.
    """
    low, high = float(np.percentile(pulses, 1)), _sustained(pulses)
    dwells = np.mean(pulses <= low + 0.08 * (high - low))
    if high - low < _LEAST_PULSE_US or low > 1300 or dwells < 0.03:
        return None
    # a log of taxiing alone shows no full power: do not take its largest pulse for it
    share: Array = np.clip((pulses - low) / max(high - low, _FULL_TRAVEL_US), 0.0, 1.0)
    return share


def _correlation(time_s: Array, values: Array, other_time_s: Array, other: Array) -> float:
    there = np.interp(time_s, other_time_s, other)
    if np.std(there) < 1e-9 or np.std(values) < 1e-9:
        return 0.0
    return float(np.corrcoef(values, there)[0, 1])


def _from_voltage(time_s: Array, voltage: Array) -> Power:
    """Take the sag below the best of the last 20 s, as a share of the largest sag."""
    good = voltage > 0.5
    time_s, voltage = time_s[good], voltage[good]
    if len(voltage) < 10:
        return _UNKNOWN
    second = np.floor(time_s).astype(np.int64)
    seconds, start = np.unique(second, return_index=True)
    best = np.maximum.reduceat(voltage, start)
    # at most 20 s back in time, and at most 20 rows: the same thing at 1 Hz and above
    recent = best.copy()
    for back in range(1, 20):
        if back < len(best):
            close = seconds[back:] - seconds[:-back] <= 20
            recent[back:] = np.where(close, np.maximum(recent[back:], best[:-back]), recent[back:])
    reference = recent[np.searchsorted(seconds, second)]
    sag = (reference - voltage) / reference
    largest = _sustained(sag)
    # a battery that never sags by 2 % was never loaded, or the sensor is not at the battery
    if largest < 0.02:
        return _UNKNOWN
    return Power(time_s, np.clip(sag / largest, 0.0, 1.0), "voltage")
