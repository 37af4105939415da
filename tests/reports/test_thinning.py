from __future__ import annotations

from itertools import pairwise

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from flightlog.reports.chart import Line
from flightlog.reports.thinning import LEAST, thinned, thinned_rows

VALUES = st.integers(0, 400).flatmap(
    lambda n: arrays(np.float64, n, elements=st.floats(-1e6, 1e6) | st.just(float("nan")))
)
MOST = st.integers(LEAST, 120)


def gaps_between(y, rows):
    """Tell for each two finite rows that follow each other whether a NaN lies between them."""
    finite = [r for r in rows if np.isfinite(y[r])]
    return [any(a < r < b for r in rows if np.isnan(y[r])) for a, b in pairwise(finite)], [
        bool(np.isnan(y[a:b]).any()) for a, b in pairwise(finite)
    ]


@given(VALUES, MOST)
def test_few_rows_are_left_in_order_with_both_peaks_and_both_ends(y, most):
    rows = thinned_rows([y], most)
    good = np.flatnonzero(np.isfinite(y))

    assert len(rows) <= most
    assert (np.diff(rows) > 0).all()
    if good.size:
        kept = y[rows][np.isfinite(y[rows])]
        assert (y[good].min(), y[good].max()) == (kept.min(), kept.max())
        assert {good[0], good[-1]} <= set(rows.tolist())


@given(VALUES, MOST)
def test_no_gap_is_closed_and_none_is_made(y, most):
    drawn, real = gaps_between(y, thinned_rows([y], most))

    assert real == drawn


@given(st.lists(st.integers(1, 30), min_size=1, max_size=6))
def test_with_few_gaps_each_begins_and_ends_where_it_did(lengths):
    y = np.concatenate([np.append(np.arange(n, dtype=float), np.nan) for n in lengths])[:-1]
    rows = set(thinned_rows([y], 60).tolist())
    good = np.isfinite(y)
    edges = [n for n in range(1, len(y)) if good[n] != good[n - 1]]

    assert all(n in rows or n - 1 in rows for n in edges)
    assert {n if good[n] else n - 1 for n in edges} <= rows


@given(VALUES, st.integers(LEAST, 60))
def test_every_stretch_keeps_its_own_peaks(y, most):
    """Between two rows that are left, nothing lies beyond the span of a stretch around them."""
    y = y[np.isfinite(y)]
    rows = thinned_rows([y], most)
    size = -(-len(y) // max(1, (most - 2) // 2)) if len(y) > most else 1

    for begin in range(0, len(y), size):
        part = y[begin : begin + size]
        near = y[rows[(rows >= begin - size) & (rows < begin + 2 * size)]]
        assert near.min() <= part.min()
        assert part.max() <= near.max()


def test_on_a_plane_the_peaks_of_both_stay():
    angle = np.linspace(0, 20 * np.pi, 5000)
    x, y = np.cos(angle) * angle, np.sin(angle) * angle
    few = thinned(Line("track", x, y), 300, plane=True)

    assert len(few.x) <= 300
    for before, after in ((x, few.x), (y, few.y)):
        assert (before.min(), before.max()) == (after.min(), after.max())


def test_a_band_is_taken_where_its_line_is():
    y = np.random.default_rng(7).normal(size=1000)
    few = thinned(Line("one", np.arange(1000.0), y, y - 1, y + 2), 100)

    assert few.low == pytest.approx(few.y - 1)
    assert few.high == pytest.approx(few.y + 2)


def test_a_short_line_stays_as_it_is():
    one = Line("one", np.arange(5.0), np.arange(5.0))

    assert thinned(one, 16) is one


def test_fewer_points_than_a_line_needs_are_refused():
    with pytest.raises(ValueError, match="at least 16 points, not 5"):
        thinned_rows([np.arange(100.0)], 5)
