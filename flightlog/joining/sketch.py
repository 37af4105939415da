"""A small description of a recording: enough to find its copies and its partners.

Recordings are large and sketches are not: one row a second of what two recordings of one flight
have in common, so that hundreds of files can be compared with few of them in memory.
"""

from __future__ import annotations

from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

import numpy as np
import numpy.typing as npt

from flightlog.estimation.correlation import Array, Trace
from flightlog.recording import UtcRelation

if TYPE_CHECKING:
    import pandas as pd

    from flightlog.recording import Recording

RADIO_FORMATS = ("mavlink-telemetry", "transmitter")
"""Formats written on the ground: a copy of what came over the radio."""

EVENTS = ("modes", "messages", "parameters", "arming")
"""Tables whose rows are written when something happens."""

METRES_PER_DEG = 111_194.9
"""Of latitude, on the mean sphere of 6371.0 km; good to 0.6 % [m/deg]."""


@dataclass(frozen=True, slots=True)
class Sketch:
    """What is compared of a recording.

    Attributes
    ----------
    file, sha256, format : str
        As in the receipt.
    size : int
        [bytes]
    utc : UtcRelation
        How its clock maps to UTC.
    start_s, end_s : float
        First and last time of its sensors; NaN when it has none. [s]
    latitude_deg, longitude_deg : Trace
        Full fixes, at most one a second.
    speed, height : Trace
        Over ground [m/s], and above any zero [m], likewise.
    tables : tuple of str
        Which it has.
    rows : int
        In all of them.
    radio : bool
        Whether it is what came over a radio.
    rank : tuple of float
        Larger is the better source.
    path : Path or None
        Where the file is, if there is one to look into.
    """

    file: str
    sha256: str
    format: str
    size: int
    utc: UtcRelation
    start_s: float
    end_s: float
    latitude_deg: Trace
    longitude_deg: Trace
    speed: Trace
    height: Trace
    tables: tuple[str, ...]
    rows: int
    radio: bool
    rank: tuple[float, ...]
    path: Path | None = field(default=None, compare=False)

    @property
    def duration_s(self) -> float:
        """Last minus first time of its sensors [s]; NaN when it has none."""
        return self.end_s - self.start_s

    def traces(self, origin_deg: tuple[float, float] | None) -> tuple[Trace, ...]:
        """What can be laid over another recording, positions in metres from the origin."""
        return _in_metres(
            (self.speed, self.height, self.latitude_deg, self.longitude_deg), origin_deg
        )

    @property
    def middle_deg(self) -> tuple[float, float] | None:
        """A place in the middle of the track; None without positions."""
        return _middle_deg(self.latitude_deg, self.longitude_deg)


def _middle_deg(latitude: Trace, longitude: Trace) -> tuple[float, float] | None:
    if not len(latitude.value):
        return None
    return float(np.median(latitude.value)), float(np.median(longitude.value))


def sketch(recording: Recording, path: Path | None = None) -> Sketch:
    """Describe a recording.

    Parameters
    ----------
    recording : Recording
        What was read.
    path : Path, optional
        The file that it was read from.
    """
    receipt = recording.receipt
    radio = is_radio(recording)
    ends = _ends(recording)
    latitude, longitude, speed, height = _quantities(recording)
    rate = 0.0 if not np.isfinite(speed.step_s) else min(10.0, 1.0 / speed.step_s)
    sensors = sum(name not in EVENTS for name in recording)
    rows = sum(len(recording[name]) for name in recording)
    return Sketch(
        file=receipt.file,
        sha256=receipt.sha256,
        format=receipt.format,
        size=receipt.size,
        utc=receipt.utc,
        start_s=ends[0],
        end_s=ends[1],
        latitude_deg=_one_a_second(latitude),
        longitude_deg=_one_a_second(longitude),
        speed=_one_a_second(speed),
        height=_one_a_second(height),
        tables=tuple(recording),
        rows=rows,
        radio=radio,
        rank=(not radio, "imu" in recording, float(sensors), rate, float(rows)),
        path=path,
    )


def full_traces(recording: Recording, origin_deg: tuple[float, float] | None) -> tuple[Trace, ...]:
    """What can be laid over another recording, every sample of it."""
    latitude, longitude, speed, height = _quantities(recording)
    return _in_metres((speed, height, latitude, longitude), origin_deg)


def middle_of(recording: Recording) -> tuple[float, float] | None:
    """Give a place in the middle of a recording's track [deg]; None without positions."""
    latitude, longitude, _, _ = _quantities(recording)
    return _middle_deg(latitude, longitude)


def is_radio(recording: Recording) -> bool:
    """Whether a recording is what came over a radio, and not what was measured on board."""
    return recording.receipt.format in RADIO_FORMATS or any(
        f.code == "radio-copy" for f in recording.findings
    )


def _ends(recording: Recording) -> tuple[float, float]:
    sensors = [recording[name]["time_s"] for name in recording if name not in EVENTS]
    if not sensors:
        return float("nan"), float("nan")
    return min(float(t.iloc[0]) for t in sensors), max(float(t.iloc[-1]) for t in sensors)


def _quantities(recording: Recording) -> tuple[Trace, Trace, Trace, Trace]:
    """Latitude, longitude, speed, height; without values where there are none."""
    gps = recording.one("gps")
    baro = recording.one("baro")
    full = _full_fix(gps)
    return (
        _trace(gps, "latitude_deg", "latitude", full),
        _trace(gps, "longitude_deg", "longitude", full),
        _trace(gps, "ground_speed_m_s", "speed", None),
        _height(gps, baro, full),
    )


def _full_fix(gps: pd.DataFrame | None) -> npt.NDArray[np.bool_] | None:
    if gps is None or "fix" not in gps:
        return None
    fix = gps["fix"].to_numpy(dtype=np.float64)
    return np.asarray(np.isnan(fix) | (fix >= 3))


def _trace(
    table: pd.DataFrame | None,
    column: str,
    name: str,
    where: npt.NDArray[np.bool_] | None,
) -> Trace:
    """Give the values that are there; times that repeat keep their first row."""
    if table is None or column not in table:
        return Trace(name, np.empty(0), np.empty(0))
    time_s = table["time_s"].to_numpy(dtype=np.float64)
    value = table[column].to_numpy(dtype=np.float64)
    good = np.isfinite(value) & np.isfinite(time_s)
    if where is not None:
        good &= where
    time_s, value = time_s[good], value[good]
    new = np.concatenate([[True], np.diff(time_s) > 0]) if len(time_s) else np.empty(0, bool)
    return Trace(name, time_s[new], value[new])


def _height(
    gps: pd.DataFrame | None, baro: pd.DataFrame | None, full: npt.NDArray[np.bool_] | None
) -> Trace:
    height = _trace(baro, "height_m", "height", None)
    if len(height.value):
        return height
    pressure = _trace(baro, "pressure_pa", "height", None)
    if len(pressure.value) and bool((pressure.value > 0).all()):
        # Scale and zero don't matter here: 8.4 km is the scale height of the atmosphere.
        return Trace("height", pressure.time_s, -8400.0 * np.log(pressure.value / 101325.0))
    return _trace(gps, "altitude_msl_m", "height", full)


def _one_a_second(trace: Trace) -> Trace:
    # Rows often stand at whole seconds, where the last digit of a text would decide.
    seconds = np.floor(trace.time_s + 0.0437)
    first = np.concatenate([[True], np.diff(seconds) > 0]) if len(seconds) else np.empty(0, bool)
    return Trace(trace.name, trace.time_s[first], trace.value[first])


def _in_metres(
    traces: tuple[Trace, Trace, Trace, Trace], origin_deg: tuple[float, float] | None
) -> tuple[Trace, ...]:
    speed, height, latitude, longitude = traces
    kept = [t for t in (speed, height) if len(t.value) > 1]
    if origin_deg is not None and len(latitude.value) > 1:
        kept += [
            Trace("north", latitude.time_s, metres_north(latitude.value, origin_deg)),
            Trace("east", longitude.time_s, metres_east(longitude.value, origin_deg)),
        ]
    return tuple(kept)


def metres_north(latitude_deg: Array, origin_deg: tuple[float, float]) -> Array:
    """Distance north of the origin [m]."""
    return np.asarray((latitude_deg - origin_deg[0]) * METRES_PER_DEG)


def metres_east(longitude_deg: Array, origin_deg: tuple[float, float]) -> Array:
    """Distance east of the origin, across the date line too [m]."""
    away = (longitude_deg - origin_deg[1] + 180.0) % 360.0 - 180.0
    return np.asarray(away * METRES_PER_DEG * np.cos(np.radians(origin_deg[0])))
