"""Trends of one series: what is expected, what stands out, and what is withheld."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.errors import NotEnoughDataError
from flightlog.prediction.trends import LOOKS, Series, jumps_of, trend_of
from tests.prediction.test_mann_kendall import RESISTANCE
from tests.prediction.test_theil_sen import CYCLES


def series(values, std=None, day=None):
    return Series.of(range(1, len(values) + 1), values, std, day)


def test_the_worked_example_through_the_whole_way():
    trend = trend_of(Series.of(CYCLES, RESISTANCE))

    assert trend.slope.value == pytest.approx(0.08571428571428572, rel=1e-14)
    assert trend.slope.at_zero == pytest.approx(27.542857142857144, rel=1e-14)
    assert (trend.s, trend.var) == (37.0, 125.0)
    assert trend.tau == pytest.approx(0.8222222222222222)
    assert trend.p == pytest.approx(0.0012821837418053165, rel=1e-9)
    assert trend.p_by == "normal"
    # Half more than at cycle 0 is reached far beyond the 46 cycles that were flown.
    at, early, late = trend.reaches(1.5 * trend.slope.at_zero)
    assert at == pytest.approx(160.66666666666669, rel=1e-12)
    assert early < at < late


def test_fewer_than_five_flights_say_nothing_and_say_so():
    with pytest.raises(NotEnoughDataError, match=r"4 flights have it .* 5 are needed"):
        trend_of(series([1.0, 2.0, 3.0, 4.0]))


def test_a_flight_without_the_figure_is_missing_and_not_zero():
    whole = trend_of(series([1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0]))
    holes = trend_of(series([1.0, 2.0, np.nan, 4.0, 5.0, np.inf, 7.0]))

    assert holes.flights == 5
    assert holes.slope.value == pytest.approx(whole.slope.value)
    assert holes.level(8).value == pytest.approx(8.0)


def test_looks_are_counted():
    values = [1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 8.0]
    trend = trend_of(series(values))

    # 2 of 7! orders are as ordered as this one.
    assert trend.p == pytest.approx(2 / 5040)
    assert trend.p_looks == pytest.approx(LOOKS * 2 / 5040)


def test_what_is_expected_is_wider_the_farther_ahead():
    chance = np.random.default_rng(8)
    trend = trend_of(series(10 + 0.1 * np.arange(12) + chance.normal(0, 0.2, 12)))
    widths = [trend.flight(12 + k).high - trend.flight(12 + k).low for k in (1, 5, 10)]

    assert widths == sorted(widths)
    assert trend.level(13).high - trend.level(13).low < widths[0]


def test_a_limit_is_beyond_with_the_probability_of_the_line():
    chance = np.random.default_rng(9)
    trend = trend_of(series(10 + 0.5 * np.arange(15) + chance.normal(0, 0.2, 15)))
    there = trend.level(25).value

    assert trend.probability_beyond(25, "<=", there) == pytest.approx(0.5)
    assert trend.probability_beyond(25, "<=", there - 2) > 0.99
    assert trend.probability_beyond(25, ">=", there - 2) < 0.01
    # A limit that is itself uncertain makes nothing surer.
    assert trend.probability_beyond(25, "<=", there - 2, 2.0) < 0.9


def test_a_falling_line_never_reaches_what_lies_above():
    trend = trend_of(series([5.0, 4.0, 3.5, 2.0, 1.0]))

    assert trend.reaches(10.0)[0] is None


def test_the_latest_flight_that_is_not_like_the_others_stands_out():
    usual = [0.1, -0.2, 0.15, 0.0, -0.1, 0.2, 0.05, -0.15, 0.1, 0.0, 0.1, -0.1]
    (jump,) = jumps_of(series([*usual, 3.0]), 0.01, 2.0)

    assert (jump.place, jump.in_a_row) == (12, 1)
    assert jump.low < 0 < jump.high < 3.0
    assert jumps_of(series([*usual, 1.5]), 0.01, 2.0) == ()


def test_a_step_goes_on_standing_out():
    usual = [0.1, -0.2, 0.15, 0.0, -0.1, 0.2, 0.05, -0.15, 0.1, 0.0]
    rows = [jump.in_a_row for jump in jumps_of(series([*usual, 3.0, 3.1, 2.9]), 0.01, 2.0)]

    assert rows == [1, 2, 3]


def test_a_flight_that_was_measured_badly_does_not_stand_out():
    usual = [0.1, -0.2, 0.15, 0.0, -0.1, 0.2, 0.05, -0.15, 0.1, 0.0]

    assert jumps_of(series([*usual, 3.0], [0.1] * 10 + [2.0]), 0.01, 2.0) == ()


@settings(max_examples=30)
@given(
    st.lists(
        st.one_of(st.floats(), st.floats(-2, 2), st.just(0.0)),
        min_size=0,
        max_size=14,
    ),
    st.lists(st.floats(), min_size=24, max_size=24),
    st.lists(st.integers(0, 5), min_size=24, max_size=24),
)
def test_whatever_stands_in_a_debrief_is_taken_without_a_crash(values, stds, days):
    n = len(values)
    found = Series.of(range(n), values, stds[:n], sorted(days)[:n])
    jumps_of(found, 0.01)
    if len(found) < 5:
        return
    trend = trend_of(found)
    for ahead in (trend.level(n), trend.flight(n + 10)):
        assert ahead.low <= ahead.value <= ahead.high
    assert 0 <= trend.p <= 1
    assert 0 <= trend.probability_beyond(n + 10, "<=", 1.0) <= 1


def test_intervals_hold_what_they_say():
    """Of 100 series from seed 21, each with a slope of its own: 92 to 98 of 100 are meant."""
    chance = np.random.default_rng(21)
    held = np.zeros(2)
    for _ in range(100):
        slope = chance.normal(0, 0.01)
        y = 1 + slope * np.arange(1, 22) + chance.normal(0, 0.04, 21)
        trend = trend_of(series(y[:20]))
        held[0] += trend.slope.low <= slope <= trend.slope.high
        ahead = trend.flight(21)
        held[1] += ahead.low <= y[20] <= ahead.high
    assert (held / 100 > 0.90).all()
    assert (held / 100 < 0.995).all()
