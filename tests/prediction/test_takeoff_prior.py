"""What is believed before flights: from the closed form, or from the flights' mean."""

from __future__ import annotations

import math
from dataclasses import replace

import pytest

from flightlog.errors import NotEnoughDataError
from flightlog.estimation.ground_roll import RollModel
from flightlog.prediction.takeoff_prior import (
    FEWEST,
    expected,
    prior_from_flights,
    prior_from_model,
)
from flightlog.prediction.takeoffs import Takeoff
from tests.prediction import examples as ex

MODEL = RollModel(8.0, 1.225, 0.55, 0.50, 0.055, 0.04, 1.50 / 1.21, 38.0, 0.70, 0.010)
"""The reference aircraft: its roll in still air is 28.9158 m."""


def test_the_effects_are_the_exact_derivatives_of_the_closed_form():
    prior = prior_from_model(MODEL)

    assert pytest.approx(28.915766238200035, rel=1e-7) == math.exp(prior.level)
    assert pytest.approx(13.706229379720881, rel=1e-7) == prior.airspeed_m_s
    # Of steps of 1 % and more, not of infinitely small ones.
    assert pytest.approx(2.35, abs=0.02) == prior.mass[0]
    assert pytest.approx(-2.35, abs=0.03) == prior.density[0]
    assert pytest.approx(2.4547, abs=0.02) == prior.speed
    assert pytest.approx(3.117, abs=0.01) == prior.slope
    # 13.5 % for each m/s of headwind at 13.7 m/s.
    assert pytest.approx(0.1348 * 13.706, abs=0.01) == prior.wind[0]


@pytest.mark.parametrize("wind", [-2.0, 1.0, 3.0, 5.0])
def test_the_wind_law_follows_the_closed_form(wind):
    prior = prior_from_model(MODEL)
    flight = Takeoff("x", "1", 1.0, 0.0, 8.0, 1.225, wind)

    assert pytest.approx(MODEL.distance_m(wind), rel=0.01) == math.exp(expected(prior, flight))


def test_a_thrust_stand_makes_the_level_surer():
    measured = prior_from_model(MODEL, thrust_measured=True)

    assert measured.level_std < prior_from_model(MODEL).level_std
    assert "stand" in measured.source


def test_airspeed_at_liftoff_goes_with_the_root_of_mass_over_density():
    prior = prior_from_model(MODEL)

    assert pytest.approx(14.537651608348382, rel=1e-7) == prior.airspeed_at(9.0, 1.225)
    assert pytest.approx(14.464042772798113, rel=1e-7) == prior.airspeed_at(8.0, 1.10)


def test_without_thrust_the_flights_give_the_level():
    prior = prior_from_flights(ex.flights(), 7.4, 12.0)
    off = [math.log(t.roll_m) - expected(prior, t) for t in ex.flights()]

    assert pytest.approx(0.0, abs=1e-12) == sum(off)
    assert pytest.approx(13.2) == prior.airspeed_m_s
    assert 0.5 < prior.level_std


def test_the_speed_comes_from_flights_where_no_file_has_it():
    flights = [
        replace(t, liftoff_ground_speed_m_s=14.0 - t.headwind_m_s, mass_kg=7.4, density_kg_m3=1.225)
        for t in ex.flights()
    ]

    assert pytest.approx(14.0) == prior_from_flights(flights, 7.4, None).airspeed_m_s


def test_too_little_is_said_with_what_would_help():
    few = ex.flights()[: FEWEST - 1]
    with pytest.raises(NotEnoughDataError, match="it takes 3") as caught:
        prior_from_flights([*few, replace(ex.flights()[3], given_up=True)], 7.4, 12.0)
    assert "[thrust]" in caught.value.fix

    storm = [replace(t, headwind_m_s=25.0) for t in ex.flights()]
    with pytest.raises(NotEnoughDataError, match="0 flights in winds below"):
        prior_from_flights(storm, 7.4, 12.0)

    with pytest.raises(NotEnoughDataError, match="how fast"):
        prior_from_flights(ex.flights(), 7.4, None)
