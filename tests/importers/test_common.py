from __future__ import annotations

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from flightlog.importers.clock import Clock, rising
from flightlog.importers.common import (
    Notes,
    clean_text,
    distinct,
    gps_unix_s,
    missing_where,
    repeated_rows,
    unrolled_weeks,
    utc_relation,
)
from flightlog.importers.house import healthiest, house_table


@pytest.mark.parametrize("kind", [np.uint8, np.int8, np.int64, np.uint64, np.float64])
@pytest.mark.parametrize("values", [[], [3, 3], [2, 0, 2, 1], [120, 5, 5]])
def test_distinct_values_come_once_and_rising(kind, values):
    assert distinct(np.array(values, dtype=kind)) == sorted(set(values))


@pytest.mark.parametrize("values", [[-3, 4, -3], [5000000000, 0], [1023, 1024, 0]])
def test_distinct_values_may_be_negative_or_large(values):
    assert distinct(np.array(values, dtype=np.int64)) == sorted(set(values))


@pytest.mark.parametrize(
    ("text", "clean"),
    [
        ("plain", "plain"),
        ("\x1b[2J\x1b[31mred", "red"),
        ("\x1b]0;title\x07shown", "shown"),
        ("\x9b31mred", "31mred"),
        ("a\tb\nc", "a b c"),
        ("safe\u202eevil", "safeevil"),
        ("Höhe 20 m", "Höhe 20 m"),
        ("\x1b", ""),
    ],
)
def test_text_is_cleaned(text, clean):
    assert clean_text(text) == clean


@given(st.text())
def test_clean_text_can_be_printed_and_stays_clean(text):
    once = clean_text(text)

    assert once == clean_text(once)
    assert not any(ord(c) < 32 or 127 <= ord(c) < 160 for c in once)


def test_the_gps_epoch():
    # METHODS of the trade: week 2340, 302400 s, 18 leap seconds = 2024-11-13T11:59:42Z.
    assert gps_unix_s(np.array([2340.0]), np.array([302400.0])).tolist() == [1731499182.0]
    assert np.isnan(gps_unix_s(np.array([0.0]), np.array([302400.0]))).all()


@pytest.mark.parametrize("odd", [np.inf, -np.inf, np.nan, 0.0])
def test_only_weeks_of_the_short_counter_are_moved_to_the_files_era(odd):
    # Week 2340 is 292 in a 10-bit counter; the file was written in week 2341 of 1980-01-06.
    written = 315964800 + 2341 * 604800
    weeks = unrolled_weeks(np.array([292.0, 2340.0, odd]), written, Notes())

    assert weeks[:2].tolist() == [2340.0, 2340.0]
    assert weeks[2] == odd or (np.isnan(weeks[2]) and np.isnan(odd))


def test_sentinels_and_infinities_go_missing():
    values, count = missing_where(np.array([1.0, 0.0, np.inf]), np.array([False, True, False]))

    assert count == 2
    assert np.isnan(values[1:]).all()


def test_repeats_are_counted_within_an_instance():
    a = np.array([1.0, 1.0, 1.0, 2.0, np.nan, np.nan])
    instance = np.array([0, 1, 0, 1, 0, 0])

    assert repeated_rows([a], instance).tolist() == [False, False, True, False, False, True]


def test_utc_is_unknown_without_pairs():
    relation = utc_relation(np.array([1.0]), np.array([np.nan]), "nothing")

    assert relation.offset_s is None


def test_one_spike_costs_one_row():
    assert rising(np.array([1.0, 2.0, 99.0, 3.0, 4.0])).tolist() == [True, True, False, True, True]
    assert rising(np.array([5.0, 6.0, 1.0, 7.0])).tolist() == [True, True, False, True]


@settings(max_examples=50)
@given(st.lists(st.floats(allow_nan=True, allow_infinity=False, width=32), max_size=40))
def test_what_is_kept_rises(values):
    array = np.array(values, dtype=np.float64)
    kept = array[rising(array)]

    assert (np.diff(kept) >= 0).all()
    assert len(kept) >= min(1, np.isfinite(array).sum())


@settings(max_examples=50)
@given(st.lists(st.floats(-1e9, 1e9), max_size=60))
def test_any_clock_comes_out_monotonic(values):
    boot_s = np.array(values, dtype=np.float64)
    place = np.arange(len(boot_s))
    time_s, keep = Clock.fit(place, boot_s).apply(place, boot_s)

    assert (np.diff(time_s[keep]) >= 0).all()


def test_two_restarts():
    boot_s = np.concatenate([np.arange(0, 100.0), np.arange(5, 50.0), np.arange(2, 60.0)])
    place = np.arange(len(boot_s))
    clock = Clock.fit(place, boot_s)
    time_s, keep = clock.apply(place, boot_s)

    assert keep.all()
    assert clock.seams == (104.0, 150.0)
    assert time_s[-1] == 207.0


def test_a_table_comes_in_the_order_of_time_with_all_columns():
    notes = Notes()
    table = house_table(
        "baro", {"time_s": np.array([2.0, 1.0]), "height_m": np.array([5.0, 1e9])}, notes
    )

    assert table["time_s"].tolist() == [1.0, 2.0]
    assert table["instance"].tolist() == [0, 0]
    assert np.isnan(table["height_m"].iloc[0])
    assert notes.findings[0].code == "values-out-of-range"


def test_the_healthiest_sensor_is_chosen():
    instance = np.array([0] * 10 + [1] * 10)

    assert healthiest(instance, np.ones(20, dtype=bool)) == 0
    assert healthiest(instance, instance == 1) == 1
    assert healthiest(np.zeros(5), np.ones(5, dtype=bool)) is None
