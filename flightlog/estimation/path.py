"""The flown path of a whole sortie: smoothed position, speed and height with uncertainty."""

from __future__ import annotations

from dataclasses import dataclass

from flightlog.estimation.frames import Array, LocalFrame


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
