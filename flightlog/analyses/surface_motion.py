"""How the aircraft moved, on one even grid, and what else moved it than one surface."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flightlog.analyses.surface_data import Told, means_about, series
from flightlog.analyses.track import Window
from flightlog.estimation.frames import Array
from flightlog.estimation.surface_answer import LEAST_S, STEP_S

if TYPE_CHECKING:
    from flightlog.recording import Recording

_SLOWEST_IMU_S = 0.055
_MARGIN_S = 3.0
_LANDING_S = 4.0
_LONGEST_HOLE_S = 1.0
_TWIN = 0.98
_LEAST_PULSE_US = 2.0
_IMU = (*(f"gyro_{a}_rad_s" for a in "xyz"), *(f"accel_{a}_m_s2" for a in "xyz"))


@dataclass(frozen=True, slots=True)
class Motion:
    """Turning and force on an even grid in the air.

    Attributes
    ----------
    grid_s : array, shape (n,)
        `STEP_S` apart. [s]
    rates : array, shape (n, 3)
        About forward, right, down. [deg/s]
    force : array, shape (n, 3)
        Specific force. [m/s²]
    pressure : array, shape (n,)
        Dynamic pressure over its median; ones without an airspeed sensor. [-]
    imu_hz : float
        Rate of the inertial sensor. [Hz]
    """

    grid_s: Array
    rates: Array
    force: Array
    pressure: Array
    imu_hz: float


def motion_of(recording: Recording, window: Window) -> tuple[Motion | None, str]:
    """Bring inertial sensors and airspeed to one grid; without, say why."""
    start = window.start_s + _MARGIN_S
    end = window.end_s - _LANDING_S
    if not LEAST_S <= end - start < 1e6:
        return None, f"under {LEAST_S:.0f} s in the air"
    imu = recording.one("imu")
    rows = series(imu, _IMU, start, end)
    if rows is None:
        return None, "the log has no turning rates and forces in the air; log the inertial sensor"
    time_s, values = rows
    step = float(np.median(np.diff(time_s)))
    if step > _SLOWEST_IMU_S:
        return None, (
            f"the inertial sensor was logged at {1 / step:.0f} Hz, which is too slow; "
            "log it at 50 Hz or more"
        )
    start, end = float(time_s[0]), float(time_s[-1])
    holes = np.diff(time_s)
    if float(holes[holes > _LONGEST_HOLE_S].sum()) > 0.05 * (end - start) or end - start < LEAST_S:
        return None, "the inertial sensor was not logged for too much of the flight"
    grid = np.arange(start, end, STEP_S)
    mean = means_about(time_s, values, grid, STEP_S)
    pressure = np.ones(grid.size)
    air = series(recording.one("airspeed"), ("airspeed_m_s",), start, end)
    if air is not None and float(np.median(air[1])) > 5:
        speed = means_about(air[0], air[1], grid, 1.0)[:, 0]
        pressure = np.clip((speed / float(np.median(speed))) ** 2, 0.25, 4.0)
    return Motion(grid, np.degrees(mean[:, :3]), mean[:, 3:], pressure, 1 / step), ""


def other_outputs(
    told: Told, pulses: Mapping[int, tuple[Array, Array]], grid: Array, command: Array
) -> list[Array]:
    """The other outputs on the grid, without those that move as this one does."""
    found: list[Array] = []
    moves = np.diff(command)
    for channel, (time_s, pulse) in pulses.items():
        if channel == told.surface.channel or float(pulse.std()) < _LEAST_PULSE_US:
            continue
        other: Array = np.interp(grid, time_s, pulse)
        step = np.diff(other)
        size = math.sqrt(float(step @ step) * float(moves @ moves))
        if size > 0 and abs(float(step @ moves)) < _TWIN * size:
            found.append(other)
    return found
