"""What is named of many series, and how rarely anything is named of healthy ones."""

from __future__ import annotations

import numpy as np
import pytest

from flightlog.prediction.trends import LOOKS, Series
from flightlog.prediction.wear import (
    BETTER,
    BEYOND,
    CROSSES,
    NOTHING,
    STANDS_OUT,
    STEPPED,
    TOO_FEW,
    TREND_LEVEL,
    WEARING,
    Edge,
    Practical,
    Watched,
    judge,
)
from tests.wear.trend_looks import days_of, healthy, least_p

UP = Practical(1, 0.10, 0.15, share=True)
USUAL = np.random.default_rng(3).normal(0, 0.02, 30)


def watched(values, practical=UP, *edges, likely=False):
    return Watched(Series.of(range(1, len(values) + 1), values), practical, edges, likely=likely)


def word(values, practical=UP, *edges, beside=0):
    dull = [watched([1.0, 1.0])] * beside
    return judge([watched(values, practical, *edges), *dull])[0].word


def test_what_grows_is_named_and_what_does_not_is_not():
    grown = 1 + 0.2 * np.arange(30) / 29

    assert word(grown + USUAL, beside=20) == WEARING
    assert word(1 + USUAL, beside=20) == NOTHING
    assert word([1.0, 1.1, 1.2]) == TOO_FEW


def test_the_good_way_is_no_wear():
    fallen = 1 - 0.3 * np.arange(30) / 29 + USUAL

    assert word(fallen) == BETTER
    assert word(fallen, Practical(-1, 0.1, 0.5, share=True)) == WEARING
    assert word(fallen, Practical(0, 0.1, 0.5, share=True)) == WEARING


def test_a_trend_that_is_sure_and_small_is_not_named():
    values = 1 + 0.05 * np.arange(30) / 29 + 0.1 * USUAL
    (said,) = judge([watched(values)])

    assert said.shown
    assert said.word == NOTHING


def test_a_limit_near_is_named_where_the_trend_is_shown():
    values = 1 + 0.3 * np.arange(30) / 29 + USUAL

    assert word(values, UP, Edge("<=", 1.34, 0.0, "file")) == CROSSES
    assert word(values, UP, Edge("<=", 2.0, 0.0, "file")) == WEARING
    assert word(values, UP, Edge("<=", 1.2, 0.0, "file")) == BEYOND
    # Where no trend is shown, no line is drawn to a limit.
    assert word([1.0, 1.05, 0.98, 1.06, 1.08], UP, Edge("<=", 1.12, 0.0, "file")) == NOTHING


def test_the_latest_flight_that_stands_out_is_named_and_an_earlier_one_no_more():
    usual = list(1 + USUAL[:12])

    assert word([*usual, 1.4]) == STANDS_OUT
    assert word([*usual, 1.4, 1.42]) == STEPPED
    assert word([*usual, 1.4, 1.01]) == NOTHING
    # The good way it is no wear.
    assert word([*usual, 0.6]) == NOTHING


def test_what_wears_for_certain_has_half_of_the_level():
    chance = np.random.default_rng(7)
    grown = 1 + 0.2 * np.arange(24) / 29 + chance.normal(0, 0.04, 24)
    flat = [watched(1 + chance.normal(0, 0.04, 24)) for _ in range(23)]
    (plain, *_) = judge([watched(grown), *flat])
    (likely, *_) = judge([watched(grown, likely=True), *flat])

    # One of 24 against one half: 24 times the probability, or twice.
    assert plain.p_all == pytest.approx(12 * likely.p_all)


@pytest.mark.parametrize(("kind", "most"), [("alone", 0.05), ("days of 3, 0.5", 0.10)])
def test_healthy_seasons_have_hardly_any_trend_shown_at_any_look(kind, most):
    """60 seasons of 24 figures and 30 flights from seed 4, at every look, of whatever size."""
    y = healthy(kind, 60 * 24, 30, np.random.default_rng(4))
    least = least_p(y, days_of(kind, 30), range(5, 31)).reshape(60, 24).min(axis=1)

    assert (least <= TREND_LEVEL / LOOKS / 24).mean() <= most
    # And a plain probability, looked at so often, would cry in almost every season.
    assert (least <= TREND_LEVEL).mean() > 0.95


def test_ageing_by_a_fifth_is_found_in_most_seasons():
    """100 seasons from seed 5 with 4 % scatter: 90 of 100 are asked for."""
    line = 1 + 0.2 * np.arange(30) / 29
    y = line * (1 + 0.04 * healthy("alone", 100, 30, np.random.default_rng(5)))
    least = least_p(y, np.arange(30), range(5, 31))

    assert (least <= 0.5 * TREND_LEVEL / LOOKS / 2).mean() >= 0.9
