"""The table of a season in words: what fits, what is left out, and all of it for programs."""

from __future__ import annotations

import csv
import io
import json
import shutil

import pyarrow as pa
import pytest

from flightlog.figures import FIGURES
from flightlog.operations.season_figures import chosen, season_tables
from flightlog.operations.season_kept import META, Tables
from flightlog.reports.season_table_words import (
    season_csv,
    season_json,
    season_table_lines,
    unit_word,
)
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
    assert "Aircraft: pannier" == lines[0]
    assert 3 == sum("09:00" in line for line in lines)


def test_each_number_has_how_far_its_interval_reaches(found):
    lines = season_table_lines(found, found.tables, width=200)

    (first,) = [line for line in lines if "2027-04-02 09:00" in line]
    # 1 + 1/7 = 1.143 is printed as 1.1, with an interval from 1.029 to 1.257: 0.157 away.
    # 2.143 is printed as 2.14, from 1.929 to 2.357: 0.217 away.
    assert "1.1 ±0.2  2.14 ±0.22" in first
    assert "± is the wider side of the 95 % interval" in " ".join(lines)


def test_a_screen_without_the_sign_gets_another_and_no_longer_lines(found):
    lines = season_table_lines(found, found.tables, width=80, sign="+-")

    assert "1.1 +-0.2" in " ".join(lines)
    assert all(line.isascii() for line in lines if "09:00" in line)
    assert max(map(len, lines)) <= 80


def test_figures_that_were_asked_for_have_their_intervals_where_they_fit(found):
    some = chosen(found.tables, figures=[ROLL, MASS])

    def first(width):
        lines = season_table_lines(found, some, [ROLL, MASS], width=width)
        return next(line for line in lines if "2027-04-02 09:00" in line)

    assert "1.1 (1.0 to 1.3)  2.14 (1.93 to 2.36)" in first(80)
    assert "1.1 ±0.2  2.14 ±0.22" in first(66)


def test_an_exact_number_needs_no_uncertainty(found):
    wide = found.tables.flights
    for ending in (".low", ".high"):
        wide = wide.set_column(wide.column_names.index(f"{ROLL}{ending}"), f"{ROLL}{ending}",
                               wide[ROLL])  # fmt: skip
    exact = Tables(wide, lambda: found.tables.figures)

    lines = season_table_lines(found, exact, width=200)

    (first,) = [line for line in lines if "2027-04-02 09:00" in line]
    assert ["pack-b", "1.1", "2.14", "±0.22"] == first.split()[3:7]
    assert "a number without one is exact" in " ".join(" ".join(lines).split())


def test_a_direction_is_never_surer_than_half_a_circle(found):
    wide = found.tables.flights
    for name, value in (("", 350.0), (".low", 100.0), (".high", 500.0)):
        wide = wide.append_column(f"wind.from_deg{name}", [[value] * 3])
    told = dict(wide.schema.metadata)
    about = json.loads(told[META])
    about["figures"].append({"figure": "wind.from_deg", "label": "Wind from", "unit": "deg"})
    wide = wide.replace_schema_metadata({META: json.dumps(about)})
    with_wind = Tables(wide, lambda: found.tables.figures)

    text = "\n".join(season_table_lines(found, with_wind, width=200))

    assert 3 == text.count("350 ±180")


def test_times_of_the_log_s_clock_are_shown_only_when_they_are_asked_for(farm_place, tmp_path):
    shutil.copytree(farm_place[0], tmp_path, dirs_exist_ok=True)
    folder = TeamFolder.read(tmp_path / "team")
    ManyFlights(folder, ("takeoff.start_time", ROLL)).fly((1,))
    found = season_tables(folder, tmp_path / "profile")

    usual = " ".join(" ".join(season_table_lines(found, found.tables, width=200)).split())
    some = chosen(found.tables, figures=["takeoff.start_time"])
    asked = season_table_lines(found, some, ["takeoff.start_time"], width=200)

    assert "Start of roll" not in usual
    assert "Start of" in " ".join(asked)
    assert "3 more figures" in usual  # the start of the roll, one withheld, the density of the air


def test_flights_without_a_time_stand_last_and_are_counted(found):
    wide = found.tables.flights
    starts = wide["start_utc"].to_pylist()
    column = pa.array([starts[0], starts[1], None], wide.schema.field("start_utc").type)
    wide = wide.set_column(wide.column_names.index("start_utc"), "start_utc", column)
    untimed = Tables(wide, lambda: found.tables.figures)

    lines = season_table_lines(found, untimed)

    assert "1 flight has no known time and comes last." in " ".join(lines)
    assert not any("not known" in line for line in lines[:6])


@pytest.mark.parametrize("width", [50, 66, 80, 120])  # the last has room for all that is there
def test_no_line_is_longer_and_what_is_left_out_is_counted(found, width):
    lines = season_table_lines(found, found.tables, width=width)

    (first,) = [line for line in lines if "2027-04-02 09:00" in line]
    shown = first.count("±")
    text = " ".join(" ".join(lines).split())
    assert max(map(len, lines)) <= width
    assert f"{len(MANY) + 2 - shown} more figures" in text  # one withheld, the density of the air
    assert "why a figure is withheld" in text
    assert "3 flights" in text


def test_figures_that_were_asked_for_come_first(found):
    some = chosen(found.tables, figures=[ENERGY, ROLL])

    lines = season_table_lines(found, some, [ENERGY, ROLL], width=80)

    (first,) = [line for line in lines if "2027-04-02 09:00" in line]
    assert first.endswith("3.14 (2.83 to 3.46)  1.1 (1.0 to 1.3)")
    assert "more figure" not in " ".join(lines)


def test_what_is_withheld_is_a_dash_and_not_a_zero(found):
    lines = season_table_lines(found, chosen(found.tables, figures=[WITHHELD]), [WITHHELD])

    assert [line.split()[-1] for line in lines if "09:00" in line] == ["-", "-", "-"]


def test_what_no_flight_has_takes_no_room(found):
    text = "\n".join(season_table_lines(found, found.tables, width=200))

    assert "Density" not in text
    assert "2 more figures" in " ".join(text.split())


def test_without_flights_it_says_so(found):
    none = chosen(found.tables, aircraft="pannier", pack="pack-a")
    empty = type(none)(none.flights.slice(0, 0), lambda: none.figures.slice(0, 0))

    assert "The record has no such flight." == season_table_lines(found, empty)[0]


def test_csv_holds_all_with_units_and_without_noise(found):
    rows = list(csv.DictReader(io.StringIO(season_csv(found.tables.flights))))

    # 1 + n/7, and 0.9 and 1.1 of the first one, to 12 digits.
    roll = [row[f"{ROLL}_m"] for row in rows]
    assert ["1.14285714286", "1.28571428571", "1.42857142857"] == roll
    assert "1.02857142857" == rows[0][f"{ROLL}.low_m"]
    assert "1.25714285714" == rows[0][f"{ROLL}.high_m"]
    assert {"climb.best_rate_m_s", "energy.used_wh", "flown_s"} <= rows[0].keys()
    assert ["2027-04-02T09:00:00Z", ""] == [rows[0]["start_utc"], rows[0][f"{WITHHELD}_m_s"]]
    assert ["true"] * 3 == [row["whole"] for row in rows]
    long = list(csv.DictReader(io.StringIO(season_csv(found.tables.figures))))
    assert 3 * (len(MANY) + 2) == len(long)
    assert [WHY] * 3 == [row["withheld"] for row in long if row["figure"] == WITHHELD]
    first = long[0]
    assert ["2027-04-02T09:00:00Z", "pannier", "pack-b"] == [
        first[name] for name in ("start_utc", "aircraft", "pack")
    ]
    assert (rows[0]["sortie"], "m", "1.14285714286") == tuple(
        next(row for row in long if row["figure"] == ROLL)[name]
        for name in ("sortie", "unit", "value")
    )


@pytest.mark.parametrize(
    ("unit", "word"),
    [("m", "m"), ("m/s²", "m_s2"), ("Wh/km", "wh_km"), ("1/s", "per_s"), ("%", "pct"),
     ("°C", "c"), ("kg/m³", "kg_m3"), ("deg/s", "deg_s")],
)  # fmt: skip
def test_a_unit_ends_the_name_of_a_column(unit, word):
    assert word == unit_word(unit)


def test_no_two_figures_share_the_name_of_a_column():
    kinds = [*FIGURES.values(), *FIGURES.families.values()]
    assert len(kinds) == len({f"{k.id}_{unit_word(k.unit)}" for k in kinds})
    assert all(unit_word(k.unit).isidentifier() for k in kinds if k.unit)


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
    assert first["whole"] is True
    assert set(MANY) == set(first["figures"])
