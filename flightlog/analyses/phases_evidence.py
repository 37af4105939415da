"""What each sensor says about moving and flying, side by side on one time grid.

The tables come at 1 to 400 Hz. Everything here is first averaged into steps of 0.2 s, so
that a long log costs no more than its length in time; a sensor that is absent, or silent
for more than a few seconds, says NaN: unknown, which is never taken for zero.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flightlog.analyses.phases_power import Power, read_power
from flightlog.constants import G0_M_S2, ISA_EXPONENT, ISA_LAPSE_K_M, ISA_P0_PA, ISA_T0_K
from flightlog.estimation.frames import Array, LocalFrame

if TYPE_CHECKING:
    import pandas as pd

    from flightlog.recording import Recording

STEP_S = 0.2
"""Width of a step [s]: coarse times are asked to a second, the quickest event takes one."""

_MOST_STEPS = 2_000_000
"""Above this (four days) the steps grow, so that a hostile clock can't fill the memory."""

_HOLD_S = 3.0
"""A value is interpolated over silences up to this [s]: 1 Hz position with a lost fix."""

_SPLIT_S = 600.0
"""A silence of all sensors longer than this ends one session and starts another [s]."""

_SENSORS = ("gps", "baro", "airspeed", "imu", "attitude", "battery", "outputs", "rotation")

_BETWEEN_S = 2.0
"""Time over which a track of positions only gives a speed [s]."""

_FUSE_S = 10.0
"""Below this time scale GPS height follows its climb rate, above it its altitude [s]."""


@dataclass(frozen=True, slots=True)
class Evidence:
    """One session (no restart and no long silence inside), in steps of ``step_s``.

    All arrays have shape (n,); NaN is "not known".

    Attributes
    ----------
    time_s : array
        Middle of each step. [s]
    step_s : float
        Width of a step. [s]
    speed_m_s : array
        Ground speed, mean over 1 s. [m/s]
    height_m : array
        Height above an unknown zero, mean over 1 s: barometer, else GPS. [m]
    has_baro, has_climb : bool
        Whether ``height_m`` is the barometer's; if not, whether GPS climb rate is in it.
    airspeed_m_s : array
        As logged, mean over 1 s. [m/s]
    power : array
        Drive power as a share of the recording's largest, 0 to 1.
    power_source : {"current", "throttle", "voltage", ""}
        What it comes from; "voltage" (sag under load) only shows changes.
    shake_rad_s : array
        Scatter of the rotation rate within 1 s: 0.01 parked, over 0.1 in hands. [rad/s]
    forward_m_s2 : array
        Forward specific force, mean of the step. [m/s²]
    shock_m_s2 : array
        Scatter of the specific force within the step. [m/s²]
    armed : array
        1 armed, 0 not.
    """

    time_s: Array
    step_s: float
    speed_m_s: Array
    height_m: Array
    has_baro: bool
    has_climb: bool
    airspeed_m_s: Array
    power: Array
    power_source: str
    shake_rad_s: Array
    forward_m_s2: Array
    shock_m_s2: Array
    armed: Array

    def steps(self, seconds: float) -> int:
        """Give the number of steps in so many seconds, at least one."""
        return max(1, round(seconds / self.step_s))


class Grid:
    """Averages of irregular samples over equal steps.

    Parameters
    ----------
    start_s, end_s : float
        First and last sample of the session. [s]
    """

    def __init__(self, start_s: float, end_s: float) -> None:
        self.start_s = start_s
        self.step_s = max(STEP_S, (end_s - start_s) / _MOST_STEPS)
        self.size = int((end_s - start_s) / self.step_s) + 1
        self.end_s = end_s
        self.time_s: Array = start_s + (np.arange(self.size) + 0.5) * self.step_s

    def index(self, time_s: Array) -> np.ndarray[tuple[int], np.dtype[np.int64]]:
        """Give the step of each sample; -1 outside the session."""
        inside = (time_s >= self.start_s) & (time_s <= self.end_s)
        step = np.full(len(time_s), -1, dtype=np.int64)
        step[inside] = ((time_s[inside] - self.start_s) / self.step_s).astype(np.int64)
        return step

    def mean(self, step: np.ndarray[tuple[int], np.dtype[np.int64]], values: Array) -> Array:
        """Average the samples of each step; NaN where there is none."""
        good = np.isfinite(values) & (step >= 0)
        if not good.all():
            step, values = step[good], values[good]
        count = np.bincount(step, minlength=self.size)
        total = np.bincount(step, weights=values, minlength=self.size)
        mean: Array = np.divide(total, count, out=np.full(self.size, np.nan), where=count > 0)
        return mean

    def fill(self, values: Array) -> Array:
        """Interpolate over short silences; longer ones stay NaN."""
        known = np.flatnonzero(np.isfinite(values))
        if not len(known):
            return values
        filled = np.interp(np.arange(self.size), known, values[known])
        longest = _HOLD_S / self.step_s
        after = np.searchsorted(known, np.arange(self.size))
        before = known[np.clip(after - 1, 0, None)]
        ahead = known[np.clip(after, None, len(known) - 1)]
        here = np.arange(self.size)
        # at both ends the nearest value stands in, for half as long
        reach = np.where(
            (here < known[0]) | (here > known[-1]),
            2 * np.minimum(abs(here - before), abs(ahead - here)),
            ahead - before,
        )
        return np.where(np.isfinite(values) | (reach <= longest), filled, np.nan)


def running_mean(values: Array, count: int) -> Array:
    """Average over a centred window, of the known values only; NaN where none is known."""
    if len(values) == 0:
        return values
    known = np.isfinite(values)
    half = count // 2
    index = np.arange(len(values))
    low, high = np.clip(index - half, 0, None), np.clip(index + half + 1, None, len(values))
    totals = np.concatenate([[0.0], np.cumsum(np.where(known, values, 0.0))])
    counts = np.concatenate([[0], np.cumsum(known)])
    n = counts[high] - counts[low]
    mean = np.divide(totals[high] - totals[low], n, out=np.full(len(values), np.nan), where=n > 0)
    return np.where(known, mean, np.nan)


def _median_of_3(values: Array) -> Array:
    """Drop single outliers; monotonic stretches pass unchanged."""
    if len(values) < 3:
        return values
    # sorting three neighbours by min and max lets a NaN stay NaN without warnings
    a, b, c = values[:-2], values[1:-1], values[2:]
    middle = np.fmax(np.fmin(a, b), np.fmin(np.fmax(a, b), c))
    middle = np.where(np.isfinite(a) & np.isfinite(b) & np.isfinite(c), middle, b)
    return np.concatenate([values[:1], middle, values[-1:]])


def column(table: pd.DataFrame | None, name: str) -> Array | None:
    """Give a column as floats, or None when it is absent or holds nothing."""
    if table is None or name not in table:
        return None
    values = table[name].to_numpy(dtype=float, na_value=np.nan)
    return values if np.isfinite(values).any() else None


def sessions(recording: Recording) -> list[tuple[float, float]]:
    """Give the stretches of the log with data, cut at restarts and at long silences [s].

    Nothing known before a restart holds after it: heights start from a new zero, and what
    happened in between is not in the log.
    """
    slots = [np.zeros(0)]
    for name in _SENSORS:
        time_s = column(recording.get(name), "time_s")
        if time_s is not None:
            time_s = time_s[np.isfinite(time_s) & (abs(time_s) < 1e12)]
            if not len(time_s):
                continue
            # first and last sample of every minute are enough to see where data are
            edge = np.flatnonzero(np.diff(np.floor(time_s / 60.0)) != 0)
            seam = np.searchsorted(time_s, recording.receipt.seams)
            near = np.concatenate([[0, len(time_s) - 1], edge, edge + 1, seam - 1, seam])
            slots.append(time_s[np.clip(near, 0, len(time_s) - 1).astype(np.int64)])
    marks = np.unique(np.concatenate(slots).astype(float))
    if not len(marks):
        return []
    cuts = [float(m) for m, gap in zip(marks[1:], np.diff(marks), strict=True) if gap > _SPLIT_S]
    cuts += [s for s in recording.receipt.seams if marks[0] < s <= marks[-1]]
    found = []
    for low, high in zip([marks[0], *sorted(cuts)], [*sorted(cuts), np.inf], strict=True):
        inside = marks[np.searchsorted(marks, low) : np.searchsorted(marks, high)]
        # A single moment shows no flight, and a log in another unit of time has thousands.
        if len(inside) and inside[-1] > inside[0]:
            found.append((float(inside[0]), float(inside[-1])))
    return found


def gather(recording: Recording) -> list[Evidence]:
    """Lay the sensors of a recording side by side, session by session."""
    power = read_power(recording)
    spans = sessions(recording)
    tables = {name: recording.one(name) for name in ("gps", "baro", "airspeed", "imu")}
    return [_session(recording, tables, power, Grid(*span)) for span in spans]


def _session(
    recording: Recording, tables: dict[str, pd.DataFrame | None], power: Power, grid: Grid
) -> Evidence:
    second = max(1, round(1.0 / grid.step_s))
    speed = running_mean(_ground_speed(tables["gps"], grid), second)
    height = _baro_height(tables["baro"], grid)
    has_baro = height is not None
    if height is None:
        height = _gps_height(tables["gps"], grid)
    shake, forward, shock = _shaking(tables["imu"], grid, second)
    return Evidence(
        time_s=grid.time_s,
        step_s=grid.step_s,
        speed_m_s=speed,
        height_m=running_mean(height, second),
        has_baro=has_baro,
        has_climb=good_fixes(tables["gps"], "climb_m_s") is not None,
        airspeed_m_s=running_mean(_on_grid(tables["airspeed"], "airspeed_m_s", grid), second),
        power=_power_on_grid(power, grid),
        power_source=power.source,
        shake_rad_s=shake,
        forward_m_s2=forward,
        shock_m_s2=shock,
        armed=_armed(recording.get("arming"), grid),
    )


def _on_grid(table: pd.DataFrame | None, name: str, grid: Grid) -> Array:
    values, time_s = column(table, name), column(table, "time_s")
    if values is None or time_s is None:
        return np.full(grid.size, np.nan)
    return grid.fill(grid.mean(grid.index(time_s), _median_of_3(values)))


def good_fixes(gps: pd.DataFrame | None, name: str) -> Array | None:
    """Give a column of the position table with NaN where there was no full fix."""
    values = column(gps, name)
    fix = column(gps, "fix")
    if values is None or fix is None:
        return values
    return np.where(fix >= 3, values, np.nan)


def _ground_speed(gps: pd.DataFrame | None, grid: Grid) -> Array:
    speed, time_s = good_fixes(gps, "ground_speed_m_s"), column(gps, "time_s")
    if speed is None and time_s is not None:
        time_s, speed = _speed_between_fixes(gps, time_s)
    if speed is None or time_s is None:
        return np.full(grid.size, np.nan)
    speed = np.where((speed >= 0) & (speed <= 100), speed, np.nan)
    return grid.fill(grid.mean(grid.index(time_s), _median_of_3(speed)))


def _speed_between_fixes(gps: pd.DataFrame | None, time_s: Array) -> tuple[Array, Array | None]:
    """Speed by the way from fix to fix, for a track that holds positions only.

    Fixes of a text format have steps of up to 2 m, so that it takes `_BETWEEN_S` to see 1 m/s.
    """
    lat, lon = good_fixes(gps, "latitude_deg"), good_fixes(gps, "longitude_deg")
    if lat is None or lon is None:
        return time_s, None
    known = np.flatnonzero(np.isfinite(time_s + lat + lon))
    time_s, lat, lon = time_s[known], lat[known], lon[known]
    later = np.searchsorted(time_s, time_s + _BETWEEN_S - 1e-3)
    first = np.flatnonzero(later < len(time_s))
    later = later[first]
    # No frame of one place: a file may hold two. The equator's degree is good to 1 %.
    frame = LocalFrame(0.0, 0.0)
    north = (lat[later] - lat[first]) * frame.metres_per_degree[0]
    turned = (lon[later] - lon[first] + 180.0) % 360.0 - 180.0
    east = turned * frame.metres_per_degree[1] * np.cos(np.radians(lat[first]))
    span_s = time_s[later] - time_s[first]
    close = span_s <= _HOLD_S
    middle_s = 0.5 * (time_s[first] + time_s[later])
    return middle_s[close], (np.hypot(east, north) / span_s)[close]


def _baro_height(baro: pd.DataFrame | None, grid: Grid) -> Array | None:
    height, time_s = column(baro, "height_m"), column(baro, "time_s")
    if height is None:
        pressure = column(baro, "pressure_pa")
        if pressure is None:
            return None
        ratio = np.where(pressure > 1e3, pressure, np.nan) / ISA_P0_PA
        height = ISA_T0_K / ISA_LAPSE_K_M * (1.0 - ratio ** (1.0 / ISA_EXPONENT))
    if time_s is None:
        return None
    height = np.where(abs(height) < 2e4, height, np.nan)
    filled = grid.fill(grid.mean(grid.index(time_s), _median_of_3(height)))
    return filled if np.isfinite(filled).any() else None


def _gps_height(gps: pd.DataFrame | None, grid: Grid) -> Array:
    """Altitude in the long run, integrated climb rate in the short run."""
    altitude, time_s = good_fixes(gps, "altitude_msl_m"), column(gps, "time_s")
    if altitude is None or time_s is None:
        return np.full(grid.size, np.nan)
    step = grid.index(time_s)
    altitude = np.where(abs(altitude) < 2e4, altitude, np.nan)
    slow = grid.fill(grid.mean(step, _median_of_3(altitude)))
    climb = good_fixes(gps, "climb_m_s")
    if climb is None:
        return slow
    rate = np.where(abs(climb) < 100, climb, np.nan)
    rate = np.nan_to_num(grid.fill(grid.mean(step, _median_of_3(rate))))
    climbed = np.cumsum(rate) * grid.step_s
    return climbed + running_mean(slow - climbed, max(1, round(_FUSE_S / grid.step_s)))


def _shaking(imu: pd.DataFrame | None, grid: Grid, second: int) -> tuple[Array, Array, Array]:
    unknown = np.full(grid.size, np.nan)
    time_s = column(imu, "time_s")
    if time_s is None:
        return unknown, unknown, unknown
    step = grid.index(time_s)

    def moments(name: str) -> tuple[Array, Array] | None:
        values = column(imu, name)
        if values is None:
            return None
        values = np.where(abs(values) < 1e4, values, np.nan)
        return grid.mean(step, values), grid.mean(step, values * values)

    turns = [moments(f"gyro_{axis}_rad_s") for axis in "xyz"]
    shake = unknown
    if all(turns):
        parts = [
            running_mean(sq, second) - running_mean(m, second) ** 2 for m, sq in filter(None, turns)
        ]
        shake = grid.fill(np.sqrt(np.clip(np.sum(parts, axis=0), 0.0, None)))
    pushes = [moments(f"accel_{axis}_m_s2") for axis in "xyz"]
    forward = grid.fill(pushes[0][0]) if pushes[0] is not None else unknown
    shock = unknown
    if all(pushes):
        # within three steps, so that a 2 Hz stream also has a scatter
        parts = [running_mean(sq, 3) - running_mean(m, 3) ** 2 for m, sq in filter(None, pushes)]
        shock = np.sqrt(np.clip(np.sum(parts, axis=0), 0.0, (100 * G0_M_S2) ** 2))
    return shake, forward, shock


def _power_on_grid(power: Power, grid: Grid) -> Array:
    if not power.source:
        return np.full(grid.size, np.nan)
    return grid.fill(grid.mean(grid.index(power.time_s), power.share))


def _armed(arming: pd.DataFrame | None, grid: Grid) -> Array:
    """Hold each arming event until the next; unknown before the first of the session."""
    state, time_s = column(arming, "armed"), column(arming, "time_s")
    held = np.full(grid.size, np.nan)
    if state is None or time_s is None:
        return held
    inside = (time_s >= grid.start_s) & (time_s <= grid.end_s)
    state, time_s = state[inside], time_s[inside]
    last = np.searchsorted(time_s, grid.time_s, side="right") - 1
    return np.where(last >= 0, state[np.clip(last, 0, None)], np.nan) if len(state) else held
