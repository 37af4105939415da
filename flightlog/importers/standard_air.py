"""Pressure and height in the standard atmosphere, below 11 km (ICAO Doc 7488/3)."""

from __future__ import annotations

import numpy as np

from flightlog.constants import ISA_EXPONENT, ISA_LAPSE_K_M, ISA_P0_PA, ISA_T0_K
from flightlog.importers.common import FloatArray


def pressure_height(pressure_pa: FloatArray) -> FloatArray:
    """Pressure height in the standard atmosphere above that of the first value. [m]

    Difference of two pressure altitudes, ``(T0 / L) (1 - (p / p0)**(1 / 5.25588))``. In air
    warmer by 10 K true heights are 3.5 % larger.
    """
    good = np.flatnonzero(np.isfinite(pressure_pa) & (pressure_pa > 0))
    if not len(good):
        return np.full(len(pressure_pa), np.nan)
    ratio = np.where(pressure_pa > 0, pressure_pa, np.nan) / ISA_P0_PA
    altitude = ISA_T0_K / ISA_LAPSE_K_M * (1.0 - ratio ** (1.0 / ISA_EXPONENT))
    return np.asarray(altitude - altitude[good[0]], dtype=np.float64)


def standard_pressure_pa(altitude_m: FloatArray) -> FloatArray:
    """Pressure at an altitude of the standard atmosphere. [Pa]"""
    with np.errstate(invalid="ignore"):
        return ISA_P0_PA * (1.0 - ISA_LAPSE_K_M * altitude_m / ISA_T0_K) ** ISA_EXPONENT
