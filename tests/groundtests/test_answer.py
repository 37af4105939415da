"""One place withholds and widens; means of repeats are as wide as their number allows."""

from __future__ import annotations

import statistics

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.findings import Finding
from flightlog.ground_figures import GROUND_FIGURES
from flightlog.groundtests.answer import GroundAnswer, GroundFigure, settled
from flightlog.groundtests.repeats import mean_of_repeats
from flightlog.uncertain import Uncertain

THRUST = "thrust.greatest"


def figure(std: float = 1.0) -> GroundFigure:
    quantity = Uncertain.of(30.0, std, GROUND_FIGURES[THRUST].unit, source="scatter")
    return GroundFigure(THRUST, quantity, "mean of settled steps", ("thrust",))


def finding(severity: str, widen: float = 0.0) -> Finding:
    return Finding("some-code", severity, "It is 3.", affects=("thrust.*",), widen=widen)


def test_a_stop_withholds_and_says_why():
    answer = settled(GroundAnswer({THRUST: figure()}), [finding("stop")])

    assert not answer.figures
    assert answer.withheld[THRUST] == "It is 3 (some-code)"


def test_a_degrade_widens_and_the_method_says_so():
    answer = settled(GroundAnswer({THRUST: figure(3.0)}, findings=(finding("degrade", 0.1),)))

    assert answer.figures[THRUST].quantity.std == pytest.approx(18**0.5)
    assert "some-code" in answer.figures[THRUST].method


def test_a_note_changes_nothing():
    assert settled(GroundAnswer({THRUST: figure()}), [finding("note")]).figures[THRUST] == figure()


def test_a_figure_in_another_unit_is_refused():
    with pytest.raises(ValueError, match=r"thrust\.greatest"):
        GroundFigure(THRUST, Uncertain.of(1.0, 0.1, "kg", source="x"), "", ())


def test_three_repeats_are_as_wide_as_student_says():
    """t(0.975, 2) is 4.30265 in every table; the values have s = 1."""
    mean = mean_of_repeats([1.0, 2.0, 3.0], "N")

    assert mean.value == 2.0
    low, high = mean.interval(0.95)
    assert (high - low) / 2 == pytest.approx(4.30265 / 3**0.5, rel=1e-5)


def test_intervals_of_few_repeats_hold_the_truth():
    rng = np.random.default_rng(5)
    holds = []
    for _ in range(2000):
        low, high = mean_of_repeats(list(rng.normal(7.0, 2.0, 4)), "N").interval(0.95)
        holds.append(low <= 7.0 <= high)

    assert statistics.fmean(holds) == pytest.approx(0.95, abs=0.015)


def test_a_common_error_is_not_made_less_by_repeats():
    mean = mean_of_repeats([5.0] * 30, "N", common_std=0.4)

    assert mean.std == pytest.approx(0.4)


def test_one_value_is_no_repeat():
    with pytest.raises(ValueError, match="no repeat"):
        mean_of_repeats([1.0], "N")


@given(st.lists(st.floats(-1e6, 1e6), min_size=2, max_size=9), st.floats(-1e3, 1e3))
def test_a_shift_of_all_repeats_shifts_their_mean_alone(values, shift):
    before = mean_of_repeats(values, "N")
    after = mean_of_repeats([v + shift for v in values], "N")

    assert after.value - before.value == pytest.approx(shift, abs=1e-6)
    assert after.std == pytest.approx(before.std, abs=1e-6, rel=1e-6)
