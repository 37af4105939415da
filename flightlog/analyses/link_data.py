"""What the link's figures need of a recording: power second by second, and from where to where."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from flightlog.analyses.link_gaps import Dropout, values_of
from flightlog.analyses.phases import Sortie
from flightlog.analyses.track import Window
from flightlog.estimation.frames import Array
from flightlog.estimation.link_budget import body_directions, second_means
from flightlog.estimation.path import FlightPath
from flightlog.inputs import Inputs

if TYPE_CHECKING:
    from flightlog.recording import Recording

Mask = NDArray[np.bool_]

STATION_STD_M = 15.0
"""Standard uncertainty, for each axis, of a ground station that nobody placed: crews stand
within some tens of metres of the start of the roll. [m]"""

GIVEN_STATION_STD_M = 2.0
"""The same for a position in the site file. [m]"""

STATION_HEIGHT_M = 1.5
"""Aerials in a hand or on a tripod. [m]"""

NEAREST_M = 20.0
"""Nearer than this the place of the station decides the distance, not the flight. [m]"""

MOST_SECONDS = 600
"""Longer flights are averaged over more than one second, for the time of the computation."""

FLOOR_SHARE = 0.05
"""Share of samples at the very least value from which on that value is a floor. [-]"""

_FRESH_S = 1.0
_POSSIBLE_DBM = (-150.0, 30.0)

_LEAST_DBM = -150.0


@dataclass(frozen=True, slots=True)
class Strength:
    """Received power as logged.

    Attributes
    ----------
    time_s, values : array, shape (n,)
        [s], and in ``unit``.
    unit : str
        "dBm"; "dB" where only the scale of the counts is known; else "counts".
    missing : str
        What is needed for dBm; "" with it.
    """

    time_s: Array
    values: Array
    unit: str
    missing: str


@dataclass(frozen=True, slots=True)
class Station:
    """Where the ground station is in the frame of the path, how sure [m], and why there."""

    east_m: float
    north_m: float
    std_m: float
    words: str


@dataclass(frozen=True, slots=True)
class Seconds:
    """One row a second in which power, position and, where wanted, attitude are known.

    Attributes
    ----------
    time_s, power : array, shape (n,)
        Mean power; where ``below``, a limit that it was below. [s], [dB] or counts
    below : array of bool, shape (n,)
    sight_m : array, shape (n, 3)
        Ground station less aircraft: east, north, up. [m]
    distance_m : array, shape (n,)
        Slant. [m]
    attitude_rad : array, shape (n, 3)
        Roll, pitch, yaw; NaN where not known. [rad]
    """

    time_s: Array
    power: Array
    below: Mask
    sight_m: Array
    distance_m: Array
    attitude_rad: Array

    @property
    def aimed(self) -> Mask:
        """Rows with an attitude."""
        return np.asarray(np.isfinite(self.attitude_rad).all(axis=1))

    def moved(self, east_m: float, north_m: float) -> Seconds:
        """The same flight, for a ground station that is elsewhere."""
        sight = self.sight_m + np.array([east_m, north_m, 0.0])
        distance = np.maximum(np.linalg.norm(sight, axis=1), 1.0)
        return replace(self, sight_m=sight, distance_m=distance)

    def direction(self, rows: Mask) -> Array:
        """Unit vectors to the ground station in the axes of the aircraft, shape (m, 3)."""
        east, north, up = self.sight_m[rows].T
        return body_directions(east, north, up, self.attitude_rad[rows])


def strength_of(recording: Recording, window: Window, inputs: Inputs) -> Strength | str:
    """Give the received power while airborne, or say why it can't be had."""
    for name in ("rssi_dbm", "rssi_raw"):
        time_s = values_of(recording, "link", "time_s")
        values = values_of(recording, "link", name)
        good = np.isfinite(time_s) & np.isfinite(values)
        good &= (time_s >= window.start_s) & (time_s <= window.end_s)
        if name == "rssi_dbm":  # a power that arrives lies far below a milliwatt
            good &= (values > _LEAST_DBM) & (values < 0)
        if good.sum() < 3:
            continue
        t, v = time_s[good], values[good]
        if name == "rssi_dbm":
            return Strength(t, v, "dBm", "")
        link = inputs.aircraft.link if inputs.aircraft is not None else None
        if link is None or link.raw_scale is None or link.raw_scale == 0:
            return Strength(
                t,
                v,
                "counts",
                "the log has the strength in the receiver's own counts; give raw_scale (decibels "
                "a count) and raw_offset_dbm under [link] in the aircraft file",
            )
        if link.raw_offset_dbm is None:
            missing = "give raw_offset_dbm under [link] in the aircraft file: the counts have none"
            return Strength(t, v * link.raw_scale, "dB", missing)
        power = v * link.raw_scale + link.raw_offset_dbm
        low, high = _POSSIBLE_DBM
        if not low <= float(np.median(power)) <= high:
            return (
                f"with raw_scale and raw_offset_dbm of the aircraft file the signal has "
                f"{np.median(power):.0f} dBm, outside {low:.0f} to {high:.0f}; correct them"
            )
        return Strength(t, power, "dBm", "")
    return "the log has no strength of the received signal while airborne; log it beside quality"


def station_of(path: FlightPath, sortie: Sortie, inputs: Inputs) -> Station | str:
    """Place the ground station: where the site file has the pilot, else at the start of roll."""
    site = inputs.site
    if site is not None and site.pilot_deg is not None:
        latitude, longitude = (np.array([v]) for v in site.pilot_deg)
        east, north = (float(v[0]) for v in path.frame.east_north(latitude, longitude))
        std = math.hypot(GIVEN_STATION_STD_M, path.drift_std_m)
        return Station(east, north, std, "the pilot's position in the site file")
    if sortie.starts == "air":
        return (
            "the log starts in the air, so nothing tells where the ground station is; give "
            "pilot_deg in the site file"
        )
    at = int(np.clip(np.searchsorted(path.time_s, sortie.start_s), 0, path.time_s.size - 1))
    std = math.hypot(STATION_STD_M, path.drift_std_m)
    words = f"a ground station taken to be within {2 * STATION_STD_M:.0f} m of the start"
    return Station(float(path.east_m[at]), float(path.north_m[at]), std, words)


def seconds_of(
    recording: Recording,
    strength: Strength,
    path: FlightPath,
    station: Station,
    lost: tuple[Dropout, ...],
    sensitivity_dbm: float | None,
) -> Seconds:
    """Bring power, position and attitude together, second by second."""
    span = float(np.ptp(strength.time_s)) if strength.time_s.size else 0.0
    width = max(1.0, span / MOST_SECONDS)
    t, power = second_means(
        strength.time_s, strength.values, power=strength.unit != "counts", width_s=width
    )
    below = np.zeros(t.size, dtype=bool)
    least = float(strength.values.min())
    at_floor = strength.values <= least
    if at_floor.mean() >= FLOOR_SHARE and at_floor.sum() >= 5:
        below = power <= least + 1e-9
    if strength.unit != "counts" and lost:
        limit = sensitivity_dbm if strength.unit == "dBm" and sensitivity_dbm is not None else least
        silent = _silent_seconds(lost, width)
        # Reports that went on through a loss of packets keep their own power.
        silent = silent[~_near(silent, t, width / 2)]
        t = np.concatenate([t, silent])
        order = np.argsort(t, kind="stable")
        power = np.concatenate([power, np.full(silent.size, limit)])[order]
        below = np.concatenate([below, np.ones(silent.size, dtype=bool)])[order]
        t = t[order]
    known = (t >= path.time_s[0]) & (t <= path.time_s[-1])
    for a, b in path.gaps_s:
        known &= (t <= a) | (t >= b)
    t, power, below = t[known], power[known], below[known]
    height = path.height_m if path.height_m is not None else np.full(path.time_s.size, np.nan)
    east, north, up = (np.interp(t, path.time_s, v) for v in (path.east_m, path.north_m, height))
    sight = np.stack([station.east_m - east, station.north_m - north, STATION_HEIGHT_M - up], 1)
    distance = np.linalg.norm(sight, axis=1)
    use = np.isfinite(distance) & (distance >= NEAREST_M)
    return Seconds(
        t[use],
        power[use],
        below[use],
        sight[use],
        distance[use],
        attitude_at(recording, t[use]),
    )


def _silent_seconds(lost: tuple[Dropout, ...], width_s: float) -> Array:
    parts = [
        np.arange(d.start_s + width_s / 2, d.end_s, width_s)[:MOST_SECONDS]
        for d in lost
        if d.kind == "link"
    ]
    return np.concatenate(parts) if parts else np.empty(0)


def _near(time_s: Array, others: Array, within_s: float) -> Mask:
    if not others.size:
        return np.zeros(time_s.size, dtype=bool)
    after = np.clip(np.searchsorted(others, time_s), 0, others.size - 1)
    before = np.maximum(after - 1, 0)
    apart = np.minimum(np.abs(others[after] - time_s), np.abs(others[before] - time_s))
    return np.asarray(apart < within_s)


def attitude_at(recording: Recording, time_s: Array) -> Array:
    """Roll, pitch and yaw at times, NaN where no sample is within a second. [rad]"""
    columns = [values_of(recording, "attitude", f"{n}_rad") for n in ("roll", "pitch", "yaw")]
    when = values_of(recording, "attitude", "time_s")
    good = np.isfinite(when)
    for values in columns:
        good &= np.isfinite(values) if values.size == when.size else np.zeros_like(good)
    if good.sum() < 2:
        return np.full((time_s.size, 3), np.nan)
    when, first = np.unique(when[good], return_index=True)
    angles = []
    for values in columns:
        each = values[good][first]
        sine, cosine = (np.interp(time_s, when, f(each)) for f in (np.sin, np.cos))
        angles.append(np.arctan2(sine, cosine))
    attitude = np.stack(angles, axis=1)
    attitude[~_near(time_s, when, _FRESH_S)] = np.nan
    return attitude
