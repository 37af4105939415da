"""The wind: mean over the flight, and against the direction of the roll."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING

import numpy as np

from flightlog.analyses.phases import Sortie
from flightlog.analyses.takeoff import Takeoff
from flightlog.constants import ISA_EXPONENT, ISA_P0_PA, ISA_RHO0_KG_M3, ISA_T0_K
from flightlog.estimation.air import density
from flightlog.estimation.frames import Array
from flightlog.estimation.path import FlightPath
from flightlog.estimation.wind import MIN_HEADING_SPAN_DEG, WindFit, at_height, wind_from_turns
from flightlog.figures import Answer, Figure
from flightlog.findings import Finding, make_finding
from flightlog.inputs import GivenWind, Inputs
from flightlog.uncertain import Uncertain

if TYPE_CHECKING:
    from flightlog.recording import Recording

LIFTOFF_AIRSPEED = "takeoff.liftoff_airspeed"
ROLL_HEIGHT_M = 0.5
"""Height at which a rolling aircraft meets the wind. [m]"""

SCALE_LOW, SCALE_HIGH = 0.93, 1.07
"""True over logged airspeed outside these, once thin air is allowed for, asks for a calibration:
a sensor shows the airspeed that has the same pressure in standard sea-level air. [-]"""

SCALE_STD = 0.05
"""Standard uncertainty of the scale of an airspeed sensor that nothing checks. [-]"""

NO_AIRSPEED = "the log has no airspeed; fit and log an airspeed sensor"

_STEP_S = 0.5
# Airspeed that goes with the heading (upwind legs flown faster) shifts the circle unseen.
_FLOOR_M_S = 0.15
_FLOOR_NO_SENSOR_M_S = 0.3
_SLOWEST_M_S = 5.0
_LEAST_STD_M_S = 1.0
_POWER_LAW_STD = 0.2
_REST_S = 10.0


def answer(recording: Recording, sortie: Sortie, path: FlightPath | None) -> Answer:
    """Give wind.speed and wind.from_deg, means over the airborne part.

    Parameters
    ----------
    recording : Recording
        Airspeed, where it was logged.
    sortie : Sortie
        Its bounds.
    path : FlightPath or None
        Velocity over ground.
    """
    fit, reason = flight_wind(recording, sortie, path)
    if fit is None:
        return Answer(withheld={"wind.speed": reason, "wind.from_deg": reason})
    sensor = "airspeed sensor and " if fit.scale is not None else ""
    how = f"{sensor}ground velocity in turns over {fit.heading_span_deg:.0f} deg"
    sources = ("gps", "airspeed") if fit.scale is not None else ("gps",)
    speed = Uncertain.of(fit.speed_m_s, fit.speed_std_m_s, "m/s", source="wind fit")
    figures = {"wind.speed": Figure("wind.speed", speed, how, sources)}
    withheld: dict[str, str] = {}
    if fit.speed_m_s > 2 * fit.speed_std_m_s:
        direction = Uncertain.of(fit.from_deg, fit.from_std_deg, "deg", source="wind fit")
        figures["wind.from_deg"] = Figure("wind.from_deg", direction, how, sources)
    else:
        withheld["wind.from_deg"] = (
            f"the wind of {fit.speed_m_s:.1f} m/s is within its own uncertainty, so it has no "
            "direction; give it with --wind"
        )
    thin = true_over_equivalent(recording, sortie.start_s, sortie.end_s)
    return Answer(figures, withheld, tuple(_scale_findings(fit, thin)))


def true_over_equivalent(recording: Recording, start_s: float, end_s: float) -> float:
    """True airspeed over the one that a calibrated sensor shows: root of rho0 / rho. [-]

    From the barometer's pressure and the standard temperature that goes with it; 10 K off is
    1.7 %. 1 without a pressure.

    Parameters
    ----------
    recording : Recording
        Its barometer.
    start_s, end_s : float
        Window. [s]
    """
    baro = recording.one("baro")
    if baro is None or "pressure_pa" not in baro:
        return 1.0
    time_s = baro["time_s"].to_numpy(dtype=float)
    pressure = baro["pressure_pa"].to_numpy(dtype=float, na_value=np.nan)
    pressure = pressure[(time_s >= start_s) & (time_s <= end_s) & (pressure > 0)]
    if not pressure.size:
        return 1.0
    p = float(np.median(pressure))
    temperature = ISA_T0_K * (p / ISA_P0_PA) ** (1 / ISA_EXPONENT)
    return math.sqrt(ISA_RHO0_KG_M3 / density(p, temperature))


def _scale_findings(fit: WindFit, thin: float) -> list[Finding]:
    if fit.scale is None or fit.scale_std is None:
        return []
    scale, std = fit.scale / thin, fit.scale_std / thin
    if SCALE_LOW <= scale <= SCALE_HIGH:
        return []
    text = (
        f"True airspeed is {scale:.3f} times the logged one (± {1.96 * std:.3f}) after allowing "
        f"for the density of the air, outside {SCALE_LOW} to {SCALE_HIGH}."
    )
    return [make_finding("airspeed-scale", text, evidence={"scale": scale, "scale_std": std})]


def flight_wind(
    recording: Recording, sortie: Sortie, path: FlightPath | None
) -> tuple[WindFit | None, str]:
    """Fit the wind to the airborne part; without a fit, say why.

    Parameters
    ----------
    recording, sortie, path :
        As `answer`.
    """
    if path is None or path.time_s.size < 2:
        return None, "no flown path; log GPS position and speed"
    start = sortie.start_s if sortie.liftoff_s is None else sortie.liftoff_s
    end = sortie.end_s if sortie.touchdown_s is None else sortie.touchdown_s
    times = np.arange(max(start, path.time_s[0]), min(end, path.time_s[-1]), _STEP_S)
    for a, b in path.gaps_s:
        times = times[(times <= a) | (times >= b)]
    north = np.interp(times, path.time_s, path.north_m_s)
    east = np.interp(times, path.time_s, path.east_m_s)
    flying = np.hypot(north, east) > _SLOWEST_M_S
    times, north, east = times[flying], north[flying], east[flying]
    logged = _airspeed_at(recording, times)
    fit = None
    if logged is not None:
        fit = wind_from_turns(north, east, logged, floor_m_s=_FLOOR_M_S)
    if fit is None:
        fit = wind_from_turns(north, east, floor_m_s=_FLOOR_NO_SENSOR_M_S)
    if fit is None:
        return None, (
            f"under {MIN_HEADING_SPAN_DEG:.0f} deg of headings were flown, too few to separate "
            "wind from airspeed; fly a full circle, or give the wind with --wind"
        )
    return fit, ""


def _airspeed(recording: Recording) -> tuple[Array, Array] | None:
    table = recording.one("airspeed")
    if table is None or "airspeed_m_s" not in table:
        return None
    time_s = table["time_s"].to_numpy(dtype=float)
    speed = table["airspeed_m_s"].to_numpy(dtype=float)
    good = np.isfinite(time_s) & np.isfinite(speed)
    return (time_s[good], speed[good]) if good.sum() > 1 else None


def _airspeed_at(recording: Recording, times: Array) -> Array | None:
    """Mean logged airspeed about each time, NaN where there is none. [m/s]"""
    sensor = _airspeed(recording)
    if sensor is None:
        return None
    time_s, speed = sensor
    total = np.concatenate([[0.0], np.cumsum(speed)])
    first = np.searchsorted(time_s, times - _STEP_S)
    last = np.searchsorted(time_s, times + _STEP_S)
    count = last - first
    if not times.size or (count > 0).mean() < 0.8:
        return None
    mean: Array = np.where(count > 0, (total[last] - total[first]) / np.maximum(count, 1), np.nan)
    # A covered or disconnected tube reads next to nothing in flight.
    return mean if float(np.nanmedian(mean)) > _SLOWEST_M_S else None


def headwind_in_roll(
    recording: Recording,
    sortie: Sortie,
    heading_deg: float | None,
    start_s: float | None,
    liftoff_s: float | None,
    path: FlightPath | None,
    inputs: Inputs,
) -> tuple[Figure | None, str]:
    """Give takeoff.headwind, or why it can't be had.

    The best there is: the wind given by the team; the airspeed sensor in the fast half of the
    roll; the mean wind of the flight, reduced to the height of the roll.

    Parameters
    ----------
    recording, sortie, path :
        As `answer`.
    heading_deg : float or None
        Direction of the roll, from true north. [deg]
    start_s, liftoff_s : float or None
        The roll; None where it could not be measured. [s]
    inputs : Inputs
        The given wind.

    Returns
    -------
    figure, reason : Figure or None, str
        Positive against the roll. The reason is "" with a figure.
    """
    if heading_deg is None:
        return None, "there is no measured roll that the wind could be against"
    if inputs.wind is not None:
        value = _given(inputs.wind, heading_deg)
        return Figure("takeoff.headwind", value, "given wind along the roll", ("declared",)), ""
    fit, _ = flight_wind(recording, sortie, path)
    if path is not None:
        felt = None
        if start_s is not None and liftoff_s is not None:
            felt = _felt(recording, path, heading_deg, start_s, liftoff_s, fit)
        if felt is not None:
            how = "airspeed minus ground speed in the fast half of the roll"
            return Figure("takeoff.headwind", felt, how, ("airspeed", "gps")), ""
        flown = _flown(path, sortie, fit, heading_deg)
        if flown is not None:
            how = f"mean wind of the flight, reduced to {ROLL_HEIGHT_M} m by the 1/7 power law"
            return Figure("takeoff.headwind", flown, how, ("gps",)), ""
    return None, "the wind in the roll is unknown; give --wind, or log an airspeed sensor"


def liftoff_airspeed(
    recording: Recording,
    sortie: Sortie,
    takeoff: Takeoff,
    path: FlightPath | None,
) -> Answer:
    """Give takeoff.liftoff_airspeed: ground speed at lift-off, and what the sensor says on top.

    That difference is the mean of the fast half of the roll: at lift-off itself the sensor has
    too few readings, and its air is disturbed by the rotation.

    Parameters
    ----------
    recording, sortie, path :
        As `answer`.
    takeoff : Takeoff
        The roll.
    """
    speed = takeoff.answer.figures.get("takeoff.liftoff_ground_speed")
    begun, ended, heading = takeoff.start_s, takeoff.liftoff_s, takeoff.heading_deg
    if speed is None or begun is None or ended is None or heading is None or path is None:
        return Answer(withheld={LIFTOFF_AIRSPEED: "there is no measured roll"})
    fit, _ = flight_wind(recording, sortie, path)
    felt = _felt(recording, path, heading, begun, ended, fit)
    if felt is None:
        why = "the airspeed sensor shows too little in the roll; log it at 5 Hz or more"
        if _airspeed(recording) is None:
            why = NO_AIRSPEED
        return Answer(withheld={LIFTOFF_AIRSPEED: why})
    ground = Uncertain.of(speed.quantity.value, speed.quantity.std, "m/s", source="lift-off")
    how = "ground speed at lift-off plus what the airspeed sensor shows above it"
    return Answer(
        {LIFTOFF_AIRSPEED: Figure(LIFTOFF_AIRSPEED, ground + felt, how, ("gps", "airspeed"))}
    )


def _given(wind: GivenWind, heading_deg: float) -> Uncertain:
    angle, spread = math.radians(wind.from_deg - heading_deg), math.radians(wind.from_std_deg)
    along, across = math.cos(angle), math.sin(angle)
    # Straight into the wind the direction counts in the second order only.
    turn = wind.speed_m_s * math.hypot(across * spread, along * spread**2 / math.sqrt(2))
    return Uncertain(
        wind.speed_m_s * along,
        {"given wind speed": along * wind.speed_std_m_s, "given wind direction": turn},
        "m/s",
    )


def _felt(
    recording: Recording,
    path: FlightPath,
    heading_deg: float,
    start_s: float,
    liftoff_s: float,
    fit: WindFit | None,
) -> Uncertain | None:
    """Headwind by the airspeed sensor. [m/s]"""
    sensor = _airspeed(recording)
    if sensor is None:
        return None
    time_s, speed = sensor
    psi = math.radians(heading_deg)
    ground = np.interp(
        time_s, path.time_s, path.north_m_s * math.cos(psi) + path.east_m_s * math.sin(psi)
    )
    rolling = (time_s > start_s) & (time_s < liftoff_s)
    if rolling.sum() < 3:
        return None
    fast = rolling & (ground > 0.5 * float(ground[rolling].max()))
    if fast.sum() < 3 or float(ground[fast].mean()) < _SLOWEST_M_S:
        return None
    scale, scale_std = true_over_equivalent(recording, start_s, liftoff_s), SCALE_STD
    if fit is not None and fit.scale is not None and fit.scale_std is not None:
        scale, scale_std = fit.scale, max(0.02, fit.scale_std)
    logged = float(speed[fast].mean())
    if logged < _SLOWEST_M_S:
        return None
    rest = speed[(time_s > start_s - _REST_S) & (time_s < start_s - 1)]
    at_rest = float(np.median(rest)) if rest.size else 0.0
    scatter = speed[fast] * scale - ground[fast]
    length_s = max(float(np.ptp(time_s[fast])), _STEP_S)
    return Uncertain(
        scale * logged - float(ground[fast].mean()),
        {
            "airspeed scale": scale_std * logged,
            # What the sensor reads at rest may be wind or the zero of its pressure: not taken
            # off, but the pressure it stands for may be in the reading.
            "airspeed zero": at_rest**2 / (2 * logged),
            "gusts in the roll": float(scatter.std()) / math.sqrt(max(1.0, length_s)),
            "ground speed": float(np.median(path.speed_std_m_s)),
        },
        "m/s",
    )


def _flown(
    path: FlightPath, sortie: Sortie, fit: WindFit | None, heading_deg: float
) -> Uncertain | None:
    """Headwind from the wind of the flight. [m/s]"""
    if fit is None or path.height_m is None:
        return None
    start = sortie.start_s if sortie.liftoff_s is None else sortie.liftoff_s
    end = sortie.end_s if sortie.touchdown_s is None else sortie.touchdown_s
    rows = (path.time_s >= start) & (path.time_s <= end)
    if not rows.any():
        return None
    height = max(2.0, float(np.median(path.height_m[rows])))
    value, std = fit.against(heading_deg)
    factor = at_height(1.0, height, ROLL_HEIGHT_M)
    fitted = math.hypot(factor * std, _POWER_LAW_STD * factor * value)
    return Uncertain(
        factor * value,
        {"wind fit": fitted, "wind between flight and roll": _LEAST_STD_M_S},
        "m/s",
    )
