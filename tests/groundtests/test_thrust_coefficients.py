"""Uncertainties of coefficients: against hand calculation, laws and simulation."""

from __future__ import annotations

import math

import numpy as np
import pytest

from flightlog.groundtests.thrust_coefficients import (
    Measured,
    by_level,
    constant,
    grouped,
    joined,
    product,
    trend,
)


def one(value: float, std: float, source: str) -> Measured:
    return constant(value, {source: std}, 1)


def test_ct_of_a_16_inch_propeller_has_the_uncertainty_worked_by_hand():
    """0.3 N, 20 rpm, 1 % of density and 0.5 mm of diameter: 1.55 % of CT."""
    ct = product(
        1.0,
        [
            (one(33.0, 0.3, "thrust"), 1),
            (one(7000 / 60, 20 / 60, "speed"), -2),
            (one(1.18, 0.0118, "density"), -1),
            (one(0.4064, 0.0005, "diameter"), -4),
        ],
    ).one("")

    assert ct.value == pytest.approx(0.07532229710091692, rel=1e-12)
    assert ct.std / ct.value == pytest.approx(0.015476320226761276, rel=1e-12)


def test_an_error_that_two_factors_share_cancels():
    up = one(30.0, 0.3, "lag"), one(100.0, 0.5, "lag")

    assert product(1.0, [(up[0], 1), (up[1], -2)]).std == pytest.approx([0.0])


def test_what_is_not_positive_has_no_power():
    made = product(1.0, [(constant(-1.0, {}, 2), 1.5), (constant(2.0, {"x": 1.0}, 2), 1)])

    assert np.isnan(made.value).all()


def test_repeats_that_differ_by_more_than_their_scatter_are_less_sure():
    rng = np.random.default_rng(1)
    group = np.repeat(np.arange(6), 6)
    held, quiet = [], []
    for _ in range(300):
        truth = 10.0 + group
        value = truth + rng.normal(0, 0.3, len(group))
        levels = by_level(Measured(value, np.full(len(group), 0.02)), group)
        held.append(np.abs(levels.value - (10.0 + np.arange(6))) <= 1.96 * levels.std)
        fine = by_level(Measured(truth, np.full(len(group), 0.02)), group)
        quiet.append(fine.std[0])

    assert np.mean(held) == pytest.approx(0.95, abs=0.02)
    assert quiet[0] == pytest.approx(0.02 / math.sqrt(6))  # never smaller than its own


def test_a_sag_that_moves_thrust_and_speed_together_is_no_scatter():
    group = np.zeros(6, dtype=np.int64)
    speed = np.linspace(100, 90, 6)
    thrust = Measured(speed**2, np.full(6, 1.0))
    alike = product(1.0, [(thrust, 1), (Measured(speed, np.full(6, 0.05)), -2)])

    assert by_level(thrust, group).std[0] > 100
    assert by_level(thrust, group, alike).std[0] == pytest.approx(1 / math.sqrt(6))


def test_common_errors_stay_whatever_the_number_of_steps():
    made = Measured(np.full(50, 2.0), np.full(50, 0.1), {"scale": np.full(50, 0.05)})
    found = trend(made, np.linspace(50, 100, 50))

    assert found is not None
    assert found.mean.sources["scale"] == pytest.approx(0.05)
    assert found.mean.sources["scatter"] == pytest.approx(0.1 / math.sqrt(50), rel=0.1)


def test_a_coefficient_that_changes_with_speed_is_seen_and_a_constant_one_is_not():
    rng = np.random.default_rng(2)
    speed = np.linspace(50, 100, 20)
    noise = rng.normal(0, 0.0003, 20)
    rising = 0.075 * (1 + 0.1 * np.log(speed / 100) / math.log(2)) + noise
    for value, change in ((rising, 0.1), (0.075 + noise, 0.0)):
        found = trend(Measured(value, np.full(20, 0.0003)), speed)
        assert found is not None
        assert found.change == pytest.approx(change, abs=3 * found.change_std)
        assert found.change_std < 0.01


def test_two_steps_have_no_trend():
    assert trend(Measured(np.ones(2), np.zeros(2)), np.array([1.0, 2.0])) is None


def test_levels_that_are_near_are_one():
    assert grouped(np.array([1500.0, 1200, 1502, 1198, 1900]), 5.0).tolist() == [1, 0, 1, 0, 2]
    assert grouped(np.zeros(0), 5.0).tolist() == []


def test_levels_that_touch_one_another_are_no_endless_chain():
    assert grouped(np.arange(1200.0, 1212.0, 2.0), 5.0).tolist() == [0, 0, 0, 1, 1, 1]


def test_files_that_are_joined_share_errors_of_one_name():
    left = Measured(np.ones(1), np.zeros(1), {"scale": np.ones(1)})
    right = Measured(np.ones(1), np.zeros(1), {"zero": np.ones(1)})
    both = joined([left, right])

    assert both.common["scale"].tolist() == [1.0, 0.0]
    assert both.common["zero"].tolist() == [0.0, 1.0]
