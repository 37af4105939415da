"""The table of a season in words: what fits, what is left out, and all of it for programs."""

from __future__ import annotations

import csv
import io
import json
import shutil

import pytest

from flightlog.figures import FIGURES
from flightlog.operations.season_figures import chosen, season_tables
from flightlog.reports.season_table_words import season_csv, season_json, season_table_lines
from flightlog.team.folder import TeamFolder
from tests.operations.conftest import farm_place
from tests.operations.many_flights import FIRST, WHY, WITHHELD, ManyFlights, value_of

__all__ = ["farm_place"]  # fixtures
ROLL, MASS, ENERGY = "takeoff.ground_roll", "mass.takeoff", "energy.used"
MANY = (ROLL, MASS, ENERGY, "climb.best_rate", "energy.per_lap", "landing.sink_rate")


@pytest.fixture(scope="module")
def found(farm_place, tmp_path_factory):
    """Tables of three flights that have six figures each."""
    root = tmp_path_factory.mktemp("words")
    shutil.copytree(farm_place[0], root, dirs_exist_ok=True)
    folder = TeamFolder.read(root / "team")
    ManyFlights(folder, MANY).fly((1, 2, 3))
    return season_tables(folder, root / "profile")


def test_each_flight_is_a_line_with_the_figures_rounded(found):
    lines = season_table_lines(found, found.tables, width=200)

    (first,) = [line for line in lines if "2027-04-02 09:00" in line]
    for place, figure in enumerate(MANY):
        assert f"{value_of(1, place):.{FIGURES[figure].decimals}f}" in first.split()
    assert 3 == sum("pannier" in line for line in lines)


@pytest.mark.parametrize("width", [50, 66, 80, 120])  # the last has room for all that is there
def test_no_line_is_longer_and_what_is_left_out_is_counted(found, width):
    lines = season_table_lines(found, found.tables, width=width)

    (first,) = [line for line in lines if "2027-04-02 09:00" in line]
    shown = len(first.split()) - 5  # sortie, day, time, aircraft, pack
    text = " ".join(lines)
    assert max(map(len, lines)) <= width
    assert f"{len(MANY) + 2 - shown} more figures" in text  # one withheld, the density of the air
    assert "95 % intervals" in text
    assert "3 flights" in text


def test_figures_that_were_asked_for_come_first(found):
    some = chosen(found.tables, figures=[ENERGY, ROLL])

    lines = season_table_lines(found, some, [ENERGY, ROLL], width=80)

    (first,) = [line for line in lines if "2027-04-02 09:00" in line]
    assert [f"{value_of(1, 2):.2f}", f"{value_of(1, 0):.1f}"] == first.split()[-2:]
    assert "more figure" not in " ".join(lines)


def test_what_is_withheld_is_a_dash_and_not_a_zero(found):
    lines = season_table_lines(found, chosen(found.tables, figures=[WITHHELD]), [WITHHELD])

    assert [line.split()[-1] for line in lines if "pannier" in line] == ["-", "-", "-"]


def test_what_no_flight_has_takes_no_room(found):
    text = "\n".join(season_table_lines(found, found.tables, width=200))

    assert "Density" not in text
    assert "2 more figures" in " ".join(text.split())


def test_without_flights_it_says_so(found):
    none = chosen(found.tables, aircraft="pannier", pack="pack-a")
    empty = type(none)(none.flights.slice(0, 0), lambda: none.figures.slice(0, 0))

    assert "The record has no such flight." == season_table_lines(found, empty)[0]


def test_csv_holds_all_in_full(found):
    rows = list(csv.DictReader(io.StringIO(season_csv(found.tables.flights))))

    assert [repr(value_of(n, 0)) for n in (1, 2, 3)] == [row[ROLL] for row in rows]
    assert 0.9 * value_of(1, 0) == float(rows[0][f"{ROLL}.low"])
    assert ["2027-04-02T09:00:00Z", ""] == [rows[0]["start_utc"], rows[0][WITHHELD]]
    long = list(csv.DictReader(io.StringIO(season_csv(found.tables.figures))))
    assert 3 * (len(MANY) + 2) == len(long)
    assert [WHY] * 3 == [row["withheld"] for row in long if row["figure"] == WITHHELD]


def test_json_holds_numbers_and_reasons(found):
    body = json.loads(json.dumps(season_json(found, found.tables), allow_nan=False))

    assert "flightlog.season/1" == body["schema"]
    assert "Made now" in body["checked"]
    assert {"label": "Ground roll", "unit": "m"} == body["figures"][ROLL]
    first = body["flights"][0]
    assert FIRST.strftime("%H:%M") in first["start_utc"]
    assert {"value": value_of(1, 0), "low": 0.9 * value_of(1, 0), "high": 1.1 * value_of(1, 0)} == (
        first["figures"][ROLL]
    )
    assert WHY == first["withheld"][WITHHELD]
    assert first["configuration"] is None
    assert set(MANY) == set(first["figures"])
