"""The distance to stop, against forces for which it has a closed form."""

from __future__ import annotations

import math

import pytest

from flightlog.errors import NotEnoughDataError
from flightlog.prediction.stopping import REACTION_S, Stopping

G = 9.80665


def test_with_friction_alone_it_is_half_the_speed_squared_over_the_deceleration():
    found = Stopping(8.0, 1.2, 0.05).distance_m(13.0)

    assert 13.0 * REACTION_S + 13.0**2 / (2 * 0.05 * G) == pytest.approx(found, rel=1e-6)


def test_with_drag_too_it_is_the_logarithm():
    drag_area, mass, density, friction = 0.03, 8.0, 1.2, 0.04
    found = Stopping(mass, density, friction, drag_area_m2=drag_area).distance_m(13.0)

    k = 0.5 * density * drag_area / mass
    closed = math.log(1 + k * 13.0**2 / (friction * G)) / (2 * k)
    assert 13.0 * REACTION_S + closed == pytest.approx(found, rel=1e-4)


def test_lift_takes_load_off_the_wheels_and_lengthens_it():
    with_lift = Stopping(8.0, 1.2, 0.05, lift_area_m2=0.3).distance_m(13.0)

    assert with_lift > Stopping(8.0, 1.2, 0.05).distance_m(13.0)


def test_uphill_and_headwind_shorten_it():
    flat = Stopping(8.0, 1.2, 0.05, drag_area_m2=0.03)

    assert Stopping(8.0, 1.2, 0.05, 0.01, drag_area_m2=0.03).distance_m(13.0) < (
        flat.distance_m(13.0)
    )
    assert flat.distance_m(13.0, 3.0) < flat.distance_m(13.0)


def test_downhill_beyond_the_friction_it_does_not_stop():
    with pytest.raises(NotEnoughDataError, match="does not come to a standstill"):
        Stopping(8.0, 1.2, 0.04, slope=-0.05).distance_m(13.0)
