"""The flown path of a whole sortie: smoothed position, speed and height with uncertainty.

Fixes hold position and Doppler velocity, both as old as the receiver's latency when their row
is written. Velocity errs almost independently from fix to fix; position carries a slow error
of 1 to 2 m that wanders within a minute or so and can't be averaged away. Integrated velocity takes
most of it out (`flightlog.estimation.drift`); what is left is stated apart
(`FlightPath.drift_std_m`).

Heights come from the barometer, with GPS climb rate between its samples; without a barometer
from GPS altitude. Only their fast error is estimated here.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from flightlog.estimation.drift import anchored_to_velocity
from flightlog.estimation.frames import Array, LocalFrame
from flightlog.estimation.smoother import Measurements, Motion, nearest_step, smooth_motion

if TYPE_CHECKING:
    import pandas as pd

    from flightlog.recording import Recording

GRID_HZ = 10.0
"""Least rate of the path's time axis. [Hz]"""

LATENCY_PRIOR_S = (0.15, 0.07)
"""Mean and standard deviation of a fix's age where nothing better is known. [s]"""

DRIFT_STD_M = 1.5
"""Slow position error where the receiver claims nothing credible. [m]"""

DRIFT_TIME_S = 40.0
"""Correlation time of the slow position error. [s]"""

CREDIBLE_ACCURACY_M = (0.8, 5.0)
"""Claimed accuracies within which a claim is taken for the slow error. [m]"""

LEAST_SPEED_STD_M_S = 0.1
"""Doppler velocity of each axis, whatever the receiver claims. [m/s]"""

CLIMB_STD_M_S = 0.25
"""GPS climb rate. [m/s]"""

BARO_LAG_S = 0.1
"""Age of a barometer sample: 0.05 to 0.2 s of filtering and tubing. [s]"""

LONGEST_OVERHANG_S = 0.5
"""How far the path reaches beyond the first and the last fix. [s]"""

_LEAST_FIXES = 5
_MARGIN_S = 3.0
_REST_S = 10.0
_LARGEST_ACCELERATION_M_S2 = 20.0
_FASTEST_M_S = 100.0
_GAP_S = 1.0
_GAP_PERIODS = 3.0
_MOST_STEPS = 80_000
_LONGEST_S = 12 * 3600.0
_HIGHEST_HZ = 25.0
_JERK_PLANE = 4.0  # a roll into a 45 degree turn within a second, sustained for a second
_JERK_HEIGHT = 2.0
_POSITION_STD_M = 0.4  # share of the slow error that one fix does not share with the next few
_LEAST_WHITE_M = 0.05
_ALTITUDE_STD_M = 0.8
_LEAST_BARO_STD_M = 0.1
_LEAST_STEP_S = 1e-3


@dataclass(frozen=True, slots=True)
class FlightPath:
    """Smoothed path on a common time axis (10 Hz or the fix rate, whichever is higher).

    All arrays have shape (n,). East, north and height are in the local frame; the frame's
    origin is the first good fix of the window, height is above the ground where the
    sortie started (barometer where there is one, else GPS).

    Attributes
    ----------
    time_s : array
        Log clock, latency removed. [s]
    east_m, north_m : array
        Position. [m]
    east_m_s, north_m_s : array
        Velocity over ground. [m/s]
    position_std_m, speed_std_m_s : array
        Standard uncertainty per axis of the *fast* part of the error, which differs from
        sample to sample. [m], [m/s]
    height_m, height_std_m, climb_m_s, climb_std_m_s : array or None
        Height of the wheels above the start and vertical speed, positive up. [m], [m/s]
    drift_std_m, drift_time_s : float
        The *slow* part of the position error: standard uncertainty and correlation time; a
        difference over T carries ``drift_std_m * sqrt(2 (1 - exp(-T / drift_time_s)))``.
    latency_s, latency_std_s : float
        Age of a fix when its row was written. [s]
    gaps_s : tuple of (float, float)
        Stretches without fixes longer than 3 nominal periods or 1 s; the path inside them
        is interpolation and must not be measured in silence.
    """

    frame: LocalFrame
    time_s: Array
    east_m: Array
    north_m: Array
    east_m_s: Array
    north_m_s: Array
    position_std_m: Array
    speed_std_m_s: Array
    height_m: Array | None
    height_std_m: Array | None
    climb_m_s: Array | None
    climb_std_m_s: Array | None
    drift_std_m: float
    drift_time_s: float
    latency_s: float
    latency_std_s: float
    gaps_s: tuple[tuple[float, float], ...]


@dataclass(frozen=True, slots=True)
class _Fixes:
    """Usable fixes; velocities are NaN where a row has none."""

    time_s: Array
    frame: LocalFrame
    place_m: Array
    velocity_m_s: Array
    speed_std_m_s: Array
    climb_m_s: Array
    altitude_m: Array
    accuracy_m: Array

    def rows(self, use: NDArray[np.bool_]) -> _Fixes:
        return _Fixes(
            self.time_s[use],
            self.frame,
            self.place_m[use],
            self.velocity_m_s[use],
            self.speed_std_m_s[use],
            self.climb_m_s[use],
            self.altitude_m[use],
            self.accuracy_m[use],
        )


@dataclass(frozen=True, slots=True)
class _Grid:
    start_s: float
    step_s: float
    steps: int

    @property
    def time_s(self) -> Array:
        return self.start_s + self.step_s * np.arange(self.steps)

    def near(self, time_s: Array) -> NDArray[np.bool_]:
        """Rows close enough to the grid to take part."""
        end = self.start_s + self.step_s * (self.steps - 1)
        slack = self.step_s + 1e-6
        return (time_s >= self.start_s - slack) & (time_s <= end + slack)


def estimate_path(
    recording: Recording,
    start_s: float,
    end_s: float,
    *,
    latency_s: float | None = None,
    latency_std_s: float | None = None,
    rest_until_s: float | None = None,
) -> FlightPath | None:
    """Smooth the path flown in a window.

    Parameters
    ----------
    recording : Recording
        Needs ``gps``; heights use ``baro`` where there is one.
    start_s, end_s : float
        Window on the log clock. [s]
    latency_s, latency_std_s : float, optional
        Age of a fix when its row was written; `LATENCY_PRIOR_S` where not known. [s]
    rest_until_s : float, optional
        End of the stretch on the ground where height is zero; ``start_s`` when not given. [s]

    Returns
    -------
    FlightPath or None
        None with fewer than five usable fixes in the window, or over twelve hours.
    """
    if not (math.isfinite(start_s) and math.isfinite(end_s) and end_s > start_s):
        return None
    age = LATENCY_PRIOR_S[0] if latency_s is None else latency_s
    age_std = LATENCY_PRIOR_S[1] if latency_std_s is None else latency_std_s
    every = _read_fixes(recording, start_s, age)
    if every is None:
        return None
    inside = (every.time_s >= start_s - _MARGIN_S) & (every.time_s <= end_s + _MARGIN_S)
    fixes = _without_glitches(every.rows(inside))
    window = (fixes.time_s >= start_s) & (fixes.time_s <= end_s)
    if window.sum() < _LEAST_FIXES:
        return None
    fixes = _from_origin(fixes, int(np.flatnonzero(window)[0]))
    period = float(np.median(np.diff(fixes.time_s)))
    if min(end_s, fixes.time_s[-1]) - max(start_s, fixes.time_s[0]) > _LONGEST_S:
        return None
    wide = _grid(fixes, period, start_s - _MARGIN_S, end_s + _MARGIN_S)
    _, kept = _smooth_plane(fixes, wide)
    fixes, drift_std, drift_time = _without_drift(fixes, kept)
    plane, kept = _smooth_plane(fixes, wide)
    rest_s = start_s if rest_until_s is None else rest_until_s
    height = _smooth_height(recording, every, fixes, wide, rest_s)
    time_s = wide.time_s
    # Rounding must not cost the step on the edge of the window.
    shown = (time_s >= start_s - 1e-6) & (time_s <= end_s + 1e-6)
    heights = [None if v is None else v[shown] for v in height]
    return FlightPath(
        frame=fixes.frame,
        time_s=time_s[shown],
        east_m=plane.position[shown, 0],
        north_m=plane.position[shown, 1],
        east_m_s=plane.velocity[shown, 0],
        north_m_s=plane.velocity[shown, 1],
        position_std_m=plane.position_std[shown],
        speed_std_m_s=plane.velocity_std[shown],
        height_m=heights[0],
        height_std_m=heights[1],
        climb_m_s=heights[2],
        climb_std_m_s=heights[3],
        drift_std_m=drift_std,
        drift_time_s=drift_time,
        latency_s=age,
        latency_std_s=age_std,
        gaps_s=_gaps(fixes.time_s[kept], period, start_s, end_s),
    )


def _column(table: pd.DataFrame, name: str) -> Array:
    """A column as floats, NaN where the log lacks it."""
    if name not in table:
        return np.full(len(table), np.nan)
    return np.asarray(table[name].to_numpy(dtype=float, na_value=np.nan))


def _read_fixes(recording: Recording, start_s: float, latency_s: float) -> _Fixes | None:
    """Full fixes in the order of their time, latency removed."""
    gps = recording.one("gps")
    if gps is None:
        return None
    time_s, fix = _column(gps, "time_s"), _column(gps, "fix")
    lat, lon = _column(gps, "latitude_deg"), _column(gps, "longitude_deg")
    speed, course = _column(gps, "ground_speed_m_s"), _column(gps, "course_deg")
    # A track file has no fix column: its rows are fixes.
    good = np.isfinite(time_s + lat + lon) & ~(fix < 3)
    good &= (np.abs(lat) <= 90) & (np.abs(lon) <= 360)
    speed = np.where((speed >= 0) & (speed <= _FASTEST_M_S), speed, np.nan)
    # Without motion there is no course.
    course = np.where(np.isnan(course) & (speed < 0.5), 0.0, course)
    rows = np.flatnonzero(good)
    if rows.size < _LEAST_FIXES:
        return None
    rows = rows[_fresh(time_s[rows], lat[rows], lon[rows], speed[rows], course[rows])]
    if rows.size < _LEAST_FIXES:
        return None
    way = np.radians(course)
    velocity = np.stack([speed * np.sin(way), speed * np.cos(way)], axis=1)
    climb = _column(gps, "climb_m_s")
    frame = LocalFrame(float(np.median(lat[rows])), float(lon[rows[rows.size // 2]]))
    claimed = np.nan_to_num(_column(gps, "speed_accuracy_m_s"), nan=0.0)
    return _Fixes(
        time_s[rows] - latency_s,
        frame,
        np.stack(frame.east_north(lat[rows], lon[rows]), axis=1),
        velocity[rows],
        np.clip(claimed[rows], LEAST_SPEED_STD_M_S, 5.0),
        np.where(np.abs(climb) < _FASTEST_M_S, climb, np.nan)[rows],
        _column(gps, "altitude_msl_m")[rows],
        _column(gps, "horizontal_accuracy_m")[rows],
    )


def _fresh(time_s: Array, *values: Array) -> NDArray[np.bool_]:
    """Rows whose clock went on and which don't repeat the fix before while moving."""
    before = np.concatenate([[-np.inf], np.maximum.accumulate(time_s)[:-1]])
    fresh = time_s > before + _LEAST_STEP_S
    same = np.ones(time_s.size - 1, dtype=bool)
    for v in values:
        same &= v[1:] == v[:-1]
    speed = values[2]
    fresh[1:] &= ~(same & (speed[1:] > 1.0))
    return np.asarray(fresh, dtype=bool)


def _without_glitches(fixes: _Fixes) -> _Fixes:
    """Drop fixes whose place or velocity no aircraft could share with its neighbours."""
    n = fixes.time_s.size
    if n < _LEAST_FIXES:
        return fixes
    around = np.clip(np.arange(n)[:, None] + np.arange(-2, 3), 0, n - 1)
    reach = np.max(np.abs(fixes.time_s[around] - fixes.time_s[:, None]), axis=1)
    away = np.abs(fixes.place_m - np.median(fixes.place_m[around], axis=1)).max(axis=1)
    fixes = fixes.rows(away <= 20.0 + _FASTEST_M_S * reach)
    n = fixes.time_s.size
    velocity = fixes.velocity_m_s.copy()
    known = np.flatnonzero(np.isfinite(velocity).all(axis=1))
    if known.size < _LEAST_FIXES:
        return fixes
    around = known[np.clip(np.arange(known.size)[:, None] + np.arange(-1, 2), 0, known.size - 1)]
    reach = np.max(np.abs(fixes.time_s[around] - fixes.time_s[known][:, None]), axis=1)
    jump = np.abs(velocity[known] - np.median(velocity[around], axis=1)).max(axis=1)
    limit = _LARGEST_ACCELERATION_M_S2 * reach + 5 * fixes.speed_std_m_s[known]
    use = np.ones(n, dtype=bool)
    use[known[jump > limit]] = False
    return fixes.rows(use)


def _from_origin(fixes: _Fixes, first: int) -> _Fixes:
    """Fixes in a frame that starts at one of them."""
    east, north = (float(v) for v in fixes.place_m[first])
    lat, lon = fixes.frame.position(east, north)
    frame = LocalFrame(lat, lon)
    stretch = np.asarray(fixes.frame.metres_per_degree) / np.asarray(frame.metres_per_degree)
    place = (fixes.place_m - fixes.place_m[first]) / stretch[::-1]
    return _Fixes(
        fixes.time_s,
        frame,
        place,
        fixes.velocity_m_s,
        fixes.speed_std_m_s,
        fixes.climb_m_s,
        fixes.altitude_m,
        fixes.accuracy_m,
    )


def _without_drift(fixes: _Fixes, kept: NDArray[np.bool_]) -> tuple[_Fixes, float, float]:
    """Fixes with most of the slow error taken out, and the size and time of what is left.

    A glitch must not get into the integral of velocity: rows that were not kept have no say.
    """
    claimed = fixes.accuracy_m[np.isfinite(fixes.accuracy_m)]
    claim = float(np.median(claimed)) if claimed.size else math.nan
    low, high = CREDIBLE_ACCURACY_M
    std = claim if low <= claim <= high else DRIFT_STD_M
    anchored = anchored_to_velocity(
        fixes.time_s,
        fixes.place_m,
        np.where(kept[:, None], fixes.velocity_m_s, np.nan),
        fixes.speed_std_m_s,
        std,
        DRIFT_TIME_S,
    )
    if anchored is None:
        return fixes, std, DRIFT_TIME_S
    better = replace(fixes, place_m=anchored.place_m)
    return better, anchored.drift_std_m, anchored.drift_time_s


def _grid(fixes: _Fixes, period_s: float, start_s: float, end_s: float) -> _Grid:
    """Steps from a little before the first fix to a little after the last."""
    step = 1.0 / min(_HIGHEST_HZ, max(GRID_HZ, round(1.0 / period_s, 1)))
    # On whole steps from the start of the window, so that it begins on one.
    low = max(start_s, float(fixes.time_s[0]) - LONGEST_OVERHANG_S)
    high = min(end_s, float(fixes.time_s[-1]) + LONGEST_OVERHANG_S)
    step = max(step, (high - low) / _MOST_STEPS)
    origin = start_s + _MARGIN_S
    first = math.ceil((low - origin) / step - 1e-6)
    last = math.floor((high - origin) / step + 1e-6)
    return _Grid(origin + first * step, step, max(2, last - first + 1))


def _smooth_plane(fixes: _Fixes, grid: _Grid) -> tuple[Motion, NDArray[np.bool_]]:
    """East and north, and which fixes took part."""
    white = _white_position_std(fixes)
    known = np.isfinite(fixes.velocity_m_s).all(axis=1)
    near = grid.near(fixes.time_s)
    place_std = np.full(near.sum(), math.hypot(white, _POSITION_STD_M))
    use = near & known
    motion = smooth_motion(
        grid.start_s,
        grid.step_s,
        grid.steps,
        (
            Measurements(fixes.time_s[near], fixes.place_m[near], place_std, 0),
            Measurements(fixes.time_s[use], fixes.velocity_m_s[use], fixes.speed_std_m_s[use], 1),
        ),
        _JERK_PLANE,
    )
    kept = np.zeros(fixes.time_s.size, dtype=bool)
    kept[near] = motion.kept[0]
    # Where there is a velocity, it carries the path even past a place that is out.
    kept[np.flatnonzero(use)] = motion.kept[1]
    return motion, kept


def _white_position_std(fixes: _Fixes) -> float:
    """White part of the position error: what velocity does not explain of a single step."""
    dt = np.diff(fixes.time_s)[:, None]
    between = (fixes.velocity_m_s[1:] + fixes.velocity_m_s[:-1]) / 2
    odd = np.diff(fixes.place_m, axis=0) - between * dt
    of_speed = fixes.speed_std_m_s[1:, None] * dt / math.sqrt(2)
    close = np.isfinite(odd) & (dt < 1.5)
    if close.sum() < 2 * _LEAST_FIXES:
        return _POSITION_STD_M
    spread = _robust_std(odd[close])
    slack = float(np.median(np.broadcast_to(of_speed, odd.shape)[close]))
    return max(_LEAST_WHITE_M, math.sqrt(max(0.0, spread**2 - slack**2) / 2))


def _robust_std(values: Array) -> float:
    """Standard deviation from the median absolute deviation."""
    return 1.4826 * float(np.median(np.abs(values - np.median(values))))


def _smooth_height(
    recording: Recording, every: _Fixes, fixes: _Fixes, grid: _Grid, rest_s: float
) -> tuple[Array | None, Array | None, Array | None, Array | None]:
    """Height, its std, climb and its std on the grid."""
    source = _baro_heights(recording, grid, rest_s)
    if source is None:
        source = _gps_heights(every, fixes, grid, rest_s)
    climbs = _climb_rates(every, fixes, grid, rest_s)
    if source is None and climbs is None:
        return None, None, None, None
    place = source
    if place is None and climbs is not None:
        place = _summed(climbs)
    kinds = tuple(k for k in (place, climbs) if k is not None)
    motion = smooth_motion(grid.start_s, grid.step_s, grid.steps, kinds, _JERK_HEIGHT)
    climb, climb_std = motion.velocity[:, 0], motion.velocity_std
    if source is None:
        return None, None, climb, climb_std
    # Outside the source's own span the height would be a guess.
    time_s = grid.time_s
    outside = time_s < source.time_s[0] - LONGEST_OVERHANG_S
    outside |= time_s > source.time_s[-1] + LONGEST_OVERHANG_S
    height = np.where(outside, np.nan, motion.position[:, 0])
    return height, np.where(outside, np.nan, motion.position_std), climb, climb_std


def _baro_heights(recording: Recording, grid: _Grid, rest_s: float) -> Measurements | None:
    """Barometer heights above the rest, in means of a grid step."""
    baro = recording.one("baro")
    if baro is None:
        return None
    t, h = _column(baro, "time_s") - BARO_LAG_S, _column(baro, "height_m")
    good = np.isfinite(t) & np.isfinite(h) & (np.abs(h) < 2e4)
    t, h = t[good], h[good]
    near = grid.near(t)
    if near.sum() < _LEAST_FIXES:
        return None
    zero = _zero(t, h, rest_s)
    second = np.diff(h[near], 2)
    white = _robust_std(second) / math.sqrt(6)
    t, h = t[near], h[near] - zero
    step = nearest_step(t, grid.start_s, grid.step_s, grid.steps)
    count = np.bincount(step, minlength=grid.steps)
    filled = count > 0
    share = count[filled]
    return Measurements(
        np.bincount(step, t, grid.steps)[filled] / share,
        (np.bincount(step, h, grid.steps)[filled] / share)[:, None],
        np.hypot(white / np.sqrt(share), _LEAST_BARO_STD_M),
        0,
    )


def _zero(time_s: Array, height_m: Array, rest_s: float) -> float:
    """Median height over the rest, or over the first samples of a log that starts later."""
    rest = (time_s >= rest_s - _REST_S) & (time_s <= rest_s)
    if rest.sum() >= 3:
        return float(np.median(height_m[rest]))
    later = np.flatnonzero(time_s >= rest_s)
    if later.size == 0:
        return float(height_m[-1])
    return float(np.median(height_m[later[0] : later[0] + 3]))


def _gps_heights(every: _Fixes, fixes: _Fixes, grid: _Grid, rest_s: float) -> Measurements | None:
    """GPS altitude above the rest; its slow error is the reader's to add."""
    known = np.isfinite(fixes.altitude_m) & (np.abs(fixes.altitude_m) < 2e4)
    use = known & grid.near(fixes.time_s)
    if use.sum() < _LEAST_FIXES:
        return None
    seen = np.isfinite(every.altitude_m)
    zero = _zero(every.time_s[seen], every.altitude_m[seen], rest_s)
    std = np.full(int(use.sum()), _ALTITUDE_STD_M)
    return Measurements(fixes.time_s[use], (fixes.altitude_m[use] - zero)[:, None], std, 0)


def _climb_rates(every: _Fixes, fixes: _Fixes, grid: _Grid, rest_s: float) -> Measurements | None:
    """GPS climb rate, as noisy as it was at rest."""
    use = np.isfinite(fixes.climb_m_s) & grid.near(fixes.time_s)
    if use.sum() < _LEAST_FIXES:
        return None
    rest = (every.time_s >= rest_s - _REST_S) & (every.time_s <= rest_s)
    rest &= np.isfinite(every.climb_m_s)
    noise = float(np.std(every.climb_m_s[rest])) if rest.sum() >= _LEAST_FIXES else 0.0
    std = np.full(int(use.sum()), min(2.0, max(CLIMB_STD_M_S, noise)))
    return Measurements(fixes.time_s[use], fixes.climb_m_s[use][:, None], std, 1)


def _summed(climbs: Measurements) -> Measurements:
    """Sum of the climb rates: it only keeps the unknown height from drifting away."""
    rate, dt = climbs.measured[:, 0], np.diff(climbs.time_s)
    height = np.concatenate([[0.0], np.cumsum(dt * (rate[1:] + rate[:-1]) / 2)])
    return Measurements(climbs.time_s, height[:, None], np.full(height.size, 5.0), 0)


def _gaps(
    time_s: Array, period_s: float, start_s: float, end_s: float
) -> tuple[tuple[float, float], ...]:
    """Stretches without fixes that overlap the window."""
    long = np.flatnonzero(np.diff(time_s) > max(_GAP_PERIODS * period_s, _GAP_S) + _LEAST_STEP_S)
    pairs = [(float(time_s[i]), float(time_s[i + 1])) for i in long]
    return tuple((a, b) for a, b in pairs if b > start_s and a < end_s)
