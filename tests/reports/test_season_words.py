"""The table and the sums of a season in words."""

from __future__ import annotations

import csv
import io
from datetime import timedelta

from flightlog.operations.season_table import DENSITY, season_rows, sums_of
from flightlog.operations.upkeep import due
from flightlog.reports.season_words import (
    HEAD,
    MEASURES,
    contradiction_rows,
    due_rows,
    in_order,
    measures_of,
    outcomes_word,
    season_csv,
    season_texts,
    sums_tiles,
)
from tests.operations.conftest import farm, farm_place
from tests.operations.flown import flown
from tests.operations.logs import imported, release
from tests.operations.test_season_table import NINE, OVER, WITH_ROLL
from tests.operations.worn import PLAY, worn_farm, worn_place

__all__ = ["farm", "farm_place", "worn_farm", "worn_place"]  # fixtures


def roll(value):
    figure = {**WITH_ROLL["figures"]["takeoff.ground_roll"], "value": value}
    return {"figures": {"takeoff.ground_roll": figure | {"low": value - 1, "high": value + 1}}}


def cell(row, head):
    return season_texts(row)[HEAD.index(head)]


def test_a_flight_in_cells(farm):
    signed = release(farm, NINE - timedelta(minutes=10))
    imported(farm, NINE, each=WITH_ROLL)

    (row,) = season_rows(farm.desk)
    assert "2027-03-15 09:00" == cell(row, "Date UTC")
    assert ("28.9", "27.8 to 30.1") == (cell(row, "Roll m"), cell(row, "Roll m, 95 %"))
    assert "4.0" == cell(row, "Minutes")  # 240 s
    assert cell(row, "Release").startswith(f"{signed.body.number}.")
    assert "✕ not met: takeoff-roll" == cell(row, "Outcomes")
    assert "" == cell(row, "Contradictions")


def test_what_counts_is_not_cut_off_on_a_narrow_screen():
    assert {"Release", "Outcomes"} <= set(HEAD[:4])


def test_the_worst_outcome_comes_first_and_what_is_met_is_counted(farm):
    words = ("met", "not shown", "met", "not met")
    outcomes = [OVER | {"outcome": word, "limit": f"l-{k}"} for k, word in enumerate(words)]
    imported(farm, NINE, each={"outcomes": outcomes})

    (row,) = season_rows(farm.desk)
    assert "✕ not met: l-3; ◐ not shown: l-1; ● met: 2" == outcomes_word(row.verdicts)


def test_a_flight_without_a_release_says_so_loudly(farm):
    imported(farm, NINE)

    (row,) = season_rows(farm.desk)
    assert "FLOWN WITHOUT A RELEASE" == cell(row, "Release")
    assert "1: without-release" == cell(row, "Contradictions")
    assert ["without-release"] == [word for _, word, _ in contradiction_rows([row])]


def test_numbers_are_sorted_as_numbers_and_what_is_missing_comes_last(farm):
    for place, value in enumerate((100.0, 9.0, None, 20.0)):
        each = roll(value) if value is not None else {"figures": {}}
        start = NINE + timedelta(days=place)
        imported(farm, start, file=f"{place}.bin", each=each)

    rows = season_rows(farm.desk)
    assert [1, 3, 0, 2] == [rows.index(row) for row in in_order(rows, "Roll m", False)]
    assert [0, 3, 1, 2] == [rows.index(row) for row in in_order(rows, "Roll m", True)]


def test_no_cell_of_the_download_is_computed(farm):
    (flight,) = imported(farm, NINE, aircraft=None)
    content = {"aircraft": "pannier", "pack": "pack-a", "reason": "=1+1"}
    farm.add("pairing", content, ("pilot", "stated"), cites=[flight.entry])

    head, row = csv.reader(io.StringIO(season_csv(season_rows(farm.desk))))
    assert list(HEAD) == head
    assert not any(text.startswith(("=", "+", "@", "\t")) for text in row)


def test_the_sums_say_what_they_rest_on(farm):
    flown(farm, 1800, source="hand")
    flown(farm, None, source="hand")

    flights, hours, landings, *_ = sums_tiles(sums_of(season_rows(farm.desk)), due(farm.desk))
    assert ("2", "flights") == flights[:2]
    assert "at least 0.50" == hours[0]
    assert "2" == landings[0]


def test_what_is_due_comes_with_the_rest_counted(farm):
    every = due(farm.desk)
    near = [item for item in every if item.state != "later"]
    assert len(near) > 1

    rows = due_rows(every, 1)
    assert near[0].state == rows[0][0]
    assert f"and {len(near) - 1} more" == rows[1][1]


def test_the_figures_of_each_surface_can_be_drawn(worn_farm):
    rows = season_rows(worn_farm.desk)
    ids = measures_of(rows)

    assert PLAY in ids
    assert MEASURES[PLAY].title == "Elevator: play [deg]"
    assert ids[-1] == DENSITY
    assert len(ids) == len(set(ids))
    assert rows[0].figures[PLAY].value > 0
