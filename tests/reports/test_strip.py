from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.reports.strip import DRAWN, TYPED, draw, layout, one_sided
from flightlog.uncertain import Uncertain
from tests.made_debriefs import judged


def test_one_sided_limits_are_the_quantiles_at_the_required_probability():
    # 95 % quantile of the normal distribution: 1.644854 standard deviations.
    low, high = one_sided(Uncertain.of(30.0, 2.0, "m", source="a"), 0.95)

    assert (26.710, 33.290) == (pytest.approx(low, abs=1e-3), pytest.approx(high, abs=1e-3))


@pytest.mark.parametrize(
    ("value", "std", "op", "picture"),
    [
        (30.0, 1.0, "<=", "----==o===---------------|....."),
        (45.0, 1.0, "<=", "-----|.............==o===......"),
        (40.5, 1.0, "<=", "-----=======|==o========......"),
        (45.0, 1.0, ">=", ".....|------------===o==------"),
    ],
)
def test_the_picture_says_the_word(value, std, op, picture):
    drawn = draw(judged(value, std, op=op), len(picture), TYPED)

    assert [c for i, c in enumerate(picture) if i == 0 or c != picture[i - 1]] == [
        c for i, c in enumerate(drawn) if i == 0 or c != drawn[i - 1]
    ]


@given(
    st.floats(0, 100),
    st.floats(0, 50),
    st.floats(0.001, 100),
    st.sampled_from(["<=", ">="]),
    st.integers(12, 80),
    st.sampled_from([0.6, 0.9, 0.95, 0.999]),
)
def test_the_bar_never_says_another_word_than_the_outcome(value, std, limit, op, width, required):
    outcome = judged(value, std, limit=limit, op=op, required=required)
    drawn = draw(outcome, width, TYPED)
    allowed, beyond = drawn.split("|")
    if op == ">=":
        allowed, beyond = beyond, allowed
    bar_allowed, bar_beyond = set(allowed) & set("=o"), set(beyond) & set("=o")

    assert width == len(drawn)
    assert 1 == drawn.count("o")
    assert (outcome.outcome != "not met") == bool(bar_allowed)
    assert (outcome.outcome != "met") == bool(bar_beyond)


def test_what_is_not_assessable_has_a_bound_and_no_bar():
    drawn = draw(judged(None), 21, TYPED)

    assert 10 * "-" + "|" + 10 * "." == drawn


def test_nothing_is_drawn_of_numbers_without_end():
    outcome = judged(1e308, 1e307)

    assert layout(outcome).value is None
    assert "o" not in draw(outcome, 30, TYPED)


def test_both_looks_have_a_shape_for_every_word():
    for look in (DRAWN, TYPED):
        assert {"met", "not met", "not shown", "not assessable"} == set(look.shapes)
        assert 4 == len(set(look.shapes.values()))
    assert TYPED.characters().isascii()
