from __future__ import annotations

import numpy as np
import pytest

from flightlog.estimation.wind import (
    WindFit,
    at_height,
    correlation_samples,
    heading_span,
    wind_from_turns,
)

# Worked example E4_windcircle.
VN = np.array([13.1, 4.95, -10.92, -19.1, -10.96, 4.93])
VE = np.array(
    [1.44, 15.446406460551017, 15.32640646055102, 1.55, -12.436406460551014, -12.336406460551018]
)
FITTED = {
    "wn": -2.9971529964530705,
    "we": 1.4971862008247854,
    "Va": 16.03092260503597,
    "speed": 3.350297390395034,
    "from_deg": 333.45621512546103,
}


def circuits(
    wind: tuple[float, float],
    seed: int,
    *,
    gust: float = 0.6,
    n: int = 600,
    step_s: float = 0.5,
    memory_s: float = 2.5,
    shift: int = 0,
) -> tuple[np.ndarray, np.ndarray, np.ndarray]:
    """Oval circuits of 80 s with gusts that last; ground velocity and true airspeed."""
    rng = np.random.default_rng(seed)
    phase = (np.arange(n) + shift) * step_s / 80 % 1
    legs = np.interp(phase, [0, 0.3, 0.5, 0.8, 1], [0, 0, 180, 180, 360])
    heading = np.radians(legs + 20)
    keep = np.exp(-step_s / memory_s)

    def slow(std: float) -> np.ndarray:
        x = np.empty(n)
        x[0] = rng.normal() * std
        for k in range(1, n):
            x[k] = keep * x[k - 1] + np.sqrt(1 - keep**2) * std * rng.normal()
        return x

    airspeed = 18 + slow(0.5)
    north = airspeed * np.cos(heading) + wind[0] + slow(gust)
    east = airspeed * np.sin(heading) + wind[1] + slow(gust)
    return north, east, airspeed


def test_wind_circle_matches_the_worked_example_e4f() -> None:
    fit = wind_from_turns(VN, VE)
    assert fit is not None
    assert fit.north_m_s == pytest.approx(FITTED["wn"], rel=1e-9)
    assert fit.east_m_s == pytest.approx(FITTED["we"], rel=1e-9)
    assert fit.airspeed_m_s == pytest.approx(FITTED["Va"], rel=1e-9)
    assert fit.raw_speed_m_s == pytest.approx(FITTED["speed"], rel=1e-9)
    assert fit.from_deg == pytest.approx(FITTED["from_deg"], rel=1e-9)
    assert fit.scale is None


def test_an_exact_circle_gives_wind_airspeed_and_scale() -> None:
    psi = np.linspace(0, 2 * np.pi, 60, endpoint=False)
    speed = 18 + 1.5 * np.sin(3 * psi)
    north, east = speed * np.cos(psi) - 4, speed * np.sin(psi) + 1
    fit = wind_from_turns(north, east, speed / 1.05)
    assert fit is not None
    assert (fit.north_m_s, fit.east_m_s) == pytest.approx((-4, 1), abs=1e-6)
    assert fit.scale == pytest.approx(1.05, abs=1e-6)
    assert fit.against(0.0)[0] == pytest.approx(4)
    assert fit.against(270.0)[0] == pytest.approx(1)


def test_half_a_circle_is_not_enough() -> None:
    psi = np.radians(np.linspace(0, 200, 50))
    assert wind_from_turns(18 * np.cos(psi), 18 * np.sin(psi)) is None
    assert heading_span(np.cos(psi), np.sin(psi)) == pytest.approx(200)


def test_nothing_and_nonsense_give_no_wind() -> None:
    none = np.array([])
    assert wind_from_turns(none, none) is None
    assert wind_from_turns(np.full(50, np.nan), np.full(50, 3.0)) is None
    assert wind_from_turns(np.zeros(50), np.zeros(50)) is None


def test_turning_the_frame_turns_the_wind() -> None:
    north, east, airspeed = circuits((-3.0, 2.0), 1)
    turn = np.radians(70)
    turned_n = north * np.cos(turn) - east * np.sin(turn)
    turned_e = north * np.sin(turn) + east * np.cos(turn)
    for logged in (None, airspeed):
        one = wind_from_turns(north, east, logged)
        other = wind_from_turns(turned_n, turned_e, logged)
        assert one is not None
        assert other is not None
        assert other.raw_speed_m_s == pytest.approx(one.raw_speed_m_s, rel=1e-9)
        assert (other.from_deg - one.from_deg) % 360 == pytest.approx(70, abs=1e-6)
        assert other.speed_std_m_s == pytest.approx(one.speed_std_m_s, rel=1e-6)


@pytest.mark.parametrize("sensor", [False, True])
def test_intervals_hold_the_true_wind(sensor: bool) -> None:
    held = []
    truth = (-3.0, 1.5)
    for seed in range(250):
        north, east, airspeed = circuits(truth, seed, shift=seed)
        fit = wind_from_turns(north, east, airspeed / 0.98 if sensor else None)
        assert fit is not None
        for axis, got in enumerate((fit.north_m_s, fit.east_m_s)):
            std = np.sqrt(fit.covariance[axis, axis])
            held.append(abs(got - truth[axis]) < 1.96 * std)
    assert 0.92 <= np.mean(held) <= 0.985


def test_correlated_residuals_count_as_fewer() -> None:
    rng = np.random.default_rng(3)
    white = rng.normal(size=4000)
    assert correlation_samples(white) == pytest.approx(1, abs=0.15)
    red = np.zeros(4000)
    for k in range(1, 4000):
        red[k] = 0.8 * red[k - 1] + white[k]
    # (1 + 0.8) / (1 - 0.8), the closed form of a first-order process.
    assert correlation_samples(red) == pytest.approx(9, rel=0.3)


def test_speed_is_freed_of_what_noise_adds() -> None:
    def fits(wind: tuple[float, float]) -> list[WindFit]:
        found = [wind_from_turns(*circuits(wind, seed)[:2]) for seed in range(60)]
        return [fit for fit in found if fit is not None]

    calm = fits((0.0, 0.0))
    assert np.mean([f.speed_m_s < 1.96 * f.speed_std_m_s for f in calm]) > 0.88
    windy = fits((-6.0, 0.0))
    assert np.mean([f.speed_m_s for f in windy]) == pytest.approx(6.0, abs=0.1)


def test_wind_falls_towards_the_ground_by_the_power_law() -> None:
    # 3.0 m/s at 10 m over short grass: 2.38 at 2 m, 1.95 at 0.5 m.
    assert at_height(3.0, 10, 2) == pytest.approx(2.38, abs=0.01)
    assert at_height(3.0, 10, 0.5) == pytest.approx(1.95, abs=0.01)
