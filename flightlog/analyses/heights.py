"""Height of the wheels above the start, with the errors that smoothing can't remove.

The smoothed path knows its noise. Three slow errors are added here: the air's temperature,
which stretches every barometric height; the static port's pressure error, which grows with
the square of the airspeed; and the drift of pressure with time. Where the log shows a larger
error of the port or a sensor that warms up (`flightlog.analyses.baro_errors`), that counts.
"""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import TYPE_CHECKING

import numpy as np
from numpy.typing import NDArray

from flightlog.analyses.baro_errors import port_error, warming
from flightlog.analyses.phases import Sortie
from flightlog.constants import G0_M_S2, R_DRY_J_KG_K
from flightlog.estimation.frames import Array
from flightlog.estimation.path import DRIFT_STD_M, DRIFT_TIME_S, FlightPath
from flightlog.findings import Finding, make_finding
from flightlog.uncertain import Uncertain

if TYPE_CHECKING:
    from flightlog.recording import Recording

TEMPERATURE_SCALE_STD = 0.02
"""Standard uncertainty of barometric height differences in air of unknown temperature: 6 K of
about 290 K. [-]"""

AIR_TEMPERATURE_STD_K = 2.0
"""Standard uncertainty of an air temperature that the team measured. [K]"""

STATIC_ERROR_STD = 0.035
"""Standard uncertainty of the static port's pressure coefficient. [-]"""

DRIFT_STD_M_S = 0.2 / 60
"""Standard uncertainty of the height zero's drift: weather and warming sensor. [m/s]"""

GPS_HEIGHT_STD_M = 1.5 * DRIFT_STD_M
"""Slow error of a receiver's altitude, about one and a half times that in the plane. Velocities
take most of it out of the path over ground, and none of it out of the height. Sixteen simulated
take-offs erred by 2.6 m (rms) 60 s after the start; this gives 2.8 m. [m]"""

DRIFT_NOTED_M = 1.0
"""Change of the height on the ground over the flight from which on it is taken out. [m]"""

MOST_DRIFT_M = 15.0
MOST_DRIFT_M_S = 1.0 / 60
"""A change of more than the first, and of the second over the flight, is no drift: it stopped on
other ground. [m], [m/s]"""

DRIFT_SHAPE = 1.0
"""Standard uncertainty of a drift that was taken out as a straight line, as a share of
``x (1 - x)`` times its size, x being the part of the flight: a sensor that warms up within half
the flight is 0.24 of the drift off in the middle. [-]"""

_LANDING_PLACE_STD_M = 0.5
_AT_REST_M_S = 1.0
_BARO_GAP_S = 1.0


@dataclass(frozen=True, slots=True)
class Heights:
    """Heights of one sortie with their slow errors.

    Attributes
    ----------
    time_s, height_m, noise_std_m : array
        Log clock [s], height of the wheels above the start, and its fast error. [m]
    speed_m_s : array
        Airspeed, or ground speed where it was not logged. [m/s]
    start_s : float
        Where the height is zero. [s]
    barometric : bool
        Whether the slow errors are those of a barometer.
    scale_std : float
        Standard uncertainty of the temperature scale. [-]
    landed_s : float or None
        Standstill after which the zero was seen again. [s]
    gaps_s : tuple of (float, float)
        Stretches where the heights are interpolation. [s]
    findings : tuple of Finding
        Drift of the zero.
    port_std : float
        Standard uncertainty of the static port's pressure coefficient. [-]
    free_drift_m_s : float
        Standard uncertainty of the drift's rate before the zero is seen again. [m/s]
    removed_drift_m : float
        Drift over the flight that was taken out as a straight line. [m]
    """

    time_s: Array
    height_m: Array
    noise_std_m: Array
    speed_m_s: Array
    start_s: float
    barometric: bool
    scale_std: float
    landed_s: float | None
    gaps_s: tuple[tuple[float, float], ...] = ()
    findings: tuple[Finding, ...] = ()
    port_std: float = STATIC_ERROR_STD
    free_drift_m_s: float = DRIFT_STD_M_S
    removed_drift_m: float = 0.0

    def at(self, time_s: float, *, noise: str = "height noise") -> Uncertain:
        """Height at an instant; heights of one sortie share their slow errors. [m]

        Parameters
        ----------
        time_s : float
            Log clock, inside the path. [s]
        noise : str, optional
            Name of the fast error, which differs from instant to instant.
        """
        height = float(np.interp(time_s, self.time_s, self.height_m))
        return Uncertain(
            height,
            {
                noise: float(np.interp(time_s, self.time_s, self.noise_std_m)),
                **self.slow_errors(height, time_s),
            },
            "m",
        )

    def seen(self, time_s: Array) -> NDArray[np.bool_]:
        """Whether instants lie inside the path and outside its gaps."""
        t = np.asarray(time_s, dtype=float)
        seen = (t >= self.time_s[0]) & (t <= self.time_s[-1])
        for a, b in self.gaps_s:
            seen &= (t <= a) | (t >= b)
        return np.asarray(seen, dtype=bool)

    def slow_errors(self, height_m: float, time_s: float) -> dict[str, float]:
        """Effect of one standard deviation of every slow error. [m]"""
        elapsed = max(0.0, time_s - self.start_s)
        if not self.barometric:
            share = 2 * (1 - math.exp(-elapsed / DRIFT_TIME_S))
            return {"height drift": GPS_HEIGHT_STD_M * math.sqrt(share)}
        speed = float(np.interp(time_s, self.time_s, self.speed_m_s))
        return {
            "air temperature": self.scale_std * height_m,
            "static pressure": self.port_std * speed**2 / (2 * G0_M_S2),
            "height drift": self._drift_std(elapsed),
        }

    def _drift_std(self, elapsed_s: float) -> float:
        free = self.free_drift_m_s * elapsed_s
        if self.landed_s is None:
            return free
        share = min(1.0, elapsed_s / max(1.0, self.landed_s - self.start_s))
        shape = DRIFT_SHAPE * self.removed_drift_m * share * (1 - share)
        return math.hypot(min(free, math.hypot(0.3, _LANDING_PLACE_STD_M * share)), shape)


def wheel_heights(
    recording: Recording,
    sortie: Sortie,
    path: FlightPath | None,
    air_temperature_k: float | None = None,
) -> Heights | None:
    """Prepare the heights of a sortie.

    Parameters
    ----------
    recording : Recording
        Its barometer's pressure gives the temperature correction.
    sortie : Sortie
        Its bounds; heights before and after it show the drift.
    path : FlightPath or None
        Smoothed path.
    air_temperature_k : float, optional
        Of the outside air at the ground, not of the sensor. [K]

    Returns
    -------
    Heights or None
        None without a path or without a height source.
    """
    if path is None or path.height_m is None:
        return None
    known = np.isfinite(path.height_m)
    if known.sum() < 2:
        return None
    t = path.time_s[known]
    barometric = "baro" in recording
    factor, scale_std = 1.0, TEMPERATURE_SCALE_STD
    if barometric and air_temperature_k is not None:
        found = temperature_factor(recording, air_temperature_k)
        if found is not None:
            factor, scale_std = found, AIR_TEMPERATURE_STD_K / air_temperature_k
    height = path.height_m[known] * factor
    noise = path.height_std_m[known] if path.height_std_m is not None else np.full(t.size, 0.5)
    drift = ground_drift(sortie, path) if barometric else None
    findings: tuple[Finding, ...] = ()
    landed, removed = None, 0.0
    if drift is not None and abs(drift) > _most_drift(sortie):
        findings = (_other_ground(drift, sortie),)
    elif drift is not None:
        landed = sortie.end_s
        if abs(drift) > DRIFT_NOTED_M:
            share = (t - sortie.start_s) / max(1.0, landed - sortie.start_s)
            height = height - drift * np.clip(share, 0.0, 1.0)
            removed = drift
            findings = (_drift_finding(drift, sortie),)
    port_std, rate_std = STATIC_ERROR_STD, DRIFT_STD_M_S
    if barometric:
        port_std, rate_std = _measured_errors(recording, sortie)
    return Heights(
        t,
        height,
        np.asarray(noise, dtype=float),
        _speed(recording, path)[known],
        sortie.start_s,
        barometric,
        scale_std,
        landed,
        _baro_gaps(recording) if barometric else path.gaps_s,
        findings,
        port_std=port_std,
        free_drift_m_s=rate_std,
        removed_drift_m=removed,
    )


def _measured_errors(recording: Recording, sortie: Sortie) -> tuple[float, float]:
    """Uncertainty of port [-] and drift rate [m/s], larger where the log shows more.

    A port error seen in the roll is not taken out: near the ground, and with the nose up, it is
    another one than in flight.
    """
    port, warmed = port_error(recording, sortie), warming(recording, sortie)
    port_std, rate_std = STATIC_ERROR_STD, DRIFT_STD_M_S
    if port is not None and port.is_clear:
        port_std = max(port_std, abs(port.coefficient))
    if warmed is not None:
        rate_std = math.hypot(rate_std, warmed.rate_m_s)
    return port_std, rate_std


def _baro_gaps(recording: Recording) -> tuple[tuple[float, float], ...]:
    baro = recording.one("baro")
    if baro is None or len(baro) < 3:
        return ()
    t = baro["time_s"].to_numpy(dtype=float)
    step = np.diff(t)
    long = np.flatnonzero(step > max(_BARO_GAP_S, 3 * float(np.median(step))))
    return tuple((float(t[i]), float(t[i + 1])) for i in long)


def ground_drift(sortie: Sortie, path: FlightPath) -> float | None:
    """Height at the standstill after the flight, which was zero before it. [m]

    None where the path does not show the aircraft at rest after the flight.
    """
    if sortie.ends != "standstill" or path.height_m is None:
        return None
    speed = np.hypot(path.east_m_s, path.north_m_s)
    rest = (path.time_s >= sortie.end_s - 1.0) & (speed < _AT_REST_M_S)
    rest &= np.isfinite(path.height_m)
    return float(np.median(path.height_m[rest])) if rest.sum() >= 5 else None


def _most_drift(sortie: Sortie) -> float:
    return MOST_DRIFT_M + MOST_DRIFT_M_S * (sortie.end_s - sortie.start_s)


def _other_ground(drift_m: float, sortie: Sortie) -> Finding:
    return make_finding(
        "baro-drift",
        f"Height at the standstill after the flight is {drift_m:+.1f} m, more than pressure "
        "drifts: it stopped on other ground, and drift can't be seen. Nothing was taken out.",
        evidence={"drift_m": drift_m},
        start_s=sortie.start_s,
        end_s=sortie.end_s,
    )


def _drift_finding(drift_m: float, sortie: Sortie) -> Finding:
    minutes = (sortie.end_s - sortie.start_s) / 60
    return make_finding(
        "baro-drift",
        f"Height at the standstill after the flight is {drift_m:+.1f} m, {minutes:.1f} min after "
        "it was zero at the start: pressure drifted, or the aircraft stopped on other ground. A "
        "straight drift was taken out.",
        evidence={"drift_m": drift_m, "minutes": minutes},
        start_s=sortie.start_s,
        end_s=sortie.end_s,
    )


def _speed(recording: Recording, path: FlightPath) -> Array:
    airspeed = recording.one("airspeed")
    if airspeed is not None and "airspeed_m_s" in airspeed:
        t = airspeed["time_s"].to_numpy(dtype=float)
        v = airspeed["airspeed_m_s"].to_numpy(dtype=float, na_value=np.nan)
        good = np.isfinite(v)
        if good.sum() > 10:
            return np.asarray(np.interp(path.time_s, t[good], v[good]), dtype=float)
    return np.asarray(np.hypot(path.east_m_s, path.north_m_s), dtype=float)


def temperature_factor(recording: Recording, air_temperature_k: float) -> float | None:
    """True height gained for one metre of logged height, in air of known temperature. [-]

    The pressure itself gives the true difference, R T / g ln(p0 / p) for a layer of one
    temperature, whatever temperature the logger assumed.

    Returns
    -------
    float or None
        None without pressure beside the height, or under 20 m of height.
    """
    baro = recording.one("baro")
    if baro is None or "pressure_pa" not in baro or "height_m" not in baro:
        return None
    p = baro["pressure_pa"].to_numpy(dtype=float, na_value=np.nan)
    h = baro["height_m"].to_numpy(dtype=float, na_value=np.nan)
    good = np.isfinite(p) & np.isfinite(h) & (p > 0)
    if good.sum() < 10 or float(np.ptp(h[good])) < 20:
        return None
    true = -R_DRY_J_KG_K * air_temperature_k / G0_M_S2 * np.log(p[good])
    return float(np.polyfit(h[good], true - true.mean(), 1)[0])
