"""Figures of ground tests over time: grouped by test and part, drawn with their intervals."""

from __future__ import annotations

import pytest

from flightlog.operations.ground_history import ground_history
from flightlog.reports.ground_series import first_looked_at, grouped, series_chart, series_rows
from tests.operations.conftest import farm, farm_place
from tests.operations.test_ground_entry import LEFT, enter, ring

__all__ = ["farm", "farm_place"]  # fixtures

FREQUENCY = "ringdown.first.frequency"


def test_series_of_one_part_stand_together_and_the_frequency_is_looked_at_first(farm, tmp_path):
    enter(farm, ring(tmp_path))
    enter(farm, ring(tmp_path, 6.4, subject=LEFT.replace("left", "right"), name="b"))

    groups = grouped(ground_history(farm.desk))

    assert ["left wing tip", "right wing tip"] == [title.split(", ")[2] for title, _ in groups]
    for _, group in groups:
        assert FREQUENCY == group[first_looked_at(group)].figure
        assert {"1"} == {row[1] for row in series_rows(group)}


def test_two_tests_are_drawn_by_their_days_with_intervals_beside_the_level_of_the_first(
    farm, tmp_path
):
    enter(farm, ring(tmp_path, 6.52, std=0.01))
    farm.clock.later(days=3, minutes=-1)
    enter(farm, ring(tmp_path, 6.41, std=0.02, name="b"))
    (series,) = ground_history(farm.desk, {}, FREQUENCY)

    chart = series_chart(series)

    tests, level = chart.panels[0].lines
    assert "Days since the first test, 2027-03-15" == chart.x_label
    assert pytest.approx([0.0, 3.0], abs=1e-3) == list(tests.x)
    assert pytest.approx([6.52, 6.41]) == list(tests.y)
    # 1.96 standard uncertainties on each side
    assert pytest.approx([6.52 - 0.0196, 6.41 - 0.0392], abs=1e-4) == list(tests.low)
    assert pytest.approx([6.52, 6.52]) == list(level.y)


@pytest.mark.parametrize(
    ("later", "unit", "across"),
    [({"minutes": 9}, "Minutes", 10.0), ({"hours": 5, "minutes": -1}, "Hours", 5.0)],
)
def test_tests_of_one_day_are_told_apart(farm, tmp_path, later, unit, across):
    enter(farm, ring(tmp_path))
    farm.clock.later(**later)
    enter(farm, ring(tmp_path, 6.41, name="b"))
    (series,) = ground_history(farm.desk, {}, FREQUENCY)

    chart = series_chart(series)

    assert chart.x_label.startswith(f"{unit} since")
    assert pytest.approx(across) == chart.panels[0].lines[0].x[-1]


def test_one_test_has_nothing_to_draw(farm, tmp_path):
    enter(farm, ring(tmp_path))
    (series,) = ground_history(farm.desk, {}, FREQUENCY)

    assert "One test only" in series_chart(series).lacking
