"""Settled steps read at one power or speed: powers laws are met, and nothing is made up outside."""

from __future__ import annotations

import math

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.groundtests.answer import ResultColumn, ResultTable
from flightlog.groundtests.settled_steps import COORDINATES, Curve, common_places, curves

POWER, SPEED = COORDINATES["power"], COORDINATES["speed"]
KEYS = ("sweep", "thrust_n", "electrical_power_w", "speed_rpm")


def steps(rows):
    return ResultTable("steps", "Steps", [ResultColumn(k, k) for k in KEYS], rows)


@given(st.floats(110, 890))
def test_a_law_of_powers_is_met_between_coarse_steps(power):
    curve = Curve((100, 300, 900), tuple(0.35 * p ** (2 / 3) for p in (100, 300, 900)))

    assert 0.35 * power ** (2 / 3) == pytest.approx(curve.at(power))


@pytest.mark.parametrize("power", [99.9, 900.1, math.inf, math.nan])
def test_nothing_is_given_outside_of_the_steps(power):
    assert Curve((100, 900), (7, 30)).at(power) is None


def test_the_ends_are_those_of_the_steps():
    curve = Curve((100, 900), (7, 30))

    assert (7, 30) == (curve.at(100), curve.at(900))


def test_each_sweep_is_a_curve_and_what_is_no_step_is_left_out():
    rows = [
        (0, 0.01, 0.5, 10.0),  # at rest
        (1, 20, 400, 5000),
        (1, 10, 200, 4000),
        (1, None, 300, 4500),
        (2, 10, 200, 4000),
        (2, 20, math.nan, 5000),
        (3, 12, 200, 4000),
        (3, 14, 200, 4000),
        (3, 21, 400, 5000),
    ]

    assert (Curve((200, 400), (10, 20)), Curve((200, 400), (13, 21))) == curves(steps(rows), POWER)
    assert 3 == len(curves(steps(rows), SPEED))


def test_without_the_columns_there_are_no_curves():
    assert () == curves(ResultTable("steps", "", [ResultColumn("thrust_n", "")], [(1,)]), POWER)


def test_places_lie_where_all_sweeps_reach():
    every = [Curve((100, 800), (1, 2)), Curve((213, 900), (1, 2))]

    assert (360, 510, 650) == common_places(every)
    assert () == common_places([Curve((1, 2), (1, 2)), Curve((3, 4), (1, 2))])
    assert () == common_places([])
