"""Dates and times of day. Expected seconds: days since 1970 by hand, 86400 s each."""

from __future__ import annotations

import math

import pytest

from flightlog.importers.delimited_times import date_in_name, read_moments

# 2027-03-02 is 57 years after 1970-01-01: 57 * 365 = 20805 days, 14 leap days (1972 to 2024),
# 31 + 28 days of January and February and one more of March: 20879.
DAY = 20879 * 86400.0
MORNING = 10 * 3600 + 14 * 60 + 59.2


@pytest.mark.parametrize(
    "cell",
    [
        "2027-03-02 10:14:59.2",
        "2027-03-02T10:14:59.200",
        "2027/03/02 10:14:59,2",
        "20270302 101459.2",
        "02-Mar-2027 10:14:59.2",
        "2027-03-02 10:14:59.2 AM",
    ],
)
def test_a_moment_in_many_writings(cell):
    moments = read_moments([cell])

    assert moments.stamp_s.tolist() == pytest.approx([DAY + MORNING], abs=1e-6)
    assert (moments.dated, moments.zoned, moments.unclear) == (True, False, False)


@pytest.mark.parametrize(
    ("cell", "offset_h"),
    [("2027-03-02T10:14:59.2Z", 0), ("2027-03-02T10:14:59.2+01:00", 1),
     ("2027-03-02 10:14:59.2 -0530", -5.5), ("2027-03-02 10:14:59.2 UTC", 0)],
)  # fmt: skip
def test_a_zone_is_taken_out(cell, offset_h):
    moments = read_moments([cell])

    assert moments.zoned
    assert moments.stamp_s[0] == pytest.approx(DAY + MORNING - 3600 * offset_h, abs=1e-6)


@pytest.mark.parametrize(
    ("cells", "order"),
    [
        (["02.03.2027 10:00:00", "13.03.2027 10:00:00"], "day-month-year"),
        (["03/02/2027 10:00:00", "03/13/2027 10:00:00"], "month-day-year"),
        (["02.03.27 10:00:00", "13.03.27 10:00:00"], "day-month-year"),
        (["3/2/27 10:00:00 AM", "3/13/27 10:00:00 AM"], "month-day-year"),
        (["2027-03-02 10:00:00", "2027-03-13 10:00:00"], "year-month-day"),
    ],
)
def test_a_number_above_twelve_tells_the_order_of_day_and_month(cells, order):
    moments = read_moments(cells)

    assert (moments.order, moments.unclear) == (order, False)
    assert moments.stamp_s.tolist() == [DAY + 36000, DAY + 11 * 86400 + 36000]


def test_a_day_up_to_twelve_leaves_the_order_unclear_until_it_is_said():
    unclear = read_moments(["02/03/2027 10:00:00"])
    given = read_moments(["02/03/2027 10:00:00"], "day-month-year")
    other = read_moments(["03/02/2027 10:00:00"], "month-day-year")

    assert unclear.unclear
    assert (given.unclear, given.stamp_s[0]) == (False, DAY + 36000)
    assert (other.unclear, other.stamp_s[0]) == (False, DAY + 36000)


def test_years_of_two_digits_with_hyphens_may_stand_in_front():
    moments = read_moments(["21-08-29 10:00:00"])
    given = read_moments(["27-03-02 10:00:00"], "year-month-day")

    assert moments.unclear
    assert given.stamp_s[0] == DAY + 36000


def test_equal_day_and_month_leave_nothing_unclear():
    assert not read_moments(["05/05/2027 10:00:00"]).unclear


@pytest.mark.parametrize(
    ("cell", "hour"),
    [("12:00:00 AM", 0), ("1:00:00 am", 1), ("12:00:00 PM", 12), ("11:00:00 p.m.", 23)],
)
def test_a_twelve_hour_clock(cell, hour):
    assert read_moments([cell]).stamp_s.tolist() == [hour * 3600.0]


def test_times_alone_go_on_over_midnight():
    moments = read_moments(["23:59:59", "00:00:01", "00:00:02"])

    assert moments.stamp_s.tolist() == [86399.0, 86401.0, 86402.0]
    assert not moments.dated


def test_what_is_no_time_is_missing_and_counted():
    moments = read_moments(["10:00:00", "25:00:00", "10:61:00", "", "soon", "10:00:04"])

    assert [math.isnan(v) for v in moments.stamp_s] == [False, True, True, True, True, False]
    assert (moments.unreadable, moments.row, moments.text) == (3, 1, "25:00:00")


@pytest.mark.parametrize(
    ("name", "expected"),
    [
        ("pannier-2027-03-02.csv", DAY),
        ("pannier_20270302_101459.csv", DAY),
        ("pannier-2027-13-02.csv", None),
        ("pannier-2027-02-30.csv", None),
        ("log12345678.csv", None),
    ],
)
def test_the_date_in_a_name(name, expected):
    assert date_in_name(name) == expected
