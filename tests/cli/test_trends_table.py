"""``flightlog trends --table`` as it is typed."""

from __future__ import annotations

import csv
import json
import shutil

import pyarrow.parquet as pq
import pytest

from tests.cli.ready import settled
from tests.cli.teams import terminal
from tests.operations.conftest import farm_place
from tests.operations.worn import PLAY, SINK, season, worn_place

__all__ = ["farm_place", "terminal", "worn_place"]  # fixtures


@pytest.fixture
def flown(terminal, worn_place):
    return settled(terminal, *worn_place)


def test_all_flights_are_listed_and_again_from_what_was_kept(flown):
    assert 0 == flown.run("trends", "--table"), flown.err
    first = flown.out
    assert 0 == flown.run("trends", "--table"), flown.err

    assert "Aircraft: pannier, pack: pack-a" == first.splitlines()[0]
    assert 20 == sum("09:00" in line for line in first.splitlines())
    assert "Made now" in first
    assert "not now" in " ".join(flown.out.split())
    assert first.splitlines()[:24] == flown.out.splitlines()[:24]


def test_several_figures_are_chosen_and_the_answer_is_json(flown):
    code = flown.run("trends", "--table", "--figure", PLAY, "--figure", SINK, "--json")

    assert 0 == code, flown.err
    body = json.loads(flown.out)
    assert "flightlog.season/1" == body["schema"]
    assert {PLAY, SINK} == set(body["figures"])
    expected = [figures[SINK] for figures in season()]
    assert expected == [flight["figures"][SINK]["value"] for flight in body["flights"]]
    assert 19 == sum(PLAY in flight["figures"] for flight in body["flights"])


def test_files_hold_all_and_are_never_written_over(flown):
    place, other, long = (flown.root / name for name in ("a.csv", "a.parquet", "long.csv"))
    assert 0 == flown.run("trends", "--table", "--csv", str(place), "--parquet", str(other))
    assert 0 == flown.run("trends", "--table", "--long", "--csv", str(long))

    expected = [figures[SINK] for figures in season()]
    with place.open(encoding="utf-8", newline="") as file:
        found = [float(row[f"{SINK}_m_s"]) for row in csv.DictReader(file)]
    assert expected == pytest.approx(found, rel=1e-11)
    assert expected == pq.read_table(other)[SINK].to_pylist()
    with long.open(encoding="utf-8", newline="") as file:
        rows = list(csv.DictReader(file))
    assert {("pannier", "m/s", "true")} == {
        (row["aircraft"], row["unit"], row["whole"]) for row in rows if row["figure"] == SINK
    }
    assert any(row["withheld"] for row in rows)
    before = place.read_bytes()
    assert 3 == flown.run("trends", "--table", "--csv", str(place))
    assert "can't be written" in flown.err
    assert before == place.read_bytes()
    assert 3 == flown.run("trends", "--table", "--csv", str(flown.root / "nodir" / "a.csv"))
    assert f"there is no folder {flown.root / 'nodir'}" in flown.err


@pytest.mark.parametrize(
    "words",
    [
        ("--csv", "a.csv"),
        ("--parquet", "a.parquet"),
        ("--long",),
        ("--figure", PLAY, "--figure", SINK),
        ("--table", "--baseline"),
        ("--table", "--long"),
        ("--table", "--json", "--csv", "a.csv"),
        ("--table", "--aircraft", "panier"),
        ("--table", "--pack", "pack-q"),
        ("--table", "--figure", "landing.sink"),
    ],
)
def test_what_does_not_go_together_or_is_not_known_is_refused(flown, words):
    assert 2 == flown.run("trends", *words)
    assert flown.err.startswith("flightlog: ")


def test_a_folder_that_can_not_keep_it_answers(flown):
    assert 0 == flown.run("trends", "--table"), flown.err
    shutil.rmtree(flown.team / "tables")
    (flown.team / "tables").write_text("in the way", encoding="utf-8")

    assert 0 == flown.run("trends", "--table"), flown.err
    assert "not kept" in " ".join(flown.out.split())
