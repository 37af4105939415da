"""Weather in words: measured, on the runway, beside the aircraft's limits; signed or not yet."""

from __future__ import annotations

from flightlog.operations.weather import weather_draft
from flightlog.reports.weather_words import (
    air_line,
    head_line,
    limit_rows,
    measured_lines,
    runway_line,
    runway_of,
    weather_lines,
    wind_rows,
)
from tests.logbook.made import public_of
from tests.operations.conftest import farm, farm_place  # noqa: F401
from tests.operations.released import WIND, wind


def draft(**numbers):
    return weather_draft("top-field", "WM-1", {**WIND, **numbers}, public_of("observer"))


def test_a_draft_says_the_same_as_the_entry_that_it_becomes(farm):  # noqa: F811
    entry = wind(farm)
    heading = runway_of(farm.desk, "top-field")

    assert measured_lines(draft()) == measured_lines(entry)
    assert wind_rows(draft(), heading) == wind_rows(entry, heading)
    assert air_line(draft()) == air_line(entry)


def test_wind_from_behind_is_a_tailwind_and_has_its_side():
    assert "headwind" == wind_rows(draft(wind_from="68"), 68.0)[0][0]
    assert ("tailwind", "3.3", "4.6") == wind_rows(draft(wind_from="248"), 68.0)[0]
    assert ("crosswind from the right", "3.3", "4.6") == wind_rows(draft(wind_from="158"), 68.0)[1]
    assert ("crosswind from the left", "3.3", "4.6") == wind_rows(draft(wind_from="338"), 68.0)[1]


def test_without_a_runway_the_whole_wind_is_crosswind():
    assert [("whole wind as crosswind", "3.3", "4.6")] == wind_rows(draft(), None)
    assert "whole wind counts as crosswind" in runway_line(draft(), None)


def test_only_limits_that_the_file_sets_are_told(farm):  # noqa: F811
    heading = runway_of(farm.desk, "top-field")

    rows = limit_rows(farm.desk, "pannier", draft(wind_mean="9", wind_gust="9.5"), heading)

    assert 6 == len(rows)
    assert [False] == [row.holds for row in rows if row.name == "mean wind"]


def test_an_age_is_told_exactly_or_in_whole_minutes(farm):  # noqa: F811
    entry = wind(farm)
    farm.clock.later(seconds=130)
    farm.desk.refresh()

    assert "2 min 10 s ago" in head_line(farm.desk, entry)
    assert "2 min ago" in head_line(farm.desk, entry, minutes=True)
    farm.clock.later(hours=2)
    farm.desk.refresh()
    assert any("TOO OLD" in line for line in weather_lines(farm.desk, entry))
