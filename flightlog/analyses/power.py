"""What flows out of the battery: one series a monitor, integrated without hiding gaps.

Power and current are taken as straight lines between samples. Where samples are missing
longer than `GAP_S`, the logger's own counter bridges the hole if it was running; else a
straight line does, and the integral says for how long (`Integral.blind_s`).
"""

from __future__ import annotations

from dataclasses import dataclass, field
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from flightlog.columns import TABLES
from flightlog.estimation.frames import Array

if TYPE_CHECKING:
    import pandas as pd

    from flightlog.recording import Recording

Mask = NDArray[np.bool_]

GAP_S = 1.0
"""Longest spacing of samples that a straight line may bridge without a word. [s]"""

AVIONICS_A = (0.0, 0.8)
"""What receiver, autopilot and servos at rest can draw at the main battery. [A]"""

AVIONICS_TYPICAL_A = 0.4
"""Middle of what they usually draw (0.2 to 0.6 A). [A]"""

OFFSET_STD_A = 0.15
"""Standard uncertainty of a current zero judged from a parked aircraft: the avionics' own
draw is known to 0.3 A at 95 %. [A]"""

OFFSET_UNKNOWN_STD_A = 0.3
"""Standard uncertainty of a current zero that no parked stretch shows. [A]"""

_PARKED_S = 3.0
_FLOOR_WITHOUT_ARMING_A = 2.0
_DEAD_A = 0.05
_CLIPPED_SAMPLES = 5
_CLIPPED_ABOVE_A = 5.0


@dataclass(frozen=True, slots=True)
class Integral:
    """An integral over a window.

    Attributes
    ----------
    value : float
        In the unit of the series times seconds.
    sampling_std : float
        Standard uncertainty from noise and from what happens between samples.
    blind_s : float
        Seconds without samples and without a counter, bridged by a straight line.
    counted_s : float
        Seconds without samples that the logger's counter bridged.
    """

    value: float
    sampling_std: float
    blind_s: float
    counted_s: float


@dataclass(frozen=True, slots=True)
class Flow:
    """A sampled rate, with the logger's own integral of it where it kept one.

    Attributes
    ----------
    time_s, rate : array
        Rising times [s] and the rate at them.
    total : array
        Integral of the straight lines from the first sample on.
    counter_time_s, counter : array
        The logger's own integral; empty where it kept none.
    gap_s : float
        Spacing from which on samples are missing. [s]
    """

    time_s: Array
    rate: Array
    total: Array
    counter_time_s: Array
    counter: Array
    gap_s: float = field(init=False)

    def __post_init__(self) -> None:
        usual = float(np.median(np.diff(self.time_s))) if self.time_s.size > 1 else 0.0
        object.__setattr__(self, "gap_s", max(GAP_S, 2.5 * usual))

    def gaps(self, start_s: float, end_s: float) -> list[tuple[float, float]]:
        """Stretches of the window without samples, ends included. [s]"""
        if self.time_s.size == 0:
            return [(start_s, end_s)]
        inside = self.time_s[(self.time_s > start_s) & (self.time_s < end_s)]
        before = self.time_s[self.time_s <= start_s][-1:]
        after = self.time_s[self.time_s >= end_s][:1]
        # Without a sample outside, the window's own end is the farthest that is asked for.
        knots = np.concatenate(
            [before if before.size else [start_s], inside, after if after.size else [end_s]]
        )
        long = np.flatnonzero(np.diff(knots) > self.gap_s)
        cut = [(max(knots[i], start_s), min(knots[i + 1], end_s)) for i in long]
        return [(float(a), float(b)) for a, b in cut if b > a]

    def at(self, time_s: Array | float) -> Array:
        """Rate at any time, straight between samples, held beyond the ends."""
        return np.asarray(np.interp(time_s, self.time_s, self.rate), dtype=float)

    def up_to(self, time_s: Array | float) -> Array:
        """Exact integral of `at` from the first sample."""
        t = np.asarray(time_s, dtype=float)
        i = np.clip(np.searchsorted(self.time_s, t, side="right") - 1, 0, None)
        return np.asarray(
            self.total[i] + 0.5 * (self.rate[i] + self.at(t)) * (t - self.time_s[i]), dtype=float
        )

    def integral(self, start_s: float, end_s: float) -> Integral:
        """Integrate over a window, counters before straight lines where samples are missing."""
        value = float(self.up_to(end_s) - self.up_to(start_s))
        blind = counted = 0.0
        for a, b in self.gaps(start_s, end_s):
            count = self._counted(a, b)
            if count is None:
                blind += b - a
            else:
                value += count - float(self.up_to(b) - self.up_to(a))
                counted += b - a
        return Integral(value, self._sampling_std(start_s, end_s), blind, counted)

    def _counted(self, start_s: float, end_s: float) -> float | None:
        """Counter's growth over a gap; None where it does not span it or fell back."""
        if self.counter.size < 2:
            return None
        lo, hi = self.counter_time_s[0] - GAP_S, self.counter_time_s[-1] + GAP_S
        if start_s < lo or end_s > hi:
            return None
        a, b = np.interp([start_s, end_s], self.counter_time_s, self.counter)
        first = np.searchsorted(self.counter_time_s, start_s, side="right") - 1
        last = np.searchsorted(self.counter_time_s, end_s, side="left") + 1
        inside = self.counter[max(first, 0) : last]
        return float(b - a) if (np.diff(inside) >= 0).all() and b > a else None

    def _sampling_std(self, start_s: float, end_s: float) -> float:
        """Noise by second differences, which hold the bends between samples as well."""
        inside = (self.time_s >= start_s) & (self.time_s <= end_s)
        t, x = self.time_s[inside], self.rate[inside]
        if x.size < 4:
            return 0.5 * float(np.ptp(x) if x.size else 0.0) * (end_s - start_s)
        step = np.minimum(np.diff(t), self.gap_s)
        noise = float(np.sqrt(np.mean(np.diff(x, 2) ** 2) / 6))
        return noise * float(np.sqrt(np.sum(step**2)))

    def running_mean(self, width_s: float) -> tuple[Array, Array]:
        """Means over ``width_s`` about every sample that no gap or end cuts into.

        Returns
        -------
        time_s, mean : array
            Centres [s] and means. Single samples where they are farther apart than the width.
        """
        t = self.time_s
        if t.size < 2 or float(np.median(np.diff(t))) >= width_s:
            return t, self.rate
        lo, hi = t - width_s / 2, t + width_s / 2
        mean = (self.up_to(hi) - self.up_to(lo)) / width_s
        long = np.diff(t) > self.gap_s
        holes = np.concatenate([[0], np.cumsum(long)])
        span_lo = np.clip(np.searchsorted(t, lo, side="right") - 1, 0, None)
        span_hi = np.clip(np.searchsorted(t, hi, side="left"), None, t.size - 1)
        whole = (lo >= t[0]) & (hi <= t[-1]) & (holes[span_hi] == holes[span_lo])
        return t[whole], mean[whole]


@dataclass(frozen=True, slots=True)
class Zero:
    """Where the current sensor's zero is.

    Attributes
    ----------
    subtract_a, std_a : float
        What was taken off every reading, and its standard uncertainty. [A]
    parked_a : float or None
        Reading with the motor stopped; None where the log shows no such stretch. [A]
    drift_a : float
        Reading after minus before the flight, 0 where only one is there. [A]
    """

    subtract_a: float
    std_a: float
    parked_a: float | None
    drift_a: float = 0.0


@dataclass(frozen=True, slots=True)
class Monitor:
    """One battery monitor with current and voltage, its zero corrected.

    Attributes
    ----------
    instance : int
        Which of several.
    current, power, voltage : Flow
        [A], [W], [V].
    zero : Zero
        What was done to the current.
    clipped_s : tuple of (float, float)
        Stretches in which the current stood at its largest reading. [s]
    """

    instance: int
    current: Flow
    power: Flow
    voltage: Flow
    zero: Zero
    clipped_s: tuple[tuple[float, float], ...]

    def clipped_in(self, start_s: float, end_s: float) -> float:
        """Clipped seconds of a window. [s]"""
        return sum(max(0.0, min(b, end_s) - max(a, start_s)) for a, b in self.clipped_s)


def monitors(recording: Recording) -> tuple[Monitor, ...]:
    """Give the monitors that measure current and voltage; empty where none does."""
    table = recording.get("battery")
    if table is None:
        return ()
    found = []
    for instance, rows in _instances(table):
        monitor = _monitor(instance, rows, recording.get("arming"))
        if monitor is not None:
            found.append(monitor)
    return tuple(found)


def voltages(recording: Recording) -> tuple[Flow, ...]:
    """Give the voltage of every monitor, whether it measures current or not."""
    table = recording.get("battery")
    if table is None:
        return ()
    flows = []
    for _, rows in _instances(table):
        t = rows["time_s"].to_numpy(dtype=float)
        volts = _believable(rows, "voltage_v")
        good = np.isfinite(volts) & np.isfinite(t)
        if good.sum() >= 2:
            flows.append(_flow(t[good], volts[good], None, None))
    return tuple(flows)


def _instances(table: pd.DataFrame) -> list[tuple[int, pd.DataFrame]]:
    if "instance" not in table:
        return [(0, table)]
    return [
        (int(i), table.loc[table["instance"] == i])
        for i in sorted(table["instance"].dropna().unique())
    ]


_BOUNDS = {c.name: (c.low, c.high) for c in TABLES["battery"]}


def _believable(rows: pd.DataFrame, column: str) -> Array:
    """Values of a column, NaN where missing or outside what can be a measurement."""
    if column not in rows:
        return np.full(len(rows), np.nan)
    x = rows[column].to_numpy(dtype=float, na_value=np.nan).copy()
    low, high = _BOUNDS[column]
    with np.errstate(invalid="ignore"):
        x[~np.isfinite(x) | (x < (low or 0.0)) | (x > (high or np.inf))] = np.nan
    return x


def _flow(t: Array, rate: Array, counter: Array | None, counter_t: Array | None) -> Flow:
    # Two rows of one instant would count twice as noise, never as charge; keep the last.
    keep = np.append(np.diff(t) > 0, True)
    t, rate = t[keep], rate[keep]
    total = np.concatenate([[0.0], np.cumsum(0.5 * (rate[1:] + rate[:-1]) * np.diff(t))])
    none = np.empty(0)
    return Flow(
        t,
        rate,
        total,
        none if counter_t is None else counter_t,
        none if counter is None else counter,
    )


def _monitor(instance: int, rows: pd.DataFrame, arming: pd.DataFrame | None) -> Monitor | None:
    t = rows["time_s"].to_numpy(dtype=float)
    raw, volts = _believable(rows, "current_a"), _believable(rows, "voltage_v")
    has_current = np.isfinite(t) & np.isfinite(raw)
    both = has_current & np.isfinite(volts)
    if both.sum() < 10 or is_dead(raw[has_current]):
        return None
    zero = find_zero(t[has_current], raw[has_current], _disarmed(t[has_current], arming))
    amps = raw - zero.subtract_a
    charge, energy = _believable(rows, "charge_used_coulomb"), _believable(rows, "energy_used_j")
    # The counters hold the offset as well.
    charge = charge - zero.subtract_a * (t - t[0])
    energy = energy - zero.subtract_a * float(np.nanmedian(volts)) * (t - t[0])
    q, e = np.isfinite(charge), np.isfinite(energy)
    current = _flow(t[has_current], amps[has_current], charge[q], t[q])
    voltage = _flow(t[both], volts[both], None, None)
    return Monitor(
        instance,
        current,
        _flow(t[both], (amps * volts)[both], energy[e], t[e]),
        voltage,
        zero,
        tuple(find_clipping(current, voltage)),
    )


def find_clipping(current: Flow, voltage: Flow) -> list[tuple[float, float]]:
    """Stretches where the current stood at its largest reading while the voltage fell. [s]"""
    amps, t = current.rate, current.time_s
    top = float(amps.max())
    at_top = amps == top
    repeats = np.diff(amps) == 0
    others = ~(at_top[1:] & at_top[:-1])
    # A log in coarse steps repeats every value, not only the largest.
    coarse = others.sum() > 0 and float(repeats[others].mean()) > 0.3
    if top <= _CLIPPED_ABOVE_A or coarse:
        return []
    edges = np.diff(np.concatenate([[0], at_top.astype(int), [0]]))
    runs = []
    for i, j in zip(np.flatnonzero(edges == 1), np.flatnonzero(edges == -1) - 1, strict=True):
        if j - i + 1 < _CLIPPED_SAMPLES:
            continue
        slope = np.polyfit(t[i : j + 1] - t[i], voltage.at(t[i : j + 1]), 1)[0]
        if slope < 0:
            runs.append((float(t[i]), float(t[j])))
    return runs


def is_dead(current_a: Array) -> bool:
    """Whether readings are those of an absent sensor: near zero throughout, or one value."""
    if current_a.size == 0:
        return True
    same = current_a.size > 50 and float(np.ptp(current_a)) == 0.0
    return same or float(np.max(np.abs(current_a))) <= _DEAD_A


def _disarmed(t: Array, arming: pd.DataFrame | None) -> Mask | None:
    """Whether the motor may not run; None where the log does not tell."""
    if arming is None:
        return None
    at = arming["time_s"].to_numpy(dtype=float)
    state = arming["armed"].to_numpy(dtype=float)
    i = np.searchsorted(at, t, side="right") - 1
    # Before the first change the state was the opposite of what it changed to.
    first = 1.0 - state[0]
    return np.asarray(np.where(i < 0, first, state[np.clip(i, 0, None)]) < 0.5, dtype=bool)


def find_zero(t: Array, current_a: Array, disarmed: Mask | None) -> Zero:
    """Judge the sensor's zero from stretches with the motor stopped.

    The avionics draw real current there: only what they can't draw is an offset.

    Parameters
    ----------
    t, current_a : array
        Times [s] and readings [A].
    disarmed : array or None
        Whether the motor may not run.
    """
    parked = np.zeros(t.size, dtype=bool) if disarmed is None else disarmed
    drift = 0.0
    if _seconds(t, parked) >= _PARKED_S:
        level = float(np.median(current_a[parked]))
        drift = _drift(t, current_a, parked)
    else:
        lowest = _lowest_level(t, current_a)
        if lowest is None or abs(lowest) > _FLOOR_WITHOUT_ARMING_A:
            return Zero(0.0, OFFSET_UNKNOWN_STD_A, None)
        level = lowest
    std = float(np.hypot(OFFSET_STD_A, drift / 2))
    if AVIONICS_A[0] - 0.1 <= level <= AVIONICS_A[1]:
        return Zero(0.0, std, level, drift)
    return Zero(level - AVIONICS_TYPICAL_A, std, level, drift)


def _seconds(t: Array, rows: Mask) -> float:
    """How long the marked rows last, missing samples not counted. [s]"""
    if t.size < 2:
        return 0.0
    step = np.minimum(np.diff(t), GAP_S)
    return float(step[rows[1:] & rows[:-1]].sum())


def _lowest_level(t: Array, current_a: Array) -> float | None:
    """Lowest mean over `_PARKED_S`. [A]"""
    _, mean = _flow(t, current_a, None, None).running_mean(_PARKED_S)
    return float(mean.min()) if mean.size else None


def _drift(t: Array, current_a: Array, parked: Mask) -> float:
    """Parked reading after the last powered stretch minus before the first. [A]"""
    powered = np.flatnonzero(~parked)
    if powered.size == 0:
        return 0.0
    before, after = parked.copy(), parked.copy()
    before[powered[0] :] = False
    after[: powered[-1] + 1] = False
    if min(_seconds(t, before), _seconds(t, after)) < _PARKED_S:
        return 0.0
    return float(np.median(current_a[after]) - np.median(current_a[before]))
