"""The simulated motion against laws that need no simulation."""

from __future__ import annotations

from typing import Any

import numpy as np
import pytest
from scipy.integrate import trapezoid

from sample_flights.generator import aircraft as ac
from sample_flights.generator import truth
from sample_flights.generator.dynamics import STEP, Batch
from sample_flights.generator.pilot import Plan, wind_components
from sample_flights.generator.run import Flown, Setting, fly
from sample_flights.generator.surface import make_tracks

STILL = {
    "mass": 8.0,
    "air_density": 1.225,
    "thrust_scale": 1.0,
    "rolling_friction": 0.04,
    "slope": 0.0,
    "charge_state": 0.95,
    "resistance": 0.02,
    "wind_along": 0.0,
    "wind_cross": 0.0,
    "gust": 0.0,
    "gust_time": 1.5,
    "ground_shake": 0.0,
}


def _batch(**other: float) -> Batch:
    flat = make_tracks(0.0001, np.random.default_rng(0)) * 0.0
    batch = Batch(ac.stack_builds([STILL | other]), [flat])
    for _ in range(800):  # onto its legs
        batch.brake[:] = 1.0
        batch.step()
    batch.brake[:] = 0.0
    return batch


@pytest.mark.parametrize("slope", [0.0, 0.03])
def test_coasting_without_air_stops_where_friction_and_slope_say(slope: float) -> None:
    batch = _batch(air_density=1e-9, rolling_friction=0.20, slope=slope)
    start = float(batch.s[0])
    batch.vs[:] = 4.0
    while batch.vs[0] > 0.001:
        batch.step()
    expected = 4.0**2 / (2.0 * ac.GRAVITY * (0.20 + slope))
    assert batch.s[0] - start == pytest.approx(expected, rel=0.01)


def test_flight_without_air_is_a_throw() -> None:
    batch = _batch(air_density=1e-9)
    batch.h[:], batch.vs[:], batch.vh[:] = 10.0, 12.0, 8.0
    for _ in range(round(1.5 / STEP)):
        batch.step()
    assert batch.s[0] == pytest.approx(12.0 * 1.5, abs=0.01)
    assert batch.h[0] == pytest.approx(10.0 + 8.0 * 1.5 - 0.5 * ac.GRAVITY * 1.5**2, abs=0.05)


def test_at_rest_the_sensors_feel_gravity_and_the_wheels_carry_the_weight() -> None:
    batch = _batch()
    assert np.hypot(np.hypot(batch.fx, batch.fy), batch.fz)[0] == pytest.approx(ac.GRAVITY, 1e-3)
    assert batch.wheel_load[0] == pytest.approx(8.0 * ac.GRAVITY, rel=1e-3)
    assert abs(batch.vs[0]) < 1e-9


def _roll(flown: Flown) -> float:
    m = truth.motion(flown)
    k = truth.find_takeoff(m, 0, m.time.size)
    assert k is not None
    return float(m.s[k.liftoff] - m.s[k.start])


@pytest.fixture(scope="module")
def flown() -> dict[str, Flown]:
    cases: dict[str, dict[str, float]] = {
        "reference": {},
        "heavy": {"mass": 9.0},
        "headwind": {"wind_along": wind_components(4.0, 68.0, 68.0)[0]},
        "uphill": {"slope": 0.02},
        "soft": {"rolling_friction": 0.10},
    }
    plan: dict[str, Any] = {"throttle_time": 2.0, "restless": 0.0, "stop_after": 1.0}
    settings = []
    for change in cases.values():
        build = STILL | change
        rotate = 0.9 * ac.stall_speed(build["mass"], build["air_density"])
        settings.append(Setting(build, 0.001, Plan(rotate_speed=rotate, **plan), (1,)))
    return dict(zip(cases, fly(settings, 14.0), strict=True))


def test_more_mass_slope_and_friction_lengthen_the_roll_and_headwind_shortens_it(
    flown: dict[str, Flown],
) -> None:
    reference = _roll(flown["reference"])
    assert 22.0 < reference < 36.0
    # Roll goes about with the 2.35th power of mass and falls 12 to 14 % per m/s of headwind.
    assert 1.2 < _roll(flown["heavy"]) / reference < 1.5
    assert 0.5 < _roll(flown["headwind"]) / reference < 0.8  # 4 m/s at 10 m, half that below
    assert 1.02 < _roll(flown["uphill"]) / reference < 1.15
    assert 1.05 < _roll(flown["soft"]) / reference < 1.35


def test_energy_and_charge_are_the_integrals_of_voltage_and_current(
    flown: dict[str, Flown],
) -> None:
    one = flown["heavy"]
    power = one["voltage"].astype(float) * one["current"].astype(float)
    assert one["energy"][-1] == pytest.approx(trapezoid(power, dx=STEP), rel=2e-3)
    charge = trapezoid(one["current"].astype(float), dx=STEP)
    assert one["charge"][-1] == pytest.approx(charge, rel=2e-3)
    assert one["energy"][0] < 1.0


def test_speed_is_the_derivative_of_the_path(flown: dict[str, Flown]) -> None:
    one = flown["headwind"]
    travelled = np.cumsum(one["vs"].astype(float)) * STEP
    assert np.abs(travelled - (one["s"] - one["s"][0])).max() < 0.02


def test_specific_force_without_the_wheels_is_what_changes_the_speed(
    flown: dict[str, Flown],
) -> None:
    one = flown["reference"]
    force = np.stack([one[k].astype(float) for k in ("fx", "fz")])
    pitch = one["pitch"].astype(float)
    ahead = force[0] * np.cos(pitch) + force[1] * np.sin(pitch)
    gained = np.cumsum(ahead) * STEP
    assert gained[-1] == pytest.approx(float(one["vs"][-1]), abs=0.05)
