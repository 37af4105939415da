"""The numbers of a radio link, against closed forms and published worked examples."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.estimation.link_budget import (
    azimuth_elevation_deg,
    body_directions,
    correlation_steps,
    exact_interval,
    fit_range,
    free_space_loss_db,
    partial_correlation,
    second_means,
)

WORKED_M = np.array([50.0, 100.0, 200.0, 400.0, 600.0, 800.0])
WORKED_DBM = np.array([-52.5, -57.0, -65.2, -70.1, -74.0, -75.6])


def test_free_space_loss_is_the_worked_one() -> None:
    assert free_space_loss_db(1000.0, 2.44e9) == pytest.approx(100.19557974865796, rel=1e-12)
    # Twice the distance, or twice the frequency, costs a quarter of the power.
    assert free_space_loss_db(2000.0, 2.44e9) - free_space_loss_db(1000.0, 2.44e9) == pytest.approx(
        20 * math.log10(2)
    )


def test_line_over_distance_is_the_worked_one() -> None:
    fit = fit_range(WORKED_M, WORKED_DBM)
    assert fit is not None
    assert fit.exponent == pytest.approx(1.9888119943499845, rel=1e-10)
    assert fit.level_db == pytest.approx(-18.38866532906752, rel=1e-10)
    assert fit.spread_db == pytest.approx(0.8611283747901946, rel=1e-10)
    assert float(fit.at(800.0)) + 95 == pytest.approx(18.874, abs=0.01)


def test_exact_interval_is_the_worked_one() -> None:
    low, high = exact_interval(3, 600)
    assert low == pytest.approx(0.0010323095169951192, rel=1e-9)
    assert high == pytest.approx(0.014542042139563288, rel=1e-9)
    # None lost of n: the upper end leaves 2.5 % for n sound seconds in a row.
    assert exact_interval(0, 100) == pytest.approx((0.0, 1 - 0.025 ** (1 / 100)))
    assert exact_interval(100, 100)[1] == 1.0
    assert exact_interval(0, 0) == (0.0, 1.0)


@given(count=st.integers(0, 50), more=st.integers(0, 500))
def test_exact_interval_holds_the_share(count: int, more: int) -> None:
    low, high = exact_interval(count, count + more + 1)
    assert 0 <= low <= count / (count + more + 1) <= high <= 1


@pytest.mark.parametrize(
    ("sight", "attitude_deg", "azimuth", "elevation"),
    [
        ((0.0, 100.0, 0.0), (0, 0, 0), 0.0, 0.0),  # north of an aircraft that flies north
        ((100.0, 0.0, 0.0), (0, 0, 0), 90.0, 0.0),  # east: the right wing
        ((100.0, 0.0, 0.0), (0, 0, 90), 0.0, 0.0),  # east of one that flies east: the nose
        ((0.0, 0.0, -100.0), (0, 0, 30), 0.0, -90.0),  # straight below
        ((0.0, 0.0, -100.0), (90, 0, 0), 90.0, 0.0),  # right wing down: the ground at its tip
        ((0.0, 0.0, -100.0), (30, 0, 200), 90.0, -60.0),  # right bank lifts it towards that wing
        ((0.0, 0.0, -100.0), (0, 90, 0), 180.0, 0.0),  # nose up: the ground is behind
        ((0.0, -100.0, -100.0), (0, 0, 180), 0.0, -45.0),  # ahead and below
    ],
)
def test_direction_about_the_aircraft(
    sight: tuple[float, float, float],
    attitude_deg: tuple[float, float, float],
    azimuth: float,
    elevation: float,
) -> None:
    east, north, up = (np.array([v]) for v in sight)
    direction = body_directions(east, north, up, np.radians([attitude_deg]))
    az, el = azimuth_elevation_deg(direction)
    assert el[0] == pytest.approx(elevation, abs=1e-6)
    if abs(elevation) < 89:
        assert (az[0] - azimuth + 180) % 360 - 180 == pytest.approx(0, abs=1e-6)


@given(st.lists(st.floats(-3, 3), min_size=6, max_size=6))
def test_turning_keeps_the_length_and_the_angle_between_two_sights(six: list[float]) -> None:
    a = np.array([[1.0, 2.0, 3.0], [-4.0, 0.5, 1.0]])
    attitude = np.tile(six[:3], (2, 1))
    turned = body_directions(*a.T, attitude)
    unit = a / np.linalg.norm(a, axis=1)[:, None]
    assert np.linalg.norm(turned, axis=1) == pytest.approx(1)
    assert float(turned[0] @ turned[1]) == pytest.approx(float(unit[0] @ unit[1]), abs=1e-9)


def test_power_is_averaged_as_power() -> None:
    t, mean = second_means(np.array([0.0, 0.5, 5.2]), np.array([-50.0, -60.0, -70.0]), power=True)
    assert t == pytest.approx([0.25, 5.2])
    assert mean == pytest.approx([10 * math.log10((1e-5 + 1e-6) / 2), -70.0])
    _, counts = second_means(np.array([0.0, 0.5]), np.array([10.0, 20.0]), power=False)
    assert counts == pytest.approx([15.0])
    empty = second_means(np.empty(0), np.empty(0), power=True)
    assert [len(v) for v in empty] == [0, 0]


def _flight(seed: int, n: int = 400) -> tuple[np.ndarray, np.ndarray]:
    """Power at distances of 50 to 1000 m, exponent 2.5, 3 dB of independent scatter."""
    rng = np.random.default_rng(seed)
    distance = 10 ** rng.uniform(math.log10(50), 3, n)
    return distance, -20 - 25 * np.log10(distance) + 3 * rng.normal(size=n)


def test_weak_seconds_that_were_not_heard_do_not_flatten_the_fall() -> None:
    distance, power = _flight(1)
    limit = -88.0
    below = power < limit
    assert 0.1 < below.mean() < 0.5
    naive = fit_range(distance[~below], power[~below])
    whole = fit_range(distance, np.where(below, limit, power), below)
    assert naive is not None
    assert whole is not None
    assert naive.exponent < 2.35  # what leaving them out would say
    assert whole.exponent == pytest.approx(2.5, abs=0.12)
    assert whole.spread_db == pytest.approx(3.0, abs=0.5)


def test_blocks_give_the_spread_that_correlated_shadowing_makes() -> None:
    rng = np.random.default_rng(2)
    distance = 200 * 10 ** (0.4 * np.sin(np.arange(300) / 15))
    found, stated = [], []
    for _ in range(60):
        shade = np.zeros(300)
        for k in range(1, 300):
            shade[k] = 0.85 * shade[k - 1] + 1.5 * rng.normal()
        fit = fit_range(distance, -20 * np.log10(distance) + shade, block=25, draws=100)
        assert fit is not None
        found.append(fit.exponent)
        stated.append(fit.exponent_std)
    assert np.mean(found) == pytest.approx(2.0, abs=0.08)
    assert np.median(stated) == pytest.approx(np.std(found), rel=0.3)


def test_one_distance_has_no_exponent() -> None:
    assert fit_range(np.full(20, 100.0), np.arange(20.0)) is None
    assert fit_range(np.array([1.0, 2.0]), np.array([1.0, 2.0])) is None


def test_correlation_steps_are_those_of_the_process() -> None:
    rng = np.random.default_rng(3)
    x = np.zeros(20000)
    for k in range(1, x.size):
        x[k] = 0.8 * x[k - 1] + rng.normal()
    assert correlation_steps(x) == pytest.approx((1 + 0.8) / (1 - 0.8), rel=0.15)
    assert correlation_steps(np.ones(10)) == 1.0


def test_partial_correlation_leaves_the_distance_out() -> None:
    rng = np.random.default_rng(4)
    far = rng.normal(size=300)
    a, b = far + 0.5 * rng.normal(size=300), far + 0.5 * rng.normal(size=300)
    plain = np.corrcoef(a, b)[0, 1]
    found = partial_correlation(a, b, far[:, None] - far.mean())
    assert plain > 0.7
    assert found is not None
    assert found.low < 0 < found.high
    assert partial_correlation(a, np.ones(300), far[:, None]) is None
    assert partial_correlation(a[:5], b[:5], far[:5, None]) is None


def test_interval_of_slow_series_covers_no_correlation() -> None:
    rng = np.random.default_rng(5)
    covered = total = 0
    for _ in range(200):
        a, b = np.zeros(300), np.zeros(300)
        for k in range(1, 300):
            a[k], b[k] = 0.9 * np.array([a[k - 1], b[k - 1]]) + rng.normal(size=2)
        found = partial_correlation(a, b, np.linspace(-1, 1, 300)[:, None])
        if found is not None:
            total += 1
            covered += found.low <= 0 <= found.high
    assert total > 150
    assert covered / total > 0.9
