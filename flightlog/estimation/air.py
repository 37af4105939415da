"""Density of the air, the standard atmosphere, and what a log says of the air at the strip."""

from __future__ import annotations

import math
from typing import TYPE_CHECKING, Protocol

import numpy as np

from flightlog.constants import (
    ISA_EXPONENT,
    ISA_LAPSE_K_M,
    ISA_P0_PA,
    ISA_RHO0_KG_M3,
    ISA_T0_K,
    R_DRY_J_KG_K,
    R_VAPOUR_J_KG_K,
    ZERO_CELSIUS_K,
)
from flightlog.uncertain import Uncertain

if TYPE_CHECKING:
    from flightlog.recording import Recording

PRESSURE_STD_PA = 100.0
"""Standard uncertainty of the absolute pressure of a small barometer. [Pa]"""

HUMIDITY = 0.5
HUMIDITY_STD = 0.3
"""Relative humidity where nobody measured it: it is worth 1 % of density at most. [-]"""

_REST_S = 10.0


class Bounds(Protocol):
    """What is needed of a sortie: where its rest before the roll lies."""

    @property
    def start_s(self) -> float:
        """Start of the sortie. [s]"""

    @property
    def search_s(self) -> tuple[float, float]:
        """Window that begins at rest before the roll. [s]"""


def saturation_vapour_pressure(temperature_k: float) -> float:
    """Pressure of saturated water vapour over water [Pa]: Magnus, WMO No. 8, -45 to 60 °C.

    Parameters
    ----------
    temperature_k : float
        Air temperature. [K]
    """
    celsius = temperature_k - ZERO_CELSIUS_K
    return 611.2 * math.exp(17.62 * celsius / (243.12 + celsius))


def density(pressure_pa: float, temperature_k: float, humidity: float = 0.0) -> float:
    """Density of moist air [kg/m³]: the sum of two ideal gases.

    Parameters
    ----------
    pressure_pa : float
        Pressure at the place itself, not reduced to sea level. [Pa]
    temperature_k : float
        Air temperature. [K]
    humidity : float, optional
        Relative humidity, 0 to 1. [-]

    Raises
    ------
    ValueError
        If pressure or temperature is not positive, or the humidity is outside 0 to 1.
    """
    if not (pressure_pa > 0 and temperature_k > 0 and 0 <= humidity <= 1):
        raise ValueError(
            f"air needs positive pressure and temperature and a humidity of 0 to 1, "
            f"got {pressure_pa!r} Pa, {temperature_k!r} K, {humidity!r}"
        )
    vapour = humidity * saturation_vapour_pressure(temperature_k)
    dry = (pressure_pa - vapour) / (R_DRY_J_KG_K * temperature_k)
    return dry + vapour / (R_VAPOUR_J_KG_K * temperature_k)


def moist_air(
    pressure_pa: float,
    temperature_k: float,
    humidity: float,
    *,
    pressure_std_pa: float = PRESSURE_STD_PA,
    temperature_std_k: float,
    humidity_std: float,
) -> Uncertain:
    """Density of moist air with its uncertainty [kg/m³].

    Parameters
    ----------
    pressure_pa, temperature_k, humidity : float
        As for `density`. [Pa], [K], [-]
    pressure_std_pa, temperature_std_k, humidity_std : float
        Their standard uncertainties.

    Returns
    -------
    Uncertain
        Sources "air pressure", "air temperature" and "air humidity".
    """
    p, t = pressure_pa, temperature_k
    step_k = 0.5
    per_k = (density(p, t + step_k, humidity) - density(p, t - step_k, humidity)) / (2 * step_k)
    per_humidity = density(p, t, 1.0) - density(p, t, 0.0)
    return Uncertain(
        density(p, t, humidity),
        {
            "air pressure": pressure_std_pa / (R_DRY_J_KG_K * t),
            "air temperature": per_k * temperature_std_k,
            "air humidity": per_humidity * humidity_std,
        },
        "kg/m³",
    )


def standard_atmosphere(height_m: float) -> tuple[float, float, float]:
    """Temperature [K], pressure [Pa] and density [kg/m³] of the standard atmosphere.

    Parameters
    ----------
    height_m : float
        Geopotential height, up to 11 km. [m]

    Raises
    ------
    ValueError
        If the height is outside -2 km to 11 km.
    """
    if not -2000 <= height_m <= 11000:
        raise ValueError(f"the standard atmosphere is for -2000 to 11000 m, got {height_m!r} m")
    temperature = ISA_T0_K - ISA_LAPSE_K_M * height_m
    pressure = ISA_P0_PA * (temperature / ISA_T0_K) ** ISA_EXPONENT
    return temperature, pressure, pressure / (R_DRY_J_KG_K * temperature)


def density_altitude(density_kg_m3: float) -> float:
    """Height in the standard atmosphere at which the air has this density [m].

    Parameters
    ----------
    density_kg_m3 : float
        Density of the air. [kg/m³]
    """
    sigma = density_kg_m3 / ISA_RHO0_KG_M3
    return float(ISA_T0_K / ISA_LAPSE_K_M * (1 - sigma ** (1 / (ISA_EXPONENT - 1))))


def density_at_strip(
    recording: Recording,
    sortie: Bounds,
    air_temperature_k: float | None,
    air_temperature_std_k: float,
) -> Uncertain | None:
    """Density of the air at the strip before the roll. [kg/m³]

    Parameters
    ----------
    recording : Recording
        Its barometer gives the pressure. The barometer's own temperature is that of a chip
        in a box in the sun, and is not used.
    sortie : Sortie
        Its bounds.
    air_temperature_k : float or None
        Outside air as somebody measured it. [K]
    air_temperature_std_k : float
        Its standard uncertainty. [K]

    Returns
    -------
    Uncertain or None
        Sources "air pressure", "air temperature" and "air humidity"; None without an air
        temperature or without a pressure before the roll.
    """
    baro = recording.one("baro")
    if air_temperature_k is None or not air_temperature_k > 0:
        return None
    if baro is None or "pressure_pa" not in baro:
        return None
    time_s = baro["time_s"].to_numpy(dtype=float)
    pressure = baro["pressure_pa"].to_numpy(dtype=float)
    first = min(sortie.search_s[0], sortie.start_s - _REST_S)
    at_rest = (time_s >= first) & (time_s <= sortie.start_s) & (pressure > 0)
    at_rest &= np.isfinite(pressure)
    if not at_rest.any():
        return None
    return moist_air(
        float(np.median(pressure[at_rest])),
        air_temperature_k,
        HUMIDITY,
        temperature_std_k=air_temperature_std_k,
        humidity_std=HUMIDITY_STD,
    )
