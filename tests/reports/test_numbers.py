from __future__ import annotations

import pytest

from flightlog.reports.numbers import (
    digits,
    digits_beside,
    figure_span,
    figure_value,
    probability,
    span,
    wider_side,
    without_noise,
)
from flightlog.uncertain import Uncertain
from tests.made_debriefs import figure


@pytest.mark.parametrize(
    ("value", "decimals", "text"),
    [
        (28.94, 1, "28.9"),
        (-0.04, 1, "0.0"),
        (-1.26, 1, "-1.3"),
        (0.0, 0, "0"),
        (float("nan"), 1, "unknown"),
        (float("inf"), 1, "unknown"),
        (1e300, 1, "1e+300"),
    ],
)
def test_numbers_are_written_with_their_decimals(value, decimals, text):
    assert text == digits(value, decimals)


@pytest.mark.parametrize(
    ("value", "low", "high", "decimals", "text"),
    [
        (27.6, 10.8, 37.5, 1, "16.8"),  # 16.8 below, 9.9 above
        (8.0, 7.9192, 8.0808, 2, "0.09"),  # 0.0808, and never less than it is
        (2.0, 1.9999, 2.0001, 2, "0.01"),  # not 0, which an exact number has
        (1.04, 1.0, 1.1, 1, "0.1"),  # from 1.0, as it is printed, to 1.1
        (0.3, 0.2, 0.4, 1, "0.1"),  # 0.09999... and 0.1000...1 are noise
        (1.0, float("-inf"), 2.0, 1, "unknown"),
    ],
)
def test_the_wider_side_of_an_interval_is_rounded_up(value, low, high, decimals, text):
    assert text == wider_side(value, low, high, decimals)


@pytest.mark.parametrize(
    ("value", "text"),
    [(21.999999999999545, "22.0"), (0.1 + 0.2, "0.3"), (1e-7 / 3, "3.33333333333e-08")],
)
def test_a_number_in_a_file_has_no_noise(value, text):
    assert text == repr(without_noise(value))


@pytest.mark.parametrize(
    ("value", "text"), [(40.04, "40.04"), (39.96, "39.96"), (40.0, "40.0"), (41.0, "41.0")]
)
def test_rounding_never_carries_a_number_onto_its_bound(value, text):
    assert text == digits_beside(value, 40.0, 1)


@pytest.mark.parametrize(
    ("value", "text"),
    [(0.9499, "0.9499"), (0.95, "0.95"), (0.99996, "over 0.999"), (0.0, "under 0.001")],
)
def test_a_probability_is_never_rounded_onto_what_is_required(value, text):
    assert text == probability(value, 0.95)


def test_the_interval_is_written_like_the_value():
    # 28.9 +- 1.96 x 0.6 = 27.72 to 30.08
    assert "27.7 to 30.1" == span(Uncertain.of(28.9, 0.6, "m", source="a"), 1)


def test_an_exact_number_has_no_interval():
    assert "" == span(Uncertain(3.0, {}, ""), 0)


def test_a_direction_stays_within_the_circle():
    # 358 +- 1.96 x 6 = 346.2 to 369.8, and 369.8 is 9.8
    assert "346 to 10" == figure_span(figure("wind.from_deg", 358.0, 6.0))
    assert "358" == figure_value(figure("wind.from_deg", -2.0, 6.0))
    assert "any direction" == figure_span(figure("wind.from_deg", 10.0, 200.0))
