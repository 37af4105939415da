"""Mann's test against the worked example and an independent implementation."""

from __future__ import annotations

import math
from itertools import permutations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from scipy.stats import kendalltau

from flightlog.prediction.mann_kendall import (
    dependence,
    exact_p,
    holm,
    is_exact,
    neighbours,
    rises,
    same_day,
    shuffled_p,
    standard,
    two_sided,
    variance,
)

RESISTANCE = np.array([27.6, 28.4, 27.9, 29.0, 28.7, 29.9, 29.6, 30.6, 31.4, 31.2])
"""Of a pack over its cycles [mohm]: the worked example."""


def test_the_worked_example_to_full_precision():
    s, var = rises(RESISTANCE), variance(RESISTANCE)

    assert (s, var) == (37.0, 125.0)
    assert standard(s, var) == pytest.approx(3.219937887599697, rel=1e-14)
    assert two_sided(standard(s, var)) == pytest.approx(0.0012821837418053165, rel=1e-12)
    assert exact_p(s, 10) == pytest.approx(0.0003576940035273369, rel=1e-14)


@given(st.permutations(range(7)))
def test_the_exact_probability_is_that_of_another_implementation(order):
    y = np.array(order, dtype=float)

    assert exact_p(rises(y), 7) == pytest.approx(
        kendalltau(range(7), y, method="exact").pvalue, rel=1e-12
    )


def test_the_exact_probability_counts_all_orders():
    every = [abs(rises(np.array(order, dtype=float))) for order in permutations(range(5))]

    for s in sorted(set(every)):
        share = sum(one >= s for one in every) / math.factorial(5)
        assert exact_p(s, 5) == pytest.approx(min(1.0, share), rel=1e-12)


def test_numbers_that_are_alike_make_the_variance_that_all_orders_have():
    y = np.array([1.0, 1.0, 2.0, 3.0, 3.0, 3.0])
    every = [rises(y[list(order)]) for order in permutations(range(6))]

    assert variance(y) == pytest.approx(np.var(every), rel=1e-12)
    assert not is_exact(y)


def test_what_can_not_vary_has_no_trend():
    flat = np.ones(8)

    assert (rises(flat), variance(flat)) == (0.0, 0.0)
    assert two_sided(standard(0.0, 0.0)) == 1.0


def test_neighbours_that_go_together_are_seen_and_others_not():
    chance = np.random.default_rng(5)
    noise = chance.standard_normal((400, 60))
    together = noise.copy()
    for k in range(1, 60):
        together[:, k] = 0.5 * together[:, k - 1] + math.sqrt(0.75) * noise[:, k]
    x = np.arange(60) - 29.5

    def rest(y):
        return y - (y @ x / (x @ x))[:, None] * x

    assert neighbours(rest(noise)).mean() == pytest.approx(0.0, abs=0.03)
    assert neighbours(rest(together)).mean() == pytest.approx(0.5, abs=0.05)
    alone = np.arange(60)
    assert np.median(dependence(rest(noise), alone)) == 1.0
    # (1 + r) / (1 - r) of r = 0.5
    assert np.median(dependence(rest(together), alone)) == pytest.approx(3.0, rel=0.15)


def test_flights_of_a_day_that_go_together_count_for_less():
    chance = np.random.default_rng(6)
    days = np.arange(60) // 3
    y = np.repeat(chance.standard_normal((400, 20)), 3, axis=1) + chance.standard_normal((400, 60))
    share, size = same_day(y, days)

    assert size == 3.0
    assert share.mean() == pytest.approx(0.5, abs=0.05)
    assert np.median(dependence(y, days)) == pytest.approx(2.0, rel=0.1)


def test_shuffled_blocks_of_one_are_as_all_orders():
    y = RESISTANCE.copy()
    y[[0, 9, 3, 6]] = y[[9, 0, 6, 3]]

    assert shuffled_p(y, 1) == pytest.approx(exact_p(rises(y), 10), abs=0.03)


def test_blocks_that_move_together_are_not_taken_for_a_trend():
    # Within each block of five the numbers rise; the blocks themselves are in no order.
    y = np.concatenate([np.arange(5) + base for base in (20.0, 0.0, 10.0, 30.0, 5.0, 25.0)])

    assert shuffled_p(y, 5) > 0.2


@settings(max_examples=40)
@given(st.lists(st.floats(1e-9, 1), min_size=1, max_size=12))
def test_holm_is_never_bolder_than_one_look_and_keeps_the_order(ps):
    adjusted = holm(ps)

    assert all(a >= p for a, p in zip(adjusted, ps, strict=True))
    assert min(adjusted) == pytest.approx(min(1.0, len(ps) * min(ps)))
    ranked = sorted(range(len(ps)), key=lambda k: ps[k])
    assert [adjusted[k] for k in ranked] == sorted(adjusted)


def test_holm_by_hand():
    assert holm([0.01, 0.04, 0.03]) == pytest.approx([0.03, 0.06, 0.06])
    # One question has half of the level: its probability counts twice, the others' four times.
    assert holm([0.01, 0.001, 0.5], [2.0, 1.0, 1.0]) == pytest.approx([0.015, 0.004, 0.5])
