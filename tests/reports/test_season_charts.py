"""Charts of a season hold the flights that have the numbers, and name those that don't."""

from __future__ import annotations

from datetime import timedelta

import pytest

from flightlog.operations.season_table import DENSITY, season_rows
from flightlog.reports.season_charts import DATE, FEWEST, against, course, lacking_lines
from tests.operations.conftest import farm, farm_place
from tests.operations.logs import imported, release
from tests.operations.test_season_table import NINE, OVER, WITH_ROLL, weather

__all__ = ["farm", "farm_place"]  # fixtures

ROLL, MASS = "takeoff.ground_roll", "mass.takeoff"


def figure(value, unit="m"):
    return {"value": value, "unit": unit, "low": value - 1, "high": value + 2, "level": 0.95,
            "method": "made", "sources": ["gps"]}  # fmt: skip


def season(farm, *flights, packs=()):
    for place, (roll, mass) in enumerate(flights):
        figures = {ROLL: figure(roll)} if roll is not None else {}
        figures |= {MASS: figure(mass, "kg")} if mass is not None else {}
        withheld = {} if roll is not None else {ROLL: "the log has no gps data"}
        each = {"figures": figures, "withheld": withheld, "outcomes": [OVER]}
        pack = packs[place] if packs else "pack-a"
        start = NINE + timedelta(days=place)
        imported(farm, start, file=f"{place}.bin", each=each, pack=pack)
    return season_rows(farm.desk)


def test_one_against_the_other_with_the_interval(farm):
    rows = season(farm, (28.0, 8.0), (40.0, 9.0))

    ((line,),) = [panel.lines for panel in against(rows, MASS, ROLL).chart.panels]
    assert [8.0, 9.0] == line.x.tolist()
    assert [28.0, 40.0] == line.y.tolist()
    assert [27.0, 39.0] == line.low.tolist()
    assert [30.0, 42.0] == line.high.tolist()
    assert "points" == line.stroke


def test_flights_that_lack_one_are_named_with_the_reason(farm):
    rows = season(farm, (28.0, 8.0), (None, 8.0), (30.0, None))

    drawn = against(rows, MASS, ROLL)
    assert (rows[0],) == drawn.shown
    lines = lacking_lines(drawn)
    assert "1 of 3 flights have what is drawn here." == lines[0]
    assert f"1 flight lacks Ground roll: the log has no gps data ({rows[1].name})" in lines
    assert any("Take-off mass: its debrief does not have it" in line for line in lines)


def test_each_pack_has_points_of_its_own_and_no_more_than_four_kinds(farm):
    packs = ["pack-a", "pack-b", "pack-c", "pack-d", "pack-e"]
    rows = season(farm, *[(28.0 + k, 8.0) for k in range(5)], packs=packs)

    (panel,) = against(rows, MASS, ROLL, "pack").chart.panels
    assert ["pack-a", "pack-b", "pack-c", "2 others"] == [line.name for line in panel.lines]
    assert 2 == len(panel.lines[-1].x)
    assert 1 == len(against(rows, MASS, ROLL, "aircraft").chart.panels[0].lines)


def test_against_the_date_counts_days_from_the_first(farm):
    rows = season(farm, (28.0, 8.0), (29.0, 8.0), (30.0, 8.0))

    chart = against(rows, DATE, ROLL).chart
    assert [0.0, 1.0, 2.0] == pytest.approx(chart.panels[0].lines[0].x.tolist())
    assert "Days since 2027-03-15 09:00 UTC" == chart.x_label


def test_against_density_where_the_release_cites_weather(farm):
    entry = weather(farm, pressure="1000.0", temperature="20.0", humidity="50")
    release(farm, NINE - timedelta(minutes=10), cites=[entry])
    imported(farm, NINE, each=WITH_ROLL)
    imported(farm, NINE + timedelta(days=1), file="second.bin", each=WITH_ROLL)

    drawn = against(season_rows(farm.desk), DENSITY, ROLL)
    assert 1 == len(drawn.shown)
    assert "kg/m³" == drawn.chart.x_unit


def test_a_course_keeps_the_place_of_each_flight_and_its_limit(farm):
    rows = season(farm, (28.0, 8.0), (None, 8.0), (30.0, 8.0), (31.0, 8.0))

    (panel,) = course(rows, ROLL).chart.panels
    assert [1.0, 3.0, 4.0] == panel.lines[0].x.tolist()
    assert ["at most 20 m (clause 4.2)"] == [bound.name for bound in panel.bounds]


@pytest.mark.parametrize("count", range(FEWEST))
def test_fewer_than_three_are_told_and_not_drawn(farm, count):
    rows = season(farm, *[(28.0, 8.0)] * count)

    chart = course(rows, ROLL).chart
    assert () == chart.panels
    assert "From fewer than three nothing can be seen." in chart.lacking
