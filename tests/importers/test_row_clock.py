"""One clock for rows that carry the time of day."""

from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.importers.common import Notes, leap_seconds
from flightlog.importers.row_clock import PAUSE_S, row_clock

NOON = 1_800_000_000.0


def codes(notes: Notes) -> list[str]:
    return [f.code for f in notes.findings]


def test_a_plain_clock_counts_from_the_first_row():
    notes = Notes()
    clock = row_clock(NOON + np.arange(50) / 5, notes)

    assert clock.time_s == pytest.approx(np.arange(50) / 5, abs=1e-6)
    assert (clock.zero_s, clock.seams, codes(notes)) == (NOON, (), [])
    assert clock.keep.all()


def test_rows_without_a_time_and_one_that_falls_back_are_left_out():
    stamps = NOON + np.arange(60.0)
    stamps[[7, 30]] = np.nan, NOON - 500
    notes = Notes()
    clock = row_clock(stamps, notes, what="fixes")

    assert np.flatnonzero(~clock.keep).tolist() == [7, 30]
    assert notes.dropped == {"fixes without a time": 1, "fixes: time runs backwards": 1}
    assert codes(notes) == ["clock-backwards"]


def test_ten_rows_in_each_whole_second_are_spread_over_it():
    truth = NOON + 0.62 + np.arange(400) / 10
    notes = Notes()
    clock = row_clock(np.floor(truth), notes)

    assert clock.whole_seconds
    # The phase within the second is unknown, the steps are not.
    assert np.diff(clock.time_s) == pytest.approx(np.full(399, 0.1), abs=0.011)
    assert codes(notes) == ["whole-second-stamps"]
    assert clock.zero_s + clock.time_s == pytest.approx(truth, abs=0.15)


def test_one_fix_in_each_whole_second_is_no_fault():
    notes = Notes()

    assert not row_clock(NOON + np.arange(30.0), notes).whole_seconds
    assert not notes.findings


def test_a_clock_that_is_set_does_not_leave_years_of_silence():
    stamps = np.concatenate([np.arange(40.0), NOON + np.arange(100.0)])
    notes = Notes()
    clock = row_clock(stamps, notes)

    assert clock.time_s[-1] == pytest.approx(139, abs=2)
    assert len(clock.seams) == 1
    assert codes(notes) == ["clock-set"]
    assert clock.zero_s + clock.time_s[-1] == pytest.approx(NOON + 99, abs=0.01)


def test_a_clock_that_is_set_back_starts_a_new_session():
    stamps = NOON + np.concatenate([np.arange(100.0), np.arange(100.0) - 3600])
    notes = Notes()
    clock = row_clock(stamps, notes)

    assert codes(notes) == ["clock-restart"]
    assert len(clock.seams) == 1
    assert clock.keep.all()
    assert (np.diff(clock.time_s) >= 0).all()


def test_a_pause_is_kept_and_starts_a_session():
    stamps = NOON + np.concatenate([np.arange(50.0), np.arange(50.0) + 600])
    clock = row_clock(stamps, Notes())

    assert clock.time_s[-1] == 649
    assert clock.seams == (600.0,)
    assert PAUSE_S < 551


def test_a_few_rows_between_long_pauses_are_no_damage():
    # Two rows an hour: a boot clock would have to prove each step by the rows after it.
    stamps = NOON + np.repeat(np.arange(40.0) * 3600, 2) + np.tile([0.0, 5.0], 40)
    notes = Notes()
    clock = row_clock(stamps, notes)

    assert clock.keep.all()
    assert clock.time_s == pytest.approx(stamps - NOON)
    assert len(clock.seams) == 39
    assert codes(notes) == []


def test_one_stray_row_among_pauses_costs_only_itself():
    stamps = NOON + np.arange(30.0) * 100
    stamps[12] = NOON + 50
    clock = row_clock(stamps, Notes())

    assert np.flatnonzero(~clock.keep).tolist() == [12]
    assert clock.time_s[-1] == 2900


@settings(max_examples=100)
@given(st.lists(st.floats(allow_nan=True, allow_infinity=True), max_size=60))
def test_any_stamps_give_a_clock_that_never_falls(stamps):
    clock = row_clock(np.array(stamps, dtype=np.float64), Notes())
    kept = clock.time_s[clock.keep]

    assert np.isfinite(kept).all()
    assert (np.diff(kept) >= 0).all()
    assert all(kept[0] <= seam <= kept[-1] for seam in clock.seams)


def test_leap_seconds_step_where_the_bulletins_say():
    # GPS was 17 s ahead of UTC until the end of 2016, 18 s since; 0 at its epoch.
    before, after = 1483228800 + 17 - 1, 1483228800 + 18
    assert leap_seconds(np.array([before, after, 315964800, 2e9])).tolist() == [17, 18, 0, 18]
