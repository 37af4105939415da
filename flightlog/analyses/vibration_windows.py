"""The flight cut into short windows, each with the phase of flight that it belongs to."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from flightlog.analyses.phases import Sortie
from flightlog.analyses.takeoff import Takeoff
from flightlog.estimation.frames import Array
from flightlog.estimation.path import FlightPath
from flightlog.estimation.spectra import Windows, cut_windows, sampling_rate

if TYPE_CHECKING:
    from flightlog.recording import Recording

PHASES = ("takeoff", "climb", "cruise", "descent")

LEAST_RATE_HZ = 40.0
"""A slower IMU shows too little above the manoeuvres. [Hz]"""

CLIMBS_M_S = 0.8
"""Vertical speed, mean of 4 s, that is no longer cruise. [m/s]"""

_SMOOTH_S = 4.0
_ACCEL = tuple(f"accel_{axis}_m_s2" for axis in "xyz")
_LEAST_WINDOWS = 4


@dataclass(frozen=True, slots=True)
class Shaken:
    """What the accelerometer felt in one sortie.

    Attributes
    ----------
    windows : Windows
        Of the sortie, forward, right, down. [m/s²]
    phase : array of str, shape (windows,)
        One of `PHASES`; "" on the ground after the landing and where it is not known.
    phases_known : bool
        Whether climb, cruise and descent could be told apart.
    start_s, end_s : float
        Of the sortie. [s]
    """

    windows: Windows
    phase: NDArray[np.str_]
    phases_known: bool
    start_s: float
    end_s: float

    @property
    def airborne(self) -> NDArray[np.bool_]:
        """Windows in climb, cruise or descent."""
        return np.asarray((self.phase != "") & (self.phase != "takeoff"))


def shaken(
    recording: Recording, sortie: Sortie, path: FlightPath | None, takeoff: Takeoff
) -> tuple[Shaken | None, str]:
    """Cut the sortie into windows, or say why that can't be done.

    Parameters
    ----------
    recording : Recording
        Its IMU.
    sortie, path, takeoff
        Phases of the flight.
    """
    samples = _felt(recording, sortie)
    if samples is None:
        return None, "the log has no accelerometer in flight; log the IMU at 200 Hz or faster"
    time_s, force = samples
    rate = sampling_rate(time_s)
    if rate < LEAST_RATE_HZ:
        return None, f"the IMU was logged at {rate:.3g} Hz; log it at 200 Hz or faster"
    windows = cut_windows(time_s, force)
    if windows is None or len(windows.values) < _LEAST_WINDOWS:
        return None, "the IMU's samples have gaps all along; log it at an even rate"
    climb = _climb(path, windows.middle_s)
    phase = _phases(windows.middle_s, climb, sortie, takeoff)
    return Shaken(windows, phase, climb is not None, sortie.start_s, sortie.end_s), ""


def _felt(recording: Recording, sortie: Sortie) -> tuple[Array, Array] | None:
    imu = recording.one("imu")
    if imu is None or any(name not in imu for name in _ACCEL):
        return None
    time_s = imu["time_s"].to_numpy(dtype=float)
    first, last = np.searchsorted(time_s, (sortie.start_s, sortie.end_s))
    rows = slice(int(first), int(last))
    force = np.column_stack(
        [imu[name].to_numpy(dtype=float, na_value=np.nan)[rows] for name in _ACCEL]
    )
    time_s = time_s[rows]
    good = np.isfinite(force).all(axis=1) & (np.abs(force) < 1e5).all(axis=1)
    if good.sum() < 3:
        return None
    return time_s[good], force[good]


def _climb(path: FlightPath | None, middle_s: Array) -> Array | None:
    """Vertical speed at the middles, a mean of four seconds. [m/s]"""
    if path is None or path.climb_m_s is None or path.time_s.size < 3:
        return None
    step = float(np.median(np.diff(path.time_s)))
    if not step > 0:
        return None
    count = min(max(1, round(_SMOOTH_S / step)), path.time_s.size)
    total = np.concatenate([[0.0], np.cumsum(np.nan_to_num(path.climb_m_s))])
    at = np.searchsorted(path.time_s, middle_s)
    low = np.clip(at - count // 2, 0, path.time_s.size - count)
    return np.asarray((total[low + count] - total[low]) / count)


def _phases(
    middle_s: Array, climb: Array | None, sortie: Sortie, takeoff: Takeoff
) -> NDArray[np.str_]:
    phase = np.full(middle_s.size, "", dtype="U8")
    lifted = takeoff.liftoff_s if takeoff.liftoff_s is not None else sortie.liftoff_s
    start = takeoff.start_s if takeoff.start_s is not None else sortie.start_s
    if sortie.launch == "runway" and lifted is not None:
        phase[(middle_s >= start) & (middle_s < lifted)] = "takeoff"
    up = sortie.start_s if lifted is None else lifted
    down = sortie.end_s if sortie.touchdown_s is None else sortie.touchdown_s
    flying = (middle_s >= up) & (middle_s <= down)
    if climb is not None:
        phase[flying & (climb > CLIMBS_M_S)] = "climb"
        phase[flying & (climb < -CLIMBS_M_S)] = "descent"
        phase[flying & (np.abs(climb) <= CLIMBS_M_S)] = "cruise"
    return phase
