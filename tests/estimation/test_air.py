from __future__ import annotations

import numpy as np
import pandas as pd
import pytest

from flightlog.estimation.air import (
    density,
    density_altitude,
    density_at_strip,
    saturation_vapour_pressure,
    standard_atmosphere,
)
from tests.analyses.made import recording, sortie

# Worked example E0_density.
E0 = {
    "p": 98600.0,
    "T": 303.15,
    "RH": 0.6,
    "es": 4233.7239159158535,
    "rho": 1.1220377018558598,
    "rho_dry": 1.1330718471735515,
    "density_alt_m": 905.1302446585987,
}

# Height [m], temperature [K], pressure [Pa], density [kg/m³]: ICAO Doc 7488/3, as printed.
ICAO_TABLE = [
    (-500, 291.400, 107478, 1.28489),
    (0, 288.150, 101325, 1.22500),
    (500, 284.900, 95460.8, 1.16727),
    (1000, 281.650, 89874.6, 1.11164),
    (2000, 275.150, 79495.2, 1.00649),
    (3000, 268.650, 70108.5, 0.909122),
    (11000, 216.650, 22632.0, 0.363918),
]


def test_density_of_moist_air_matches_the_worked_example_e0() -> None:
    assert saturation_vapour_pressure(E0["T"]) == pytest.approx(E0["es"], rel=1e-12)
    assert density(E0["p"], E0["T"], E0["RH"]) == pytest.approx(E0["rho"], rel=1e-12)
    assert density(E0["p"], E0["T"]) == pytest.approx(E0["rho_dry"], rel=1e-12)


def test_density_altitude_matches_the_worked_example_e0() -> None:
    # The example takes 1.225 for the sea-level density, which is rounded in the eighth digit.
    assert density_altitude(E0["rho"]) == pytest.approx(E0["density_alt_m"], abs=0.001)


@pytest.mark.parametrize(("height", "temperature", "pressure", "rho"), ICAO_TABLE)
def test_standard_atmosphere_is_the_published_table(
    height: float, temperature: float, pressure: float, rho: float
) -> None:
    assert standard_atmosphere(height) == pytest.approx((temperature, pressure, rho), rel=1e-5)


def test_density_altitude_undoes_the_standard_atmosphere() -> None:
    for height in (-300.0, 0.0, 700.0, 4000.0):
        rho = standard_atmosphere(height)[2]
        assert density_altitude(rho) == pytest.approx(height, abs=1e-6)


def test_damp_air_is_lighter() -> None:
    assert density(1e5, 300.0, 1.0) < density(1e5, 300.0, 0.5) < density(1e5, 300.0)


@pytest.mark.parametrize("bad", [(0, 300, 0.5), (1e5, -1, 0.5), (1e5, 300, 60), (np.nan, 300, 0)])
def test_impossible_air_is_refused(bad: tuple[float, float, float]) -> None:
    with pytest.raises(ValueError, match="air needs positive"):
        density(*bad)


def test_heights_outside_the_standard_are_refused() -> None:
    with pytest.raises(ValueError, match="-2000 to 11000"):
        standard_atmosphere(20000.0)


def strip(**columns: object) -> pd.DataFrame:
    t = np.arange(0.0, 60.0, 0.1)
    # It climbs from 25 s on: what it measures aloft is not the air at the strip.
    pressure = 98600.0 - 600.0 * (t > 25)
    return pd.DataFrame(
        {"time_s": t, "instance": 0, "pressure_pa": pressure, "temperature_k": 315.0, **columns}
    )


def test_density_at_the_strip_uses_pressure_at_rest_and_the_given_temperature() -> None:
    got = density_at_strip(recording(baro=strip()), sortie(), 303.15, 2.0)
    assert got is not None
    assert got.value == pytest.approx(density(98600.0, 303.15, 0.5))
    # 1 hPa and 2 K are 0.67 % (worked example E0); unknown humidity adds 0.3 * 1.8 %.
    assert got.std / got.value == pytest.approx(np.hypot(0.0067, 0.3 * 0.0183), abs=5e-4)
    low, high = got.interval()
    assert low < E0["rho"] < high


def test_density_at_the_strip_is_not_guessed() -> None:
    assert density_at_strip(recording(baro=strip()), sortie(), None, 2.0) is None
    assert density_at_strip(recording(), sortie(), 303.15, 2.0) is None
    heights = strip().drop(columns="pressure_pa")
    assert density_at_strip(recording(baro=heights), sortie(), 303.15, 2.0) is None
    assert density_at_strip(recording(baro=strip()), sortie(start=-90.0), 303.15, 2.0) is None
    assert density_at_strip(recording(baro=strip(pressure_pa=np.nan)), sortie(), 300.0, 2.0) is None
