from __future__ import annotations

import math
from contextlib import suppress
from datetime import UTC, datetime

import numpy as np
import pytest
from hypothesis import HealthCheck, given, settings
from hypothesis import strategies as st

from flightlog.errors import FlightlogError, LogFileError, TeamFileError
from flightlog.operations.meter import LARGEST_BYTES, check_meter_map, read_meter
from flightlog.operations.weather import weather_draft
from tests.operations.meters import HEADER, MAP, rows, written


def read(root, lines=None, map_text=MAP):
    return read_meter(*written(root, lines, map_text))


def test_the_last_two_minutes_make_mean_gust_direction_and_air(tmp_path):
    found = read(tmp_path)

    # Of 120 rows three are 6 m/s and the others 3 m/s: 3.075, rounded up.
    assert "3.08" == found.numbers["wind_mean"]
    assert "6.00" == found.numbers["wind_gust"]
    assert "70.0" == found.numbers["wind_from"]
    assert "119" == found.numbers["averaged"]
    assert ("1009.50", "17.25", "60.0") == tuple(
        found.numbers[name] for name in ("pressure", "temperature", "humidity")
    )
    assert (120, "AM-1") == (found.rows, found.instrument)
    # 07:58:59 by a clock that is an hour ahead.
    assert datetime(2027, 3, 15, 6, 58, 59, tzinfo=UTC) == found.at


def test_what_it_gives_makes_a_weather_entry(tmp_path):
    numbers = {**read(tmp_path).numbers, "mast_height": "2"}

    content = weather_draft("top-field", "AM-1", numbers, "a" * 64, source="meter-file").content

    assert {"value": "6.00", "unit": "m/s"} == content["wind_gust"]


def test_a_gust_lasts_three_seconds_where_the_meter_writes_every_second(tmp_path):
    """One second of 9 m/s among 3 m/s is a gust of 5 m/s over three."""
    found = read(tmp_path, rows(lambda s: 32.4 if s == 200 else 10.8))
    of_one_second = MAP + "[mean]\ngust_s = 1\n"

    assert "5.00" == found.numbers["wind_gust"]
    again = read(tmp_path, rows(lambda s: 32.4 if s == 200 else 10.8), of_one_second)
    assert "9.00" == again.numbers["wind_gust"]


def test_a_gust_is_the_highest_row_where_rows_are_further_apart(tmp_path):
    found = read(tmp_path, rows(lambda s: 32.4 if s == 200 else 10.8, step=5))

    assert "9.00" == found.numbers["wind_gust"]


def test_a_column_of_gusts_is_taken_as_it_is(tmp_path):
    lines = [f"{row};{18 if n == 190 else 9}" for n, row in enumerate(rows(lambda s: 7.2))]
    file, map_file = written(tmp_path, lines, f'{MAP}[columns.gust]\nheader = "Boe"\nunit = "kn"\n')
    text = file.read_text("utf-8").replace(HEADER, f"{HEADER};Boe")
    file.write_text(text, "utf-8")

    # 18 kn are 9.26 m/s, rounded up like the mean.
    assert "9.26" == read_meter(file, map_file).numbers["wind_gust"]


def test_what_is_averaged_can_be_said(tmp_path):
    found = read(tmp_path, map_text=f"{MAP}[mean]\nseconds = 60\n")

    assert (60, "59") == (found.rows, found.numbers["averaged"])
    assert "3.15" == found.numbers["wind_mean"]


def test_directions_are_averaged_across_north(tmp_path):
    lines = [row.replace(";70;", f";{350 if n % 2 else 10};") for n, row in enumerate(rows())]

    assert float(read(tmp_path, lines).numbers["wind_from"]) % 360 == pytest.approx(0, abs=0.6)


def test_of_winds_that_cancel_the_strongest_tells_the_direction(tmp_path):
    lines = [
        row.replace(";70;", f";{90 if n % 2 else 270};")
        for n, row in enumerate(rows(lambda s: 7.2))
    ]

    assert read(tmp_path, lines).numbers["wind_from"] in ("90.0", "270.0")


@pytest.mark.parametrize(
    ("column", "unit", "cell", "key", "value"),
    [
        ("pressure", "Pa", "100950", "pressure", "1009.50"),
        ("pressure", "inHg", "29,81", "pressure", "1009.48"),
        ("pressure", "mmHg", "757,2", "pressure", "1009.52"),
        ("temperature", "degF", "62,6", "temperature", "17.00"),
        ("temperature", "K", "290,15", "temperature", "17.00"),
        ("humidity", "share", "0,615", "humidity", "61.5"),
        ("wind", "m/s", "3,3", "wind_mean", "3.30"),
        ("wind", "mph", "10", "wind_mean", "4.48"),
        ("wind_from", "rad", "1,5707963", "wind_from", "90.0"),
    ],
)
def test_units_of_the_file_become_those_of_the_record(tmp_path, column, unit, cell, key, value):
    places = {"wind": 2, "wind_from": 3, "pressure": 4, "temperature": 5, "humidity": 6}
    lines = []
    for row in rows():
        cells = row.split(";")
        cells[places[column]] = cell
        lines.append(";".join(cells))
    head, _, tail = MAP.partition(f"[columns.{column}]")
    old = tail.split("unit = ")[1].split("\n")[0]
    found = read(tmp_path, lines, f"{head}[columns.{column}]{tail.replace(old, repr(unit), 1)}")

    assert value == found.numbers[key]


def test_rows_without_wind_and_marks_for_none_are_left_out(tmp_path):
    def damaged():
        for n, row in enumerate(rows()):
            cells = row.split(";")
            if n % 3 == 0:
                cells[2] = "---"
            if n % 3 == 1:
                cells[5] = "-99"
            yield ";".join(cells)

    found = read(tmp_path, damaged())

    assert 80 == found.rows
    assert "17.25" == found.numbers["temperature"]


def test_what_the_meter_does_not_measure_is_left_to_be_given(tmp_path):
    without = MAP[: MAP.index("[columns.wind_from]")]

    assert {"wind_mean", "wind_gust", "averaged"} == set(read(tmp_path, map_text=without).numbers)


@pytest.mark.parametrize(
    ("time", "cell"),
    [
        ('columns = ["t"]\nformat = "unix seconds"', lambda s: f"{1805102100 + s}"),
        ('columns = ["t"]\nformat = "unix milliseconds"', lambda s: f"{(1805102100 + s) * 1000}"),
        ('columns = ["t"]\nformat = "date and time"', 
         lambda s: f"2027-03-15 09:{15 + s // 60}:{s % 60:02}Z"),
        (
            'columns = ["t"]\nformat = "time of day"\ndate = 2027-03-15\nutc_offset_h = 0.0',
            lambda s: f"09:{15 + s // 60}:{s % 60:02}",
        ),
        (
            'columns = ["t"]\nformat = "date and time"\norder = "month-day-year"\n'
            "utc_offset_h = -1.0",
            lambda s: f"3/4/27 8:{15 + s // 60}:{s % 60:02} AM",
        ),
    ],
    ids=["unix", "unix ms", "zoned", "time of day", "twelve hours"],
)  # fmt: skip
def test_times_are_read_as_the_map_says(tmp_path, time, cell):
    head = MAP[: MAP.index("[time]")]
    wind = MAP[MAP.index("[columns.wind]") : MAP.index("[columns.wind_from]")]
    lines = [f"{cell(s)};10,8" for s in range(120)]
    file, map_file = written(tmp_path, lines, f"{head}[time]\n{time}\n{wind}")
    file.write_text(file.read_text("utf-8").replace(HEADER, "t;Wind"), "utf-8")

    day = 4 if "month-day" in time else 15
    assert datetime(2027, 3, day, 9, 16, 59, tzinfo=UTC) == read_meter(file, map_file).at


# --- what is refused


@pytest.mark.parametrize(
    ("lines", "found"),
    [
        ([], "no row"),
        (list(rows(seconds=20)), "holds 19 s of wind"),
        ([r.replace(";10,8;", ";---;") for r in rows()], "lacks the wind|s of wind"),
        ([r.replace("2027", "----") for r in rows()], "no dates"),
        (["a;b;c;d;e;f;g"] * 50, "no row"),
    ],
)
def test_a_file_without_wind_to_average_is_refused(tmp_path, lines, found):
    with pytest.raises(LogFileError, match=found) as caught:
        read(tmp_path, lines)
    assert caught.value.fix
    assert "meter.csv" == caught.value.where


@pytest.mark.parametrize(
    ("old", "new", "found", "fix"),
    [
        ('header = "Wind"', 'header = "Wnd"', "has no column 'Wnd'", "Did you mean 'Wind'"),
        ("utc_offset_h = 1.0\n", "", "zone that is not known", "utc_offset_h"),
    ],
)
def test_a_map_that_does_not_fit_the_file_is_told(tmp_path, old, new, found, fix):
    with pytest.raises(LogFileError, match=found) as caught:
        read(tmp_path, map_text=MAP.replace(old, new))
    assert fix in caught.value.fix


def test_dates_whose_order_is_unclear_are_refused(tmp_path):
    lines = [row.replace("15.03.2027", "04/03/2027") for row in rows()]
    with pytest.raises(LogFileError, match="the day or the month"):
        read(tmp_path, lines)

    said = MAP.replace("utc_offset_h", 'order = "day-month-year"\nutc_offset_h')
    assert 3 == read(tmp_path, lines, said).at.month


def test_a_unit_in_the_file_that_is_not_the_map_s_is_told(tmp_path):
    lines = [row.replace(";10,8;", ";3,0 m/s;") for row in rows()]
    with pytest.raises(LogFileError, match="'Wind' in m/s, and the map says km/h"):
        read(tmp_path, lines)


def test_thousands_and_decimal_commas_that_can_not_be_told_apart_are_refused(tmp_path):
    def only_grouped():
        for row in rows():
            yield ";".join([*row.split(";")[:2], "10,800", "70", "1009", "17", "60"])

    with pytest.raises(LogFileError, match="thousands or decimal commas"):
        read(tmp_path, only_grouped())
    said = MAP.replace("[file]", '[file]\ndecimal = ","')
    assert "3.00" == read(tmp_path, only_grouped(), said).numbers["wind_mean"]


def test_what_is_no_meter_s_file_is_refused(tmp_path):
    file, map_file = written(tmp_path)
    for path, found in (
        (tmp_path / "none.csv", "can't be read"),
        (tmp_path, "can't be read"),
        (tmp_path / "a\0b", "can't be read"),
    ):
        with pytest.raises(LogFileError, match=found):
            read_meter(path, map_file)
    with file.open("wb") as stream:
        stream.truncate(LARGEST_BYTES + 1)
    with pytest.raises(LogFileError, match="too many"):
        read_meter(file, map_file)


@given(st.binary(max_size=2000))
@settings(
    max_examples=60, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_no_bytes_make_it_fail_otherwise_than_by_saying_why(tmp_path, data):
    file, map_file = written(tmp_path, [])
    file.write_bytes(HEADER.encode() + b"\n" + data)
    with suppress(FlightlogError):
        read_meter(file, map_file)


@given(
    st.lists(st.floats(0, 100), min_size=40, max_size=200),
    st.lists(st.floats(0, 359.9), min_size=200, max_size=200),
)
@settings(
    max_examples=40, deadline=None, suppress_health_check=[HealthCheck.function_scoped_fixture]
)
def test_gust_is_never_below_the_mean_nor_above_the_highest_row(tmp_path, speeds, origins):
    lines = [
        row.replace(";70;", f";{origins[n]:.1f};".replace(".", ","))
        for n, row in enumerate(rows(lambda s: speeds[s], seconds=len(speeds)))
    ]
    numbers = read(tmp_path, lines).numbers

    shown = np.round(np.array(speeds[-120:]), 1) / 3.6
    mean, gust = float(numbers["wind_mean"]), float(numbers["wind_gust"])
    assert mean == pytest.approx(math.ceil(shown.mean() * 100 - 1e-6) / 100, abs=0.0101)
    assert mean <= gust <= shown.max() + 0.0101
    assert 0 <= float(numbers["wind_from"]) < 360


# --- the map


def test_a_map_is_checked_and_gives_its_id(tmp_path):
    _, map_file = written(tmp_path)

    assert "pole-meter" == check_meter_map(map_file)


@pytest.mark.parametrize(
    ("old", "new", "where", "fix"),
    [
        ('unit = "km/h"', 'unit = "kmh"', "[columns.wind] unit", "Write 'km/h'"),
        ('unit = "km/h"', 'unit = "hPa"', "[columns.wind] unit", "m/s"),
        ('unit = "deg"', 'unit = "degr"', "[columns.wind_from] unit", "deg"),
        ("[columns.wind]\n", "[columns.wnd]\n", "wnd", "Did you mean 'wind'"),
        ('[columns.humidity]', '[columns.rain]', "rain", "Known here"),
        ('format = "date and time"', 'format = "seconds"', "[time]", ""),
        ('columns = ["Datum", "Zeit"]\nformat = "date and time"\nutc_offset_h = 1.0',
         'columns = ["Zeit"]\nformat = "milliseconds"', "[time] format", "dated"),
        ('columns = ["Datum", "Zeit"]\nformat = "date and time"',
         'columns = ["Zeit"]\nformat = "time of day"', "[time] format", "with date"),
        ("[file]", '[file]\nencoding = "klingon"', "[file] encoding", "Usual ones"),
        ("[file]", '[file]\ndelimiter = "ab"', "[file] delimiter", "one character|character"),
        ('id = "pole-meter"', 'id = "pole meter"', "id", ""),
        ("flightlog.meter/1", "flightlog.site/1", "schema", "give a meter file"),
    ],
)  # fmt: skip
def test_a_map_at_fault_is_told_with_its_key(tmp_path, old, new, where, fix):
    assert old in MAP
    with pytest.raises(TeamFileError) as caught:
        read(tmp_path, map_text=MAP.replace(old, new))

    assert where in caught.value.where
    assert any(word in caught.value.sentence() for word in fix.split("|"))
