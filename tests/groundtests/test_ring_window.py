"""Releases found in recordings as they come from the bench."""

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from hypothesis.extra.numpy import arrays

from flightlog.groundtests.ring_window import stretches, windows
from tests.groundtests.rings import Truth, recording

ONE = [Truth(6.5, 0.018)]
TWO = [Truth(6.5, 0.018, 1.0, 0.2), Truth(7.3, 0.018, 0.8, 1.0)]


def found(t, y, release=None):
    parts, done = stretches(t, y, release)
    return [(part, w) for part in parts for w in windows(part)], done


@pytest.mark.parametrize("modes", [ONE, TWO], ids=["one", "beating"])
@pytest.mark.parametrize("hum", [0.0, 0.8])
def test_each_release_is_found_where_it_was_let_go(modes, hum):
    t, y, starts = recording([modes] * 3, hum=hum)
    every, _ = found(t, y)
    begins = [part.t[w.first] for part, w in every]
    for start in starts:
        # Within a cycle after it; handling before may be found besides, and falls by its fit.
        assert any(0 <= b - start < 0.2 for b in begins)
    for part, w in every:
        # None of them reaches into the handling before the next one.
        begin, end = part.t[w.first], part.t[w.last - 1]
        if any(0 <= begin - start < 0.2 for start in starts):
            assert end < begin + 5.5


def test_a_pull_and_its_release_are_no_ring_of_their_own():
    t, y, starts = recording([ONE], held=1.0)
    ((part, w),) = [each for each in found(t, y)[0] if each[0].t[each[1].first] > 2.9]
    assert 0 <= part.t[w.first] - starts[0] < 0.2


def test_rows_at_the_end_of_the_range_are_left_out():
    t, y, _ = recording([ONE])
    ((part, w),) = [each for each in found(t, np.clip(y, -0.6, 0.6))[0] if each[1].clipped]
    assert np.abs(part.y[w.first : w.last]).max() < 0.65
    # It falls from 1 to 0.6 in 0.7 s.
    assert 0.4 < part.t[w.first] - 3.0 < 0.8


def test_numbered_releases_and_clocks_that_start_again_are_parted():
    t, y, _ = recording([ONE, ONE])
    numbers = np.where(t < 8, 1.0, 2.0)
    parts, _ = stretches(t, y, numbers)
    assert [part.release for part in parts] == [1, 2]
    again = np.where(t < 8, t, t - 8)
    parts, done = stretches(again, y)
    assert [round(part.t[0], 6) for part in parts] == [0, 0]
    assert done.back == 0


def test_rows_out_of_order_doubled_or_unreadable_are_put_right():
    t, y, _ = recording([ONE])
    t[100], t[101] = t[101], t[100]
    t[200] = t[199]
    y[300] = np.nan
    y[301] = 1e40
    parts, done = stretches(t, y)
    assert (done.back, done.doubled, done.left_out) == (1, 1, 2)
    assert np.all(np.diff(parts[0].t) > 0)
    assert len(parts[0].t) == t.size - 3


def test_a_clock_coarser_than_the_rows_is_spread():
    t, y, _ = recording([ONE], rate_hz=400.0)
    parts, done = stretches(np.floor(t * 100) / 100, y)
    assert done.respaced
    assert np.abs(parts[0].t - t).max() < 0.011
    assert np.ptp(np.diff(parts[0].t)) < 1e-6


_any = st.floats(allow_nan=True, allow_infinity=True, width=64)


@settings(max_examples=25, deadline=None)
@given(t=arrays(float, 40, elements=_any), y=arrays(float, 40, elements=_any))
def test_no_numbers_break_it(t, y):
    every, _ = found(t, y)
    for part, w in every:
        assert 0 <= w.first < w.last <= part.t.size


def test_a_ring_that_a_hand_stops_ends_before_it():
    """1.7 Hz at 0.5 %, stopped after 12 s at half of its amplitude: no still rows in it."""
    t, y, starts = recording(
        [[Truth(1.7, 0.005)]], noise=0.005, ring_s=18.0, rest_s=3.0, rate_hz=200.0
    )
    still = np.random.default_rng(1).normal(0, 0.005, t.size)
    every, _ = found(t, np.where(t > starts[0] + 12.0, still, y))
    part, longest = max(every, key=lambda pair: pair[1].last - pair[1].first)

    assert starts[0] + 10.0 < part.t[longest.last - 1] <= starts[0] + 12.05
