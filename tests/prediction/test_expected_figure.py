"""A figure of the next flight, from those of flights before it."""

from __future__ import annotations

import numpy as np
import pytest

from flightlog.errors import NotEnoughDataError
from flightlog.prediction.expected_figure import expect_figure


def test_of_many_flights_it_is_their_mean_and_spread():
    values = 38.0 + 1.5 * np.random.default_rng(2).standard_normal(60)
    said = expect_figure(list(values), [8.0] * 60, 8.0)
    assert np.mean(values) == pytest.approx(said.quantile(0.5)[0], abs=0.05)
    low, high = said.quantile(np.array([0.025, 0.975]))
    assert 2 * 2.0 * np.std(values) == pytest.approx(high - low, rel=0.1)


def test_what_goes_with_mass_is_followed_to_the_mass_of_the_next_flight():
    masses = [7.0, 7.5, 8.0, 8.5, 9.0, 7.2, 8.8, 8.2]
    climbs = [4.0 * (m / 8.0) ** -2 for m in masses]
    said = expect_figure(climbs, masses, 9.0)
    assert 4.0 * (9.0 / 8.0) ** -2 == pytest.approx(said.quantile(0.5)[0], rel=0.04)


def test_a_mass_far_from_those_flown_makes_it_wide():
    here, far = (expect_figure([4.0, 4.2, 3.9, 4.1], [8.0] * 4, m) for m in (8.0, 10.0))
    assert far.scale[0] > 1.5 * here.scale[0]


def test_without_any_mass_it_is_the_mean_all_the_same():
    said = expect_figure([2.0, 3.0, 4.0], [None] * 3, 9.0)
    assert 3.0 == pytest.approx(said.quantile(0.5)[0])


def test_a_few_flights_are_wider_than_their_spread_and_fewer_are_not_enough():
    said = expect_figure([10.0, 10.1, 9.9], [8.0, 8.0, 8.0], 8.0)
    assert said.quantile(0.975)[0] > 10.3
    with pytest.raises(NotEnoughDataError, match="2 earlier flights have it"):
        expect_figure([10.0, 10.1], [8.0, 8.0], 8.0)


def test_the_interval_holds_the_next_flight_as_often_as_it_says():
    rng = np.random.default_rng(9)
    kept = 0
    for _ in range(400):
        spread, slope = rng.uniform(0.03, 0.15), rng.uniform(-2.0, 1.0)
        masses = rng.uniform(7.0, 9.0, 7)
        values = 20.0 * (masses / 8.0) ** slope * (1 + spread * rng.standard_normal(7))
        said = expect_figure(list(values[:6]), list(masses[:6]), masses[6])
        low, high = said.quantile(np.array([0.025, 0.975]))
        kept += bool(low <= values[6] <= high)
    assert 370 <= kept <= 395
