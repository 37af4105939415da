"""Two configurations compared: against published figures, and how often it errs."""

from __future__ import annotations

import math

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.errors import NotEnoughDataError
from flightlog.groundtests.comparison import (
    LESS,
    MORE,
    OPEN,
    SAME,
    Series,
    all_pairs,
    compared,
    holm,
)

TRACTOR = Series("tractor", [32.8, 33.1, 33.0, 32.6, 33.3, 32.9])
PUSHER = Series("pusher", [31.9, 32.4, 32.2, 31.7, 32.6, 32.0])
# Student 1908: hours of sleep gained by ten patients on either drug.
SLEEP = (
    Series("first", [0.7, -1.6, -0.2, -1.2, -0.1, 3.4, 3.7, 0.8, 0.0, 2.0]),
    Series("second", [1.9, 0.8, 1.1, 0.1, -0.1, 4.4, 5.5, 1.6, 4.6, 3.4]),
)


def test_welch_gives_the_worked_figures():
    c = compared(TRACTOR, PUSHER, 2.0)

    assert 32.95 == pytest.approx(c.mean_first)
    assert 32.13333333333333 == pytest.approx(c.mean_second)
    assert 0.24289915602982173 == pytest.approx(c.spread_first)
    assert 0.33266599866332464 == pytest.approx(c.spread_second)
    assert 0.81666666666667 == pytest.approx(c.difference)
    assert 2.4785027819929284 == pytest.approx(c.percent)
    assert 4.85648655815988 == pytest.approx(c.t)
    assert 9.151377929114869 == pytest.approx(c.dof)
    assert 0.0008580810682360366 == pytest.approx(c.p)
    assert (0.4372194102121226, 1.1961139231212174) == pytest.approx((c.low, c.high))


def test_pairs_give_the_worked_figures():
    c = compared(TRACTOR, PUSHER, 2.0, paired=True)

    assert 20.34614256416621 == pytest.approx(c.t)
    assert 5.305400990653954e-06 == pytest.approx(c.p)


def test_the_published_sleep_data_are_reproduced():
    welch = compared(*SLEEP, 2.0)
    paired = compared(*SLEEP, 2.0, paired=True)

    assert (-1.8608, 17.776, 0.07939) == pytest.approx((welch.t, welch.dof, welch.p), rel=1e-4)
    assert (-4.0621, 9, 0.002833) == pytest.approx((paired.t, paired.dof, paired.p), rel=2e-4)


def test_no_percentage_where_the_first_may_be_zero():
    c = compared(*SLEEP, 2.0)

    assert c.percent is None
    assert OPEN == c.word
    assert "zero" in c.why


def test_a_real_difference_about_as_large_as_the_threshold_is_not_more_than_it():
    c = compared(TRACTOR, PUSHER, 2.0)

    assert c.differs
    assert OPEN == c.word
    assert MORE == compared(TRACTOR, PUSHER, 1.0).word
    assert LESS == compared(PUSHER, TRACTOR, 1.0).word
    assert SAME == compared(TRACTOR, PUSHER, 5.0).word
    assert MORE == compared(TRACTOR, PUSHER, 2.0, paired=True).word


def test_the_words_follow_from_the_interval_of_the_percentage():
    # Fieller: at the ends of the interval the two-sided test has 5 %, so that one side has 2.5 %.
    c = compared(TRACTOR, PUSHER, 2.0)

    for end, at in (("low", c.percent_low), ("high", c.percent_high)):
        edge = compared(TRACTOR, PUSHER, at)
        assert 0.025 == pytest.approx(edge.p_word, rel=1e-6), end


def test_what_is_not_common_widens_and_what_is_common_cancels():
    plain = compared(TRACTOR, PUSHER, 1.0)
    common = compared(TRACTOR, PUSHER, 1.0, common_relative=0.02)
    apart = compared(
        Series("tractor", TRACTOR.values, own_std=0.3),
        Series("pusher", PUSHER.values, own_std=0.4),
        1.0,
    )

    assert (plain.percent_low, plain.percent_high) == (common.percent_low, common.percent_high)
    assert math.hypot(plain.std, 0.02 * plain.difference) == pytest.approx(common.std)
    assert math.hypot(plain.std, 0.5) == pytest.approx(apart.std)
    assert OPEN == apart.word
    assert apart.t == plain.t
    # Welch-Satterthwaite: what is not from repeats has no limit of degrees.
    assert plain.dof * (apart.std / plain.std) ** 4 == pytest.approx(apart.dof_all)


def test_holm_as_its_paper_does_it():
    # Sorted .01 .02 .03 .04: times 4, 3, 2, 1, never falling.
    assert [0.06, 0.04, 0.06, 0.06] == pytest.approx(holm([0.03, 0.01, 0.02, 0.04]))
    assert math.isnan(holm([math.nan, 0.01])[0])
    assert 0.02 == pytest.approx(holm([math.nan, 0.01])[1])


def test_several_configurations_are_compared_each_with_each():
    third = Series("ducted", [30.1, 30.3, 29.9, 30.2, 30.0, 30.1])
    pairs = all_pairs([TRACTOR, PUSHER, third], 2.0)

    names = [(c.first, c.second, c.word) for c in pairs]
    assert names == [
        ("tractor", "pusher", OPEN),
        ("tractor", "ducted", MORE),
        ("pusher", "ducted", MORE),
    ]
    assert {3} == {c.together for c in pairs}
    alone = compared(TRACTOR, PUSHER, 2.0)
    assert pairs[0].p_difference == pytest.approx(alone.p_difference)  # the largest of three


@pytest.mark.parametrize("values", [[], [1.0], [1.0, math.nan], [1.0, math.inf]])
def test_too_few_or_no_numbers_are_refused(values):
    with pytest.raises(NotEnoughDataError):
        compared(Series("a", values), PUSHER, 2.0)


def test_unequal_numbers_can_not_be_paired():
    with pytest.raises(NotEnoughDataError, match="paired"):
        compared(Series("a", [1.0, 2.0]), PUSHER, 2.0, paired=True)


def test_repeats_that_are_all_alike_show_nothing():
    c = compared(Series("a", [5.0, 5.0]), Series("b", [4.0, 4.0]), 2.0)

    assert OPEN == c.word
    assert "digits" in c.why
    assert not c.differs


@given(
    st.lists(st.floats(1e-3, 1e3), min_size=2, max_size=6),
    st.lists(st.floats(1e-3, 1e3), min_size=2, max_size=6),
    st.sampled_from([1e-250, 1.0, 1e250]),
)
def test_the_unit_does_not_matter(a, b, unit):
    plain = compared(Series("a", a), Series("b", b), 2.0)
    other = compared(Series("a", [unit * x for x in a]), Series("b", [unit * x for x in b]), 2.0)

    assert plain.word == other.word
    assert plain.p == pytest.approx(other.p, rel=1e-6, abs=1e-12, nan_ok=True)
    assert math.isfinite(other.difference)


@given(
    st.lists(st.floats(1e-3, 1e3), min_size=2, max_size=6),
    st.lists(st.floats(1e-3, 1e3), min_size=2, max_size=6),
)
def test_the_difference_turns_its_sign_with_the_order(a, b):
    one = compared(Series("a", a), Series("b", b), 2.0)
    other = compared(Series("b", b), Series("a", a), 2.0)

    assert one.difference == pytest.approx(-other.difference, abs=1e-9)
    assert one.p == pytest.approx(other.p, nan_ok=True)
    assert (one.low, one.high) == pytest.approx((-other.high, -other.low), abs=1e-6)


# --- how often it errs; 250 draws tell 5 % to 1.4 %


def _words(rng, ratio, n, draws, *, shared=0.0, paired=False):
    words = []
    for _ in range(draws):
        drift = rng.normal(0, shared, n)
        a = 30 * (1 + drift) + rng.normal(0, 0.3, n)
        b = 30 * ratio * (1 + drift) + rng.normal(0, 0.45, n)
        words.append(compared(Series("a", a), Series("b", b), 2.0, paired=paired))
    return words


@pytest.mark.parametrize(("shared", "paired"), [(0.0, False), (0.03, True)])
def test_a_word_is_wrong_in_one_of_twenty_cases_at_most(shared, paired):
    # The truth lies right at the threshold, where "more" and "the same" are both wrong.
    rng = np.random.default_rng(3)
    found = _words(rng, 0.98, 5, 250, shared=shared, paired=paired)

    for word in (MORE, SAME):
        assert sum(c.word == word for c in found) <= 250 * 0.05 + 2 * math.sqrt(250 * 0.0475)
    inside = sum(c.percent_low <= 2.0 <= c.percent_high for c in found)
    assert 0.92 <= inside / 250 <= 0.98


def test_three_alike_configurations_are_told_apart_in_one_of_twenty_cases():
    rng = np.random.default_rng(4)
    wrong = 0
    for _ in range(120):
        series = [Series(n, rng.normal(30, 0.4, 4)) for n in "abc"]
        wrong += any(c.differs for c in all_pairs(series, 2.0))
    assert wrong / 120 <= 0.05 + 2 * math.sqrt(0.0475 / 120)
