"""Physical constants, each with unit and source; derived ones are computed."""

from __future__ import annotations

G0_M_S2 = 9.80665
"""Standard gravity [m/s²]. Exact by convention, 3rd CGPM (1901)."""

R_DRY_J_KG_K = 287.05287
"""Specific gas constant of dry air [J/(kg K)]. ICAO Doc 7488/3."""

R_VAPOUR_J_KG_K = 461.495
"""Specific gas constant of water vapour [J/(kg K)]. IAPWS."""

ISA_T0_K = 288.15
"""Sea-level temperature of the standard atmosphere [K]. ICAO Doc 7488/3."""

ISA_P0_PA = 101325.0
"""Sea-level pressure of the standard atmosphere [Pa]. ICAO Doc 7488/3."""

ISA_LAPSE_K_M = 0.0065
"""Temperature lapse of the standard atmosphere up to 11 km [K/m]. ICAO Doc 7488/3."""

ISA_EXPONENT = G0_M_S2 / (R_DRY_J_KG_K * ISA_LAPSE_K_M)
"""Pressure exponent of the standard atmosphere, 5.25588 [-]."""

ISA_RHO0_KG_M3 = ISA_P0_PA / (R_DRY_J_KG_K * ISA_T0_K)
"""Sea-level density of the standard atmosphere [kg/m³]."""

WGS84_A_M = 6378137.0
"""Semi-major axis of the WGS-84 ellipsoid [m]. NIMA TR8350.2."""

WGS84_E2 = 0.00669437999014
"""First eccentricity squared of the WGS-84 ellipsoid [-]. NIMA TR8350.2."""

ZERO_CELSIUS_K = 273.15
"""0 °C [K]. Exact."""

GPS_EPOCH_UNIX_S = 315964800
"""The GPS epoch, 1980-01-06T00:00:00Z, in Unix seconds. IS-GPS-200."""

GPS_LEAPS_UNIX_S = (
    362793600, 394329600, 425865600, 489024000, 567993600, 631152000, 662688000, 709948800,
    741484800, 773020800, 820454400, 867715200, 915148800, 1136073600, 1230768000, 1341100800,
    1435708800, 1483228800,
)  # fmt: skip
"""UTC moments at which a leap second had just been inserted since the GPS epoch, in Unix seconds:
from each on GPS time is one second further ahead of UTC, 18 s since 2017-01-01. IERS Bulletin C;
no later step announced by 2026."""

GPS_UTC_LEAP_S = len(GPS_LEAPS_UNIX_S)
"""GPS time minus UTC since 2017-01-01 [s]."""

WEEK_S = 604800
"""Seconds in a week [s]. Exact."""

GPS_ERA_S = 1024 * WEEK_S
"""After so long a week counter of ten bits starts again [s]. IS-GPS-200."""

FOOT_M = 0.3048
"""One foot [m]. Exact, 1959."""

KNOT_M_S = 1852 / 3600
"""One knot [m/s]. Exact: the international nautical mile is 1852 m."""

MILE_PER_HOUR_M_S = 0.44704
"""One statute mile an hour [m/s]. Exact, 1959."""

POUND_KG = 0.45359237
"""One pound [kg]. Exact, 1959."""

MERCURY_PA_MM = 13.5951 * G0_M_S2
"""One millimetre of mercury, of conventional density [Pa]. ISO 80000-4."""

JOULE_PER_WH = 3600.0
"""Joules in one watt-hour. Exact."""

COULOMB_PER_AH = 3600.0
"""Coulombs in one ampere-hour. Exact."""
