"""What the landing analysis needs, cut out of a recording and brought to one clock."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from flightlog.analyses.phases import Sortie
from flightlog.analyses.takeoff_data import LEAST_IMU_RATE_HZ, column, window
from flightlog.constants import G0_M_S2
from flightlog.estimation.frames import Array
from flightlog.estimation.liftoff_evidence import Series
from flightlog.estimation.path import BARO_LAG_S, LATENCY_PRIOR_S
from flightlog.estimation.touchdown_evidence import LandingEvidence
from flightlog.inputs import Inputs

if TYPE_CHECKING:
    from flightlog.analyses.takeoff import Takeoff
    from flightlog.estimation.path import FlightPath
    from flightlog.recording import Recording

LOOK_BACK_S, LOOK_ON_S = 14.0, 28.0
"""Cut before and after the coarse touchdown. [s]"""

LEAST_SPECK_M_S2 = 12.0
SPECK_RATE_HZ = 80.0
"""A single sample so far from both its neighbours, which agree, is a damaged one, if the IMU is
fast enough to show an impact in several samples. [m/s²], [Hz]"""

LEAST_BARO_STD_M, LEAST_CLIMB_STD_M_S = 0.15, 0.12
"""Noise that single samples have at least, with what latency and lag leave of a flare.
[m], [m/s]"""

_NOISE_BEFORE_S = 60.0
_LEAST_VALUES = 4
_HIGHEST_M_S = 100.0


@dataclass(frozen=True, slots=True)
class Felt:
    """What the inertial sensor felt around a landing, brought to the main wheels if it can be.

    Attributes
    ----------
    upward : Series
        Upward acceleration, gravity removed. [m/s²]
    load : array, shape (n,)
        Load factor ``-f_z / g`` at the same times. [-]
    turning : array, shape (n,)
        Pitch acceleration; 0 without a gyroscope. [rad/s²]
    rate_hz : float
        [Hz]
    moved : bool
        Whether it was brought to the main wheels by the lever of the aircraft file.
    """

    upward: Series
    load: Array
    turning: Array
    rate_hz: float
    moved: bool


@dataclass(frozen=True, slots=True)
class LandingData:
    """One landing, ready to be measured; ``no_imu`` says why ``felt`` is None."""

    evidence: LandingEvidence
    felt: Felt | None
    no_imu: str
    sources: tuple[str, ...]


def gather_landing(
    recording: Recording,
    touch_s: float,
    path: FlightPath | None,
    inputs: Inputs,
    takeoff: Takeoff,
) -> LandingData:
    """Cut what speaks of a landing out of a recording.

    Parameters
    ----------
    recording : Recording
        The log.
    touch_s : float
        Coarse touchdown. [s]
    path : FlightPath or None
        For the speed over ground.
    inputs : Inputs
        Where the inertial sensor sits, from the aircraft file.
    takeoff : Takeoff
        For the age of a fix.
    """
    start, end = touch_s - LOOK_BACK_S, touch_s + LOOK_ON_S
    lever = inputs.aircraft.imu_lever_m if inputs.aircraft is not None else None
    felt, why = _felt(recording, start, end, lever)
    latency = LATENCY_PRIOR_S[0] if takeoff.latency_s is None else takeoff.latency_s
    height = _height(recording, start, end)
    climb = _climb(recording, touch_s, latency)
    speed = None
    if path is not None:
        speed = Series(
            path.time_s, np.hypot(path.east_m_s, path.north_m_s), np.ones(path.time_s.size)
        )
    have = (("imu", felt), ("attitude", felt), ("baro", height), ("gps", climb))
    return LandingData(
        LandingEvidence(felt.upward if felt is not None else None, height, climb, speed),
        felt,
        why,
        tuple(name for name, what in have if what is not None),
    )


def _felt(
    recording: Recording, start_s: float, end_s: float, lever: tuple[float, float, float] | None
) -> tuple[Felt | None, str]:
    rows = window(recording.one("imu"), start_s, end_s)
    if rows is None:
        return None, "the log has no accelerations at the landing; log the IMU at 100 Hz or more"
    t = column(rows, "time_s")
    f = np.stack([column(rows, f"accel_{axis}_m_s2") for axis in "xyz"])
    good = np.isfinite(f).all(axis=0) & np.isfinite(t)
    good[1:] &= np.diff(t) > 0
    if good.sum() < 20:
        return None, "the log has no usable accelerations at the landing"
    rate = 1 / float(np.median(np.diff(t[good])))
    if rate < LEAST_IMU_RATE_HZ:
        return None, (
            f"the IMU was logged at {rate:.0f} Hz, too slow for an impact; log it at 100 Hz or more"
        )
    if rate > SPECK_RATE_HZ:
        good[good] = ~_specks(f[:, good])
    attitude = window(recording.get("attitude"), start_s, end_s)
    if attitude is None:
        return None, "the log has no attitude at the landing to turn the accelerations by; log it"
    at, roll, pitch = (column(attitude, name) for name in ("time_s", "roll_rad", "pitch_rad"))
    known = np.isfinite(roll) & np.isfinite(pitch)
    if known.sum() < 3:
        return None, "the log has no usable attitude at the landing; log it"
    t, f = t[good], f[:, good]
    w = np.stack([column(rows, f"gyro_{axis}_rad_s") for axis in "xyz"])[:, good]
    turning = np.zeros(t.size)
    moved = False
    if np.isfinite(w).all():
        spin = np.gradient(_smooth3(w), t, axis=1)
        turning = spin[1]
        if lever is not None:
            f, moved = _moved(f, w, spin, lever), True
    r, p = np.interp(t, at[known], roll[known]), np.interp(t, at[known], pitch[known])
    up = f[0] * np.sin(p) - f[1] * np.sin(r) * np.cos(p) - f[2] * np.cos(r) * np.cos(p) - G0_M_S2
    return Felt(Series(t, up, np.ones(t.size)), -f[2] / G0_M_S2, turning, rate, moved), ""


def _smooth3(w: Array) -> Array:
    """Mean of three neighbours: a difference of raw rates is mostly noise."""
    wide = np.pad(w, ((0, 0), (1, 1)), mode="edge")
    return np.asarray((wide[:, :-2] + wide[:, 1:-1] + wide[:, 2:]) / 3)


def _moved(f: Array, w: Array, spin: Array, lever: tuple[float, float, float]) -> Array:
    """Specific force at the main wheels' axle, of a rigid body: a + spin x r + w x (w x r)."""
    r = -np.asarray(lever, dtype=float)[:, None] * np.ones(f.shape[1])
    turn = np.cross(spin, r, axis=0)
    return np.asarray(f + turn + np.cross(w, np.cross(w, r, axis=0), axis=0))


def _specks(f: Array) -> NDArray[np.bool_]:
    """Single samples far from both neighbours, which agree with each other."""
    bad = np.zeros(f.shape[1], dtype=bool)
    for a in f:
        before, after = a[:-2], a[2:]
        off = np.minimum(np.abs(a[1:-1] - before), np.abs(a[1:-1] - after))
        usual = 1.4826 * float(np.median(off))
        limit = max(LEAST_SPECK_M_S2, 8 * usual)
        bad[1:-1] |= (off > limit) & (np.abs(after - before) < 0.5 * off)
    return bad


def _height(recording: Recording, start_s: float, end_s: float) -> Series | None:
    rows = window(recording.one("baro"), start_s, end_s)
    if rows is None:
        return None
    t, h = column(rows, "time_s"), column(rows, "height_m")
    good = np.isfinite(h) & np.isfinite(t)
    if good.sum() < 5:
        return None
    t, h = t[good], h[good]
    noise = float(np.median(np.abs(np.diff(h, 2)))) * 1.4826 / math.sqrt(6)
    # Samples share the barometer's own filter: they are not as independent as they look.
    std = max(LEAST_BARO_STD_M, 1.5 * noise)
    return Series(t - BARO_LAG_S, h - float(np.median(h)), np.full(t.size, std))


def _climb(recording: Recording, touch_s: float, latency_s: float) -> Series | None:
    rows = window(recording.one("gps"), touch_s - _NOISE_BEFORE_S, touch_s + LOOK_ON_S)
    if rows is None:
        return None
    t, c, fix = column(rows, "time_s"), column(rows, "climb_m_s"), column(rows, "fix")
    good = np.isfinite(c) & np.isfinite(t) & ~(fix < 3) & (np.abs(c) < _HIGHEST_M_S)
    # A column that a receiver does not fill stands still.
    if good.sum() < 6 or np.unique(c[good]).size < _LEAST_VALUES:
        return None
    t, c = t[good], c[good]
    # With true changes of the climb rate in it, and so rather too large than too small.
    noise = 1.4826 * float(np.median(np.abs(np.diff(c, 2)))) / math.sqrt(6)
    near = t > touch_s - LOOK_BACK_S
    std = math.hypot(noise, LEAST_CLIMB_STD_M_S)
    return Series(t[near] - latency_s, c[near], np.full(int(near.sum()), std))


def landed(sortie: Sortie) -> str:
    """Why a sortie has no landing to measure; "" when it has one."""
    if sortie.ends == "air":
        return "the log ends in the air: the landing is not in it"
    if sortie.touchdown_s is None:
        return "the log does not show when it touched down"
    return ""
