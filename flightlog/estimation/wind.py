"""Wind from the circle that the ground velocity draws when an aircraft turns.

An aircraft of airspeed V in a wind w moves over ground with ``|v - w| = V``: in the plane of
velocities a circle about the wind. An airspeed sensor adds the radius, up to its scale.
"""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flightlog.estimation.frames import Array

MIN_HEADING_SPAN_DEG = 240.0
"""Less of the circle does not fix its centre. [deg]"""

POWER_LAW = 1 / 7
"""Exponent of wind over height above short grass in neutral air. [-]"""

_MIN_SAMPLES = 5
_STEPS = 20


@dataclass(frozen=True, slots=True)
class WindFit:
    """Mean wind of a stretch of flight.

    Attributes
    ----------
    north_m_s, east_m_s : float
        Where the air moves to. [m/s]
    covariance : array, shape (2, 2)
        Of north and east. [m²/s²]
    airspeed_m_s : float
        Mean true airspeed. [m/s]
    scale, scale_std : float or None
        True over logged airspeed, and its standard uncertainty; None without a sensor. [-]
    heading_span_deg : float
        How much of the circle was flown. [deg]
    """

    north_m_s: float
    east_m_s: float
    covariance: Array
    airspeed_m_s: float
    scale: float | None
    scale_std: float | None
    heading_span_deg: float

    @property
    def raw_speed_m_s(self) -> float:
        """Length of the fitted vector, which noise makes longer. [m/s]"""
        return math.hypot(self.north_m_s, self.east_m_s)

    @property
    def speed_m_s(self) -> float:
        """Speed, freed of what noise adds to the length of a vector. [m/s]"""
        return math.sqrt(max(0.0, self.raw_speed_m_s**2 - float(np.trace(self.covariance))))

    @property
    def speed_std_m_s(self) -> float:
        """Standard uncertainty of the speed. [m/s]"""
        if self.raw_speed_m_s == 0:
            return math.sqrt(float(np.trace(self.covariance)) / 2)
        unit = np.array([self.north_m_s, self.east_m_s]) / self.raw_speed_m_s
        return math.sqrt(float(unit @ self.covariance @ unit))

    @property
    def from_deg(self) -> float:
        """Where the wind comes from, clockwise from true north. [deg]"""
        return math.degrees(math.atan2(-self.east_m_s, -self.north_m_s)) % 360

    @property
    def from_std_deg(self) -> float:
        """Standard uncertainty of the direction, for a speed well above its own. [deg]"""
        speed = max(self.raw_speed_m_s, 1e-9)
        across = np.array([-self.east_m_s, self.north_m_s]) / speed
        return math.degrees(math.sqrt(float(across @ self.covariance @ across)) / speed)

    def against(self, heading_deg: float) -> tuple[float, float]:
        """Wind against a heading and its standard uncertainty. [m/s]"""
        psi = math.radians(heading_deg)
        unit = np.array([math.cos(psi), math.sin(psi)])
        value = -(self.north_m_s * unit[0] + self.east_m_s * unit[1])
        return float(value), math.sqrt(float(unit @ self.covariance @ unit))


def heading_span(v_north: Array, v_east: Array) -> float:
    """How much of the circle the directions of motion fill [deg]: 360 less the widest hole.

    Parameters
    ----------
    v_north, v_east : array, shape (n,)
        Velocity. [m/s]
    """
    course = np.degrees(np.arctan2(v_east, v_north)) % 360
    if course.size < 2:
        return 0.0
    course = np.sort(course)
    holes = np.diff(course, append=course[0] + 360)
    return float(360 - holes.max())


def wind_from_turns(
    v_north: Array,
    v_east: Array,
    airspeed: Array | None = None,
    *,
    floor_m_s: float = 0.0,
) -> WindFit | None:
    """Fit the wind to velocities over ground.

    Parameters
    ----------
    v_north, v_east : array, shape (n,)
        Velocity over ground, evenly spaced in time. [m/s]
    airspeed : array, shape (n,), optional
        Airspeed as logged, at the same times; its scale is fitted too. [m/s]
    floor_m_s : float, optional
        Standard uncertainty per axis for what the residuals can't show, such as an airspeed
        that goes with the heading. [m/s]

    Returns
    -------
    WindFit or None
        None with under `MIN_HEADING_SPAN_DEG` of headings about the wind or too few samples.

    Notes
    -----
    Without airspeed: least squares of ``2 v·w + c = |v|²``, ``c = V² - |w|²``. With it:
    Gauss-Newton on ``|v - w| - k a``. Gusts last for seconds, so that neighbouring residuals
    agree: the covariance is that of as many samples as are independent.
    """
    north, east = np.asarray(v_north, dtype=float), np.asarray(v_east, dtype=float)
    good = np.isfinite(north) & np.isfinite(east)
    logged = None
    if airspeed is not None:
        logged = np.asarray(airspeed, dtype=float)
        good &= np.isfinite(logged) & (logged > 0)
        logged = logged[good]
    north, east = north[good], east[good]
    if north.size < _MIN_SAMPLES or heading_span(north, east) < MIN_HEADING_SPAN_DEG / 2:
        return None
    first = _circle(north, east)
    if first is None:
        return None
    if logged is None:
        solution, jacobian, residual = first
    else:
        start = np.array([first[0][0], first[0][1], first[0][2] / float(np.mean(logged))])
        fitted = _scaled_circle(north, east, logged, start)
        if fitted is None:
            return None
        solution, jacobian, residual = fitted
    wind = solution[:2]
    span = heading_span(north - wind[0], east - wind[1])
    if span < MIN_HEADING_SPAN_DEG:
        return None
    cov = _covariance(jacobian, residual)
    scale = None if logged is None else float(solution[2])
    mean = float(np.mean(np.hypot(north - wind[0], east - wind[1])))
    return WindFit(
        float(wind[0]),
        float(wind[1]),
        cov[:2, :2] + floor_m_s**2 * np.eye(2),
        float(solution[2]) if logged is None else mean,
        scale,
        None if scale is None else math.sqrt(float(cov[2, 2])),
        span,
    )


def _circle(north: Array, east: Array) -> tuple[Array, Array, Array] | None:
    """Wind north, east and airspeed; their Jacobian and residuals in m/s."""
    design = np.column_stack([2 * north, 2 * east, np.ones(north.size)])
    found, _, rank, _ = np.linalg.lstsq(design, north**2 + east**2, rcond=None)
    squared = float(found[2] + found[0] ** 2 + found[1] ** 2)
    if rank < 3 or not squared > 0:
        return None
    solution = np.array([found[0], found[1], math.sqrt(squared)])
    jacobian, distance = _toward(north, east, solution[:2], np.ones(north.size))
    return solution, jacobian, distance - solution[2]


def _scaled_circle(
    north: Array, east: Array, logged: Array, start: Array
) -> tuple[Array, Array, Array] | None:
    """Wind north, east and airspeed scale; their Jacobian and residuals in m/s."""
    solution = start.copy()
    for _ in range(_STEPS):
        jacobian, distance = _toward(north, east, solution[:2], logged)
        step, _, rank, _ = np.linalg.lstsq(jacobian, distance - solution[2] * logged, rcond=None)
        if rank < 3 or not np.isfinite(step).all():
            return None
        solution = solution + step
        if float(np.abs(step).max()) < 1e-9:
            break
    if not 0 < solution[2] < 10:
        return None
    jacobian, distance = _toward(north, east, solution[:2], logged)
    return solution, jacobian, distance - solution[2] * logged


def _toward(north: Array, east: Array, wind: Array, third: Array) -> tuple[Array, Array]:
    """Derivatives of the model's radius by wind and ``third``, and the distance from the centre."""
    dn, de = north - wind[0], east - wind[1]
    distance = np.maximum(np.hypot(dn, de), 1e-6)
    return np.column_stack([dn / distance, de / distance, third]), distance


def _covariance(jacobian: Array, residual: Array) -> Array:
    n = residual.size
    freedom = n / correlation_samples(residual) - 3
    # So few independent samples that the scatter itself is hardly known.
    freedom = max(freedom, 1.0)
    variance = float(residual @ residual) / n * (1 + 3 / freedom)
    inverse = np.linalg.pinv(jacobian.T @ jacobian)
    cov: Array = inverse * variance * correlation_samples(residual)
    return cov


def correlation_samples(residual: Array) -> float:
    """Samples that count as one: 1 + 2 Σ autocorrelation, up to where it first turns negative.

    Parameters
    ----------
    residual : array, shape (n,)
        Evenly spaced, about zero.
    """
    n = residual.size
    power = float(residual @ residual)
    if n < 4 or power <= 0:
        return 1.0
    spectrum = np.fft.rfft(residual, 2 * n)
    auto = np.fft.irfft(np.abs(spectrum) ** 2)[: n // 2] / power
    negative = np.flatnonzero(auto <= 0)
    stop = int(negative[0]) if negative.size else auto.size
    return float(max(1.0, 1 + 2 * auto[1:stop].sum()))


def at_height(speed_m_s: float, height_m: float, wanted_m: float) -> float:
    """Wind speed at another height by the power law of `POWER_LAW`. [m/s]

    Parameters
    ----------
    speed_m_s : float
        Wind at ``height_m``. [m/s]
    height_m, wanted_m : float
        Heights above short grass, both positive. [m]
    """
    return float(speed_m_s * (wanted_m / height_m) ** POWER_LAW)
