"""What the take-off analysis needs, cut out of a recording and brought to one clock.

Everything here is preparation: which IMU, which direction, where the zero of the barometer
is, roughly when the wheels passed 2 m. Nothing is measured yet.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
import pandas as pd
from numpy.typing import NDArray

from flightlog.analyses.phases import Sortie
from flightlog.columns import TABLES
from flightlog.constants import G0_M_S2
from flightlog.estimation.frames import Array
from flightlog.estimation.liftoff_evidence import Series
from flightlog.estimation.roll import ForwardAcceleration, block_means
from flightlog.recording import Recording

LEAST_IMU_RATE_HZ = 20.0
"""Below this an IMU shows neither the start of a roll nor a lift-off. [Hz]"""

LEAST_SPECK_M_S2 = 12.0
"""A single sample of the accelerometer nearer to its neighbours than this is believed. [m/s²]"""

LONGEST_IMU_GAP_S = 0.3
"""A longer hole in the IMU during the roll makes it useless for carrying speed. [s]"""

LONGEST_FIX_GAP = (1.6, 2.6)
"""A longer hole in the fixes during the roll, in seconds and in usual distances of fixes,
hides how far it rolled, or whether it rolled on. [s], [-]"""

LONGEST_STEP_S = 10.0
LONGEST_ROLL_S = 120.0
"""Fixes farther apart than this show no take-off, and none takes longer than this from 5 m/s to
2 m of height: the times of such a log are in another unit. [s]"""

ROLLING_M_S = 5.0
"""Ground speed that only a roll under power reaches. [m/s]"""

LEAST_SPEED_STD_M_S = 0.1
"""Doppler noise is never taken to be smaller, whatever the receiver claims. [m/s]"""

USABLE_FIX = 3

# A course is the same a turn further; everything else outside its bounds is no measurement.
_BOUNDS = {
    c.name: (c.low, c.high)
    for table in ("gps", "imu", "attitude", "baro")
    for c in TABLES[table]
    if c.name != "course_deg"
}


@dataclass(frozen=True, slots=True)
class Fixes:
    """Good fixes of the window: row time, speed over ground and its parts, climb."""

    time_s: Array
    speed_m_s: Array
    east_m_s: Array
    north_m_s: Array
    climb_m_s: Array
    speed_std_m_s: Array

    @property
    def rate_hz(self) -> float:
        """Usual rate of fixes; 0 where time stands still. [Hz]"""
        step = float(np.median(np.diff(self.time_s))) if len(self.time_s) > 1 else 0.0
        return 1 / step if step > 0 else 0.0


@dataclass(frozen=True, slots=True)
class Body:
    """IMU with attitude at its samples, in the window."""

    time_s: Array
    forward_m_s2: Array
    upward_m_s2: Array
    rate_hz: float


@dataclass(frozen=True, slots=True)
class TakeoffData:
    """One runway take-off, ready to be measured.

    Attributes
    ----------
    fixes : Fixes
        Position receiver.
    body : Body or None
        IMU and attitude; None when absent or too slow, ``no_body`` then says why.
    height : Series or None
        Barometric height above the place of the start. [m]
    pitch : Series or None
        Pitch. [rad]
    fast_s : float
        Start of the last unbroken stretch above `ROLLING_M_S` before lift-off. [s]
    two_metres_s : float
        About when the wheels passed 2 m. [s]
    """

    fixes: Fixes
    body: Body | None
    no_body: str
    height: Series | None
    pitch: Series | None
    fast_s: float
    two_metres_s: float


def window(table: pd.DataFrame | None, start_s: float, end_s: float) -> pd.DataFrame | None:
    """Rows between two times; None when there are fewer than three."""
    if table is None:
        return None
    time = table["time_s"].to_numpy()
    first, last = np.searchsorted(time, [start_s, end_s])
    return table.iloc[first:last] if last - first >= 3 else None


def column(table: pd.DataFrame, name: str) -> Array:
    """A column as floats; NaN where it can't be a measurement, all NaN when there is none."""
    if name not in table:
        return np.full(len(table), np.nan)
    values = table[name].to_numpy(dtype=float, na_value=np.nan)
    low, high = _BOUNDS.get(name, (None, None))
    if low is None or high is None:
        return np.asarray(values)
    return np.where((values >= low) & (values <= high), values, np.nan)


def good_fixes(recording: Recording, start_s: float, end_s: float) -> Fixes | None:
    """Fixes with a full position and a speed; None when there are fewer than three."""
    rows = window(recording.one("gps"), start_s, end_s)
    if rows is None:
        return None
    speed, course = column(rows, "ground_speed_m_s"), np.radians(column(rows, "course_deg"))
    fix = column(rows, "fix")
    # At rest a receiver may give no course; the direction of no speed does not matter.
    good = np.isfinite(speed) & ~(fix < USABLE_FIX) & (np.isfinite(course) | (speed < 1.0))
    if good.sum() < 3:
        return None
    course = np.where(np.isfinite(course), course, 0.0)
    claimed = column(rows, "speed_accuracy_m_s")
    std = np.maximum(np.where(np.isfinite(claimed), claimed, 0.0), LEAST_SPEED_STD_M_S)
    return Fixes(
        column(rows, "time_s")[good],
        speed[good],
        (speed * np.sin(course))[good],
        (speed * np.cos(course))[good],
        column(rows, "climb_m_s")[good],
        std[good],
    )


def _attitude_at(recording: Recording, time: Array) -> tuple[Array, Array, Series] | None:
    rows = window(recording.get("attitude"), float(time[0]) - 1, float(time[-1]) + 1)
    if rows is None:
        return None
    t = column(rows, "time_s")
    roll, pitch = column(rows, "roll_rad"), column(rows, "pitch_rad")
    good = np.isfinite(roll) & np.isfinite(pitch)
    if good.sum() < 3:
        return None
    t, roll, pitch = t[good], roll[good], pitch[good]
    series = Series(t, pitch, np.full(len(t), 0.01))
    return np.interp(time, t, roll), np.interp(time, t, pitch), series


def _specks(values: Array) -> NDArray[np.bool_]:
    """Single samples far from their neighbours: damaged bytes, not motion.

    An impact lasts for several samples of an IMU that is fast enough to show it, so that the
    median of seven goes along with it; vibration stays within six times its usual size.
    """
    if len(values) < 7 or not np.isfinite(values).any():
        return np.zeros(len(values), dtype=bool)
    filled = np.where(np.isfinite(values), values, np.nanmedian(values))
    near = np.lib.stride_tricks.sliding_window_view(np.pad(filled, 3, mode="edge"), 7)
    off = np.abs(filled - np.median(near, axis=1))
    return np.asarray(off > max(LEAST_SPECK_M_S2, 6 * 1.4826 * float(np.median(off))))


def body_motion(recording: Recording, start_s: float, end_s: float) -> tuple[Body | None, str]:
    """Accelerations along the ground and upward from IMU and attitude.

    ``forward = fx cos(pitch) + fz sin(pitch)`` and
    ``upward = fx sin(pitch) - fy sin(roll) cos(pitch) - fz cos(roll) cos(pitch) - g`` with
    specific force in body axes (forward, right, down). The second value says why not, when
    the first is None.
    """
    rows = window(recording.one("imu"), start_s, end_s)
    if rows is None:
        return None, "the log has no IMU data"
    time = column(rows, "time_s")
    f = [column(rows, f"accel_{axis}_m_s2") for axis in "xyz"]
    good = np.all([np.isfinite(a) & ~_specks(a) for a in f], axis=0)
    good[1:] &= np.diff(time) > 0
    time, f = time[good], [a[good] for a in f]
    if len(time) < 10:
        return None, "the log has no usable IMU data"
    rate = 1 / float(np.median(np.diff(time)))
    if rate < LEAST_IMU_RATE_HZ:
        return None, f"the IMU was logged at {rate:.0f} Hz; {LEAST_IMU_RATE_HZ:.0f} Hz are needed"
    attitude = _attitude_at(recording, time)
    if attitude is None:
        return None, "the log has no attitude to turn the IMU by"
    roll, pitch, _ = attitude
    forward = f[0] * np.cos(pitch) + f[2] * np.sin(pitch)
    upward = (
        f[0] * np.sin(pitch)
        - f[1] * np.sin(roll) * np.cos(pitch)
        - f[2] * np.cos(roll) * np.cos(pitch)
        - G0_M_S2
    )
    return Body(time, forward, upward, rate), ""


def barometric_height(
    recording: Recording, start_s: float, end_s: float, roll_s: float
) -> Series | None:
    """Height above the place of the start.

    Zero is the median of up to 10 s that end 1.5 s before the roll.
    """
    rows = window(recording.one("baro"), start_s, end_s)
    if rows is None:
        return None
    time, height = column(rows, "time_s"), column(rows, "height_m")
    good = np.isfinite(height)
    if good.sum() < 5:
        return None
    time, height = time[good], height[good]
    before = (time > roll_s - 12) & (time < roll_s - 1.5)
    if before.sum() < 3:
        return None
    zero = float(np.median(height[before]))
    # Second differences: a slow drift before the roll is not noise.
    rest = height[before]
    noise = float(np.std(np.diff(rest, 2)) / math.sqrt(6)) if len(rest) > 6 else 0.25
    std = max(0.25, 1.5 * noise)
    return Series(time, height - zero, np.full(len(time), std))


def _passes_two_metres(fixes: Fixes, height: Series | None, fast_s: float) -> float | None:
    """First time after the fast part of the roll that the height is 2 m for good."""
    if height is not None and len(height.time_s) >= 5:
        smooth = np.convolve(height.value, np.ones(5) / 5, mode="same")
        high = np.flatnonzero((height.time_s > fast_s) & (smooth > 2.0))
        if high.size:
            return float(height.time_s[high[0]])
    climb = np.where(np.isfinite(fixes.climb_m_s), fixes.climb_m_s, 0.0)
    after = fixes.time_s > fast_s
    if after.sum() < 2 or not np.isfinite(fixes.climb_m_s).any():
        return None
    time = fixes.time_s[after]
    # Climb rates below 0.3 m/s are noise on the ground and would add up.
    rise = np.where(climb[after] > 0.3, climb[after], 0.0)
    gained = np.concatenate([[0.0], np.cumsum(np.diff(time) * (rise[1:] + rise[:-1]) / 2)])
    high = np.flatnonzero(gained > 2.0)
    if not high.size:
        return None
    k = int(high[0])
    part = (2.0 - gained[k - 1]) / (gained[k] - gained[k - 1])
    return float(time[k - 1] + part * (time[k] - time[k - 1])) - 0.15


def _fast_time(fixes: Fixes, before_s: float) -> float | None:
    """Start of the last unbroken stretch above `ROLLING_M_S` that reaches ``before_s``."""
    at = int(np.searchsorted(fixes.time_s, before_s, side="right")) - 1
    # The coarse lift-off may lie a fix before the speed is there.
    at = min(max(at, 0) + 1, len(fixes.time_s) - 1)
    while at < len(fixes.time_s) - 1 and fixes.speed_m_s[at] < ROLLING_M_S:
        at += 1
    if fixes.speed_m_s[at] < ROLLING_M_S:
        return None
    while at > 0 and fixes.speed_m_s[at - 1] >= ROLLING_M_S:
        at -= 1
    if at == 0:
        return float(fixes.time_s[0])
    v0, v1 = fixes.speed_m_s[at - 1], fixes.speed_m_s[at]
    part = (ROLLING_M_S - v0) / (v1 - v0)
    return float(fixes.time_s[at - 1] + part * (fixes.time_s[at] - fixes.time_s[at - 1]))


def gather(recording: Recording, sortie: Sortie) -> TakeoffData | str:
    """Everything about one runway take-off, or the reason why it can't be measured."""
    start, end = sortie.search_s
    fixes = good_fixes(recording, start, end)
    gps = recording.one("gps")
    if gps is not None and np.isnan(column(gps, "ground_speed_m_s")).all():
        return "the log has positions but no speed over ground; log speed and course"
    if gps is not None and np.isnan(column(gps, "course_deg")).all():
        return "the log has the speed over ground but no course; log both"
    if fixes is None:
        return "the log has no usable position fixes around the take-off"
    if fixes.rate_hz < 1 / LONGEST_STEP_S:
        return f"position fixes come less than once in {LONGEST_STEP_S:.0f} s: log them faster"
    liftoff = sortie.liftoff_s if sortie.liftoff_s is not None else (start + end) / 2
    fast = _fast_time(fixes, liftoff)
    if fast is None:
        return f"the ground speed never passed {ROLLING_M_S:.0f} m/s around the take-off"
    height = barometric_height(recording, start, end, fast - 1.0)
    two = _passes_two_metres(fixes, height, fast)
    if two is None:
        return "neither barometer nor GPS climb rate shows when the aircraft rose: log one of them"
    if two - fast > LONGEST_ROLL_S:
        return (
            f"from {ROLLING_M_S:.0f} m/s to 2 m of height it is {two - fast:.0f} s, which is no "
            "take-off: check the unit of the times"
        )
    hole = _longest_hole(fixes, fast - 4, two + 1)
    if hole is not None:
        return (
            f"the log has no position fixes from {hole[0]:.1f} s to {hole[1]:.1f} s, in the "
            "take-off; without them a figure would be a guess"
        )
    body, why = body_motion(recording, start, end)
    if body is not None:
        rolling = (body.time_s > fast - 4) & (body.time_s < two + 1)
        gap = float(np.max(np.diff(body.time_s[rolling]))) if rolling.sum() > 2 else math.inf
        if gap > LONGEST_IMU_GAP_S:
            body, why = None, f"the IMU has a hole of {gap:.1f} s in the roll"
    attitude = _attitude_at(recording, fixes.time_s)
    pitch = attitude[2] if attitude is not None else None
    return TakeoffData(fixes, body, why, height, pitch, fast, two)


def _longest_hole(fixes: Fixes, start_s: float, end_s: float) -> tuple[float, float] | None:
    """Ends of the longest hole in the fixes that touches a window, if it is too long."""
    before, after = fixes.time_s[:-1], fixes.time_s[1:]
    length = np.where((after > start_s) & (before < end_s), after - before, 0.0)
    k = int(np.argmax(length))
    seconds, steps = LONGEST_FIX_GAP
    if length[k] <= max(seconds, steps / max(fixes.rate_hz, 1e-3)):
        return None
    return float(before[k]), float(after[k])


def forward_input(body: Body, fast_s: float, two_metres_s: float) -> ForwardAcceleration:
    """Forward acceleration with its level at rest and its noise in the roll."""
    rest = (body.time_s > fast_s - 14) & (body.time_s < fast_s - 6)
    known = rest.sum() >= 10
    mean = float(np.mean(body.forward_m_s2[rest])) if known else 0.0
    rolling = (body.time_s > fast_s - 1) & (body.time_s < two_metres_s - 2.0)
    density = 0.1
    if rolling.sum() > 20:
        t = body.time_s[rolling]
        edges = np.arange(t[0], t[-1], 0.02)
        means = block_means(t, body.forward_m_s2[rolling], edges)
        noise = float(np.nanstd(np.diff(means)) / math.sqrt(2)) if len(means) > 3 else 0.7
        density = noise * math.sqrt(0.02)
    return ForwardAcceleration(
        body.time_s, body.forward_m_s2, mean, 0.15 if known else 0.4, density
    )


def last_rest(body: Body, rest_mean: float, fast_s: float, earliest_s: float) -> float:
    """A time at rest just before the roll: 0.1 s before the forward push begins for good.

    The push is the 0.3 s mean above its rest level; 0.35 m/s² is above the rocking of a run
    up against the brakes and below the push of any take-off.
    """
    step = 0.02
    edges = np.arange(max(earliest_s, fast_s - 10.0), fast_s, step)
    if len(edges) < 20:
        return earliest_s
    means = block_means(body.time_s, body.forward_m_s2, edges) - rest_mean
    means = np.where(np.isfinite(means), means, 0.0)
    smooth = np.convolve(means, np.ones(15) / 15, mode="same")
    middle = edges[:-1] + step / 2
    # The fix is late by up to 0.4 s: by then the roll has surely begun.
    low = np.flatnonzero((smooth < 0.35) & (middle < fast_s - 0.4))
    return float(middle[low[-1]]) - 0.1 if low.size else float(edges[0])


def first_motion(fixes: Fixes, fast_s: float) -> float:
    """Start of motion from fixes alone: last crossing of 1 m/s, carried back to standstill."""
    slow = np.flatnonzero((fixes.time_s < fast_s) & (fixes.speed_m_s < 1.0))
    if not slow.size:
        return float(fixes.time_s[0])
    k = int(slow[-1])
    later = np.flatnonzero(fixes.time_s >= fixes.time_s[k] + 0.4)
    if not later.size or k + 1 >= len(fixes.time_s):
        return float(fixes.time_s[k])
    v0, v1 = fixes.speed_m_s[k], fixes.speed_m_s[k + 1]
    at = fixes.time_s[k] + (1.0 - v0) / max(v1 - v0, 1e-3) * (fixes.time_s[k + 1] - fixes.time_s[k])
    ahead = int(min(later[0] + 1, len(fixes.time_s) - 1))
    push = (fixes.speed_m_s[ahead] - 1.0) / max(fixes.time_s[ahead] - at, 0.1)
    return float(at - 1.0 / max(push, 0.5))
