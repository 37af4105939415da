"""What a barometer shows of its own errors: the static port in the roll, warming at rest.

Both are only measured here. `flightlog.analyses.heights` allows for them in its intervals, and
`flightlog.screening.heights` tells them.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flightlog.constants import G0_M_S2
from flightlog.estimation.frames import Array

if TYPE_CHECKING:
    import pandas as pd

    from flightlog.analyses.phases import Sortie
    from flightlog.recording import Recording

TOLD_ERROR_M = 0.5
"""Height error at lift-off from which on the static port is worth a word. [m]"""

SURE_SIGMAS = 2.576
"""Of 189 simulated take-offs two were told falsely at 2.0, none at this. With the slope of the
runway given, 23 of the 31 errors above half a metre are told; with it unknown, 3. [-]"""

SLOPE_STD = 0.01
"""Standard uncertainty of the slope of a runway that looks level. [-]"""

_ABSURD = 1e9
_BEFORE_ROLL_S = 10.0
_BEFORE_LIFTOFF_S = 0.2
_NOISE_MEMORY_S = 0.5
_LEAST_SPEED_M_S = 5.0


@dataclass(frozen=True, slots=True)
class PortError:
    """What speed does to the barometric height while the wheels are on the ground.

    Attributes
    ----------
    coefficient, std : float
        Height error over ``v² / 2g``, which is minus the pressure coefficient of the static
        port, and its standard uncertainty. [-]
    speed_m_s : float
        Speed just before lift-off. [m/s]
    """

    coefficient: float
    std: float
    speed_m_s: float

    @property
    def error_m(self) -> float:
        """Height error just before lift-off. [m]"""
        return self.coefficient * self.speed_m_s**2 / (2 * G0_M_S2)

    @property
    def error_std_m(self) -> float:
        """Its standard uncertainty. [m]"""
        return self.std * self.speed_m_s**2 / (2 * G0_M_S2)

    @property
    def is_clear(self) -> bool:
        """Whether it is half a metre or more, and surely not zero (99 %)."""
        return abs(self.error_m) >= max(TOLD_ERROR_M, SURE_SIGMAS * self.error_std_m)


def port_error(
    recording: Recording, sortie: Sortie, slope: tuple[float, float] = (0.0, SLOPE_STD)
) -> PortError | None:
    """Measure the static port's error in the ground roll.

    Parameters
    ----------
    recording : Recording
        Barometer, and airspeed or ground speed.
    sortie : Sortie
        With its start of roll and lift-off.
    slope : (float, float), optional
        Slope of the runway, positive uphill, and its standard uncertainty. [-]

    Returns
    -------
    PortError or None
        None without a roll to 5 m/s that barometer and speed both show.

    Notes
    -----
    Least squares of height on ``v² / 2g`` from 10 s before the roll to 0.2 s before lift-off,
    with as many independent samples as there are half seconds. A steady push makes the way grow
    with v² as well, so that a slope can't be told from the port: its way is in the uncertainty.
    """
    if sortie.liftoff_s is None or sortie.launch != "runway" or sortie.starts != "rest":
        return None
    end = sortie.liftoff_s - _BEFORE_LIFTOFF_S
    t, h = _series(recording.one("baro"), "height_m", sortie.start_s - _BEFORE_ROLL_S, end)
    speed = _speed(recording, sortie.start_s - _BEFORE_ROLL_S - 1, end + 1)
    if len(t) < 10 or speed is None:
        return None
    v = np.interp(t, *speed)
    rolling = t > sortie.start_s
    if rolling.sum() < 5 or float(v[-1]) < _LEAST_SPEED_M_S or (~rolling).sum() < 5:
        return None
    head = v * v / (2 * G0_M_S2)
    head, rise = head - head.mean(), h - h.mean()
    power = float(head @ head)
    coefficient = float(head @ rise) / power
    left = rise - coefficient * head
    independent = max(4.0, float(t[-1] - t[0]) / _NOISE_MEMORY_S)
    noise = float(np.std(left)) * math.sqrt(len(t) / independent) / math.sqrt(power)
    way = float(np.sum(np.diff(t[rolling]) * v[rolling][1:]))
    top = float(v[-1]) ** 2 / (2 * G0_M_S2)
    coefficient -= slope[0] * way / top
    return PortError(coefficient, math.hypot(noise, slope[1] * way / top), float(v[-1]))


def _series(
    table: pd.DataFrame | None, name: str, start_s: float, end_s: float
) -> tuple[Array, Array]:
    """Finite values of a column in a window, with their times."""
    if table is None or name not in table:
        return np.empty(0), np.empty(0)
    t = table["time_s"].to_numpy(dtype=float)
    values = table[name].to_numpy(dtype=float, na_value=np.nan)
    good = (t >= start_s) & (t <= end_s) & (np.abs(values) < _ABSURD)
    return t[good], values[good]


def _speed(recording: Recording, start_s: float, end_s: float) -> tuple[Array, Array] | None:
    """Airspeed, or ground speed where it was not logged or shows nothing."""
    for table, name in (("airspeed", "airspeed_m_s"), ("gps", "ground_speed_m_s")):
        t, v = _series(recording.one(table), name, start_s, end_s)
        if len(t) > 3 and float(v.max()) > _LEAST_SPEED_M_S:
            return t, v
    return None


# --- warming

LEAST_WARMING_K = 2.0
LEAST_REST_S = 60.0
LEAST_MOVE_M = 1.0
"""A height that moved less at rest, or in less time, or while the sensor kept its temperature,
says nothing about warming. [K], [s], [m]"""

LEAST_RATE_M_S = 0.4 / 60
"""Twice the drift that every interval allows for. [m/s]"""

_LEAST_R = 0.8
_BLOCK_S = 5.0
_LAST_S = 60.0
_LONGEST_REST_S = 600.0
_STILL_M_S = 3.0


@dataclass(frozen=True, slots=True)
class Warming:
    """How height and sensor temperature moved together before a flight.

    Attributes
    ----------
    move_m, warmed_k : float
        Change over the rest. [m], [K]
    per_kelvin_m, r : float
        Slope [m/K] and correlation of height on temperature.
    rate_m_s : float
        Drift in the last minute of the rest. [m/s]
    rest_s : float
        Length of the rest. [s]
    """

    move_m: float
    warmed_k: float
    per_kelvin_m: float
    r: float
    rate_m_s: float
    rest_s: float


def warming(recording: Recording, sortie: Sortie) -> Warming | None:
    """Find a barometer that drifts with its temperature at rest before a flight.

    Returns
    -------
    Warming or None
        None where temperature or height are missing or steady, or don't move together.
    """
    baro = recording.one("baro")
    start = max(sortie.start_s - _LONGEST_REST_S, _last_motion(recording, sortie.start_s))
    t, h = _series(baro, "height_m", start, sortie.start_s - 1.0)
    tk, k = _series(baro, "temperature_k", start, sortie.start_s - 1.0)
    if len(t) < 20 or len(tk) < 20 or t[-1] - t[0] < LEAST_REST_S:
        return None
    edges = np.arange(t[0], t[-1] + 1e-9, _BLOCK_S)
    heights, kelvins = _blocks(t, h, edges), _blocks(tk, k, edges)
    good = np.isfinite(heights) & np.isfinite(kelvins)
    if good.sum() < 8:
        return None
    heights, kelvins, at = heights[good], kelvins[good], edges[:-1][good]
    warmed, move = float(kelvins[-1] - kelvins[0]), float(heights[-1] - heights[0])
    late = at > at[-1] - _LAST_S
    rate = float(np.polyfit(at[late] - at[-1], heights[late], 1)[0]) if late.sum() > 3 else 0.0
    mean_rate = abs(move) / float(at[-1] - at[0])
    if abs(warmed) < LEAST_WARMING_K or abs(move) < LEAST_MOVE_M or mean_rate < LEAST_RATE_M_S:
        return None
    if float(np.std(heights)) == 0:
        return None
    r = float(np.corrcoef(kelvins, heights)[0, 1])
    if abs(r) < _LEAST_R:
        return None
    slope = float(np.polyfit(kelvins - kelvins[0], heights, 1)[0])
    return Warming(move, warmed, slope, r, rate, float(t[-1] - t[0]))


def _last_motion(recording: Recording, before_s: float) -> float:
    """When the receiver last showed motion before a time; minus infinity if never."""
    t, v = _series(recording.one("gps"), "ground_speed_m_s", -math.inf, before_s - 2.0)
    fast = np.flatnonzero(v > _STILL_M_S)
    return float(t[fast[-1]]) + 2.0 if fast.size else -math.inf


def _blocks(time_s: Array, values: Array, edges_s: Array) -> Array:
    """Means between edges; NaN where there is no sample."""
    at = np.searchsorted(edges_s, time_s, side="right") - 1
    inside = (at >= 0) & (at < len(edges_s) - 1)
    count = np.bincount(at[inside], minlength=len(edges_s) - 1)
    total = np.bincount(at[inside], values[inside], len(edges_s) - 1)
    return np.where(count > 0, total / np.maximum(count, 1), np.nan)
