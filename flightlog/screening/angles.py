"""Angles: radians, degrees, and hundredths of them, told apart by what turns along."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np

from flightlog.estimation.frames import Array
from flightlog.findings import Finding, make_finding
from flightlog.screening.series import (
    Mask,
    Ratio,
    read_fixes,
    samples,
    symmetric_slope,
    unit_remedy,
)
from flightlog.screening.units import named_factor

if TYPE_CHECKING:
    from flightlog.recording import Recording
    from flightlog.screening.context import LogView

_DEGREE = math.pi / 180

ATTITUDE_FACTORS: Mapping[float, str] = {
    1 / _DEGREE: "it looks like degrees",
    100 / _DEGREE: "it looks like hundredths of a degree",
    _DEGREE: "the gyro looks like degrees a second, or it like radians converted twice",
}
"""How many times as much an angle moves as the gyro -> what that looks like."""

ANGLE_TOLERANCE = 0.2
"""Rolling while turning couples the axes by a tenth or two; the units are a factor of 57 apart.
[-]"""

_WINDOW_S = 0.5
_LEAST_TURN_RAD = 0.03
_LEAST_R = 0.8
_MOST_WINDOWS = 4000


def attitude_ratio(recording: Recording) -> Ratio | None:
    """How many times as much the roll angle moves as the gyro about the long axis says.

    Over windows of half a second; None without both, or without motion that they share.
    """
    t, rate = samples(recording.one("imu"), "gyro_x_rad_s")
    ta, roll = samples(recording.get("attitude"), "roll_rad")
    if len(t) < 100 or len(ta) < 20:
        return None
    start, end = max(t[0], ta[0]), min(t[-1], ta[-1])
    if not 10.0 < end - start <= 86_400.0:
        return None
    turned = np.concatenate([[0.0], np.cumsum(np.diff(t) * (rate[1:] + rate[:-1]) / 2)])
    grid = np.arange(start, end, max(_WINDOW_S, (end - start) / _MOST_WINDOWS))
    # Only windows that both series cover: a hole would be filled with a straight line.
    covered = _covered(t, grid) & _covered(ta, grid)
    x = np.interp(grid + _WINDOW_S, t, turned) - np.interp(grid, t, turned)
    y = np.interp(grid + _WINDOW_S, ta, roll) - np.interp(grid, ta, roll)
    moving = covered & ((np.abs(x) > _LEAST_TURN_RAD) | (np.abs(y) > _LEAST_TURN_RAD))
    return symmetric_slope(x[moving], y[moving], least_r=_LEAST_R, least=20)


def _covered(time_s: Array, grid_s: Array) -> Mask:
    samples = np.searchsorted(time_s, grid_s + _WINDOW_S) - np.searchsorted(time_s, grid_s)
    return np.asarray(samples >= 2)


@dataclass(frozen=True, slots=True)
class Turning:
    """How well directions go with the directions of motion, by unit.

    Attributes
    ----------
    as_stated, as_other : float
        Length of the mean of the unit vectors of the difference, 1 for perfect agreement.
    other : str
        The unit that agrees best of those that are not the stated one.
    samples : int
        Directions compared.
    """

    as_stated: float
    as_other: float
    other: str
    samples: int


LEAST_SPREAD = 0.7
"""Mean length of the directions of motion above which they hardly turn, and prove nothing. [-]"""

AGREES, DISAGREES = 0.9, 0.6
"""Course and way agree to 25° in each sample (0.9), or to no better than 58° (0.6). [-]"""

_LEAST_DIRECTIONS = 30


def turning(
    motion_rad: Array, stated: Array, stated_rad: float, others: Mapping[float, str]
) -> Turning | None:
    """Compare directions with the directions of motion, in the stated unit and in others.

    Parameters
    ----------
    motion_rad : array
        Direction of motion. [rad]
    stated : array
        The same directions, or ones a constant away, in a unit that is in question.
    stated_rad : float
        Radians in one of the stated unit.
    others : mapping of float to str
        Radians in one of another unit -> its name.
    """
    good = np.isfinite(motion_rad) & np.isfinite(stated)
    if good.sum() < _LEAST_DIRECTIONS:
        return None
    motion, shown = motion_rad[good], stated[good]
    if _length(motion) > LEAST_SPREAD:
        return None
    scores = {name: _length(shown * factor - motion) for factor, name in others.items()}
    best = max(scores, key=lambda name: scores[name])
    return Turning(_length(shown * stated_rad - motion), scores[best], best, int(good.sum()))


def _length(angle_rad: Array) -> float:
    return float(np.abs(np.mean(np.exp(1j * angle_rad))))


_FAST_M_S = 4.0


def directions(recording: Recording) -> tuple[Array, Array, Array] | None:
    """Time [s], direction of motion by the positions [rad], and stated course of moving fixes."""
    fixes = read_fixes(recording)
    if fixes is None:
        return None
    # About a second apart: white noise of the places must not turn them.
    tick = np.floor(fixes.time_s - fixes.time_s[0])
    keep = np.concatenate([[True], np.diff(tick) > 0])
    fixes = fixes.rows(keep)
    dt = np.diff(fixes.time_s)
    east, north = np.diff(fixes.east_m), np.diff(fixes.north_m)
    moving = (dt < 2.5) & (np.hypot(east, north) > _FAST_M_S * dt)
    middle = (fixes.time_s[1:] + fixes.time_s[:-1]) / 2
    return middle[moving], np.arctan2(east, north)[moving], fixes.course_deg[1:][moving]


def angle_unit(view: LogView) -> Iterable[Finding]:
    """Find attitude or course in another unit (`angle-unit`)."""
    yield from _attitude_by_gyro(view)
    moving = directions(view.recording)
    if moving is None:
        return
    time_s, motion, course = moving
    found = turning(
        motion, course, _DEGREE, {1.0: "radians", _DEGREE / 100: "hundredths of a degree"}
    )
    if found is not None and found.as_other > AGREES and found.as_stated < DISAGREES:
        yield _course_finding(view, found)
    yaw = _yaw_at(view.recording, time_s)
    found = turning(motion, yaw, 1.0, {_DEGREE: "degrees", _DEGREE / 100: "hundredths of a degree"})
    if found is not None and found.as_other > AGREES and found.as_stated < DISAGREES:
        yield make_finding(
            "angle-unit",
            f"attitude.yaw_rad turns along with the positions only as {found.other} (agreement "
            f"{found.as_other:.2f}, as radians {found.as_stated:.2f}).",
            evidence={"column": "attitude.yaw_rad", "agreement": found.as_other},
            affects=("flight.max_bank", "takeoff.*"),
            remedy=unit_remedy(view.recording),
        )


def _course_finding(view: LogView, found: Turning) -> Finding:
    return make_finding(
        "angle-unit",
        f"gps.course_deg turns along with the positions only as {found.other} (agreement "
        f"{found.as_other:.2f}, as degrees {found.as_stated:.2f}).",
        evidence={"column": "gps.course_deg", "agreement": found.as_other},
        affects=("takeoff.*", "flight.*", "laps.*", "wind.*", "climb.gradient", "energy.per_km"),
        remedy=unit_remedy(view.recording),
    )


def _attitude_by_gyro(view: LogView) -> Iterable[Finding]:
    ratio = attitude_ratio(view.recording)
    looks = "" if ratio is None else named_factor(ratio, ATTITUDE_FACTORS, ANGLE_TOLERANCE)
    if ratio is None or not looks:
        return
    yield make_finding(
        "angle-unit",
        f"attitude.roll_rad turns {ratio.told()} times as much as the gyro: {looks}.",
        evidence={"column": "attitude.roll_rad", "ratio": ratio.value, "ratio_std": ratio.std},
        affects=("flight.max_bank", "takeoff.*"),
        remedy=unit_remedy(view.recording),
    )


def _yaw_at(recording: Recording, time_s: Array) -> Array:
    """Yaw of the sample next to each time, NaN without one within half a second."""
    t, yaw = samples(recording.get("attitude"), "yaw_rad")
    if len(t) < 2:
        return np.full(len(time_s), np.nan)
    after = np.clip(np.searchsorted(t, time_s), 1, len(t) - 1)
    near = np.where(t[after] - time_s < time_s - t[after - 1], after, after - 1)
    return np.asarray(np.where(np.abs(t[near] - time_s) < _WINDOW_S, yaw[near], np.nan))
