"""``flightlog trends`` as it is typed."""

from __future__ import annotations

import json
import tomllib

import pytest

from tests.cli.ready import settled
from tests.cli.teams import terminal
from tests.operations.conftest import farm_place
from tests.operations.worn import PLAY, RESISTANCE, TRIM, worn_place

__all__ = ["farm_place", "terminal", "worn_place"]  # fixtures


@pytest.fixture
def flown(terminal, worn_place):
    return settled(terminal, *worn_place)


def test_it_names_what_wears_and_lists_the_rest(flown):
    assert 0 == flown.run("trends"), flown.err

    assert "pack pack-a: wearing" in flown.out or "limit" in flown.out
    assert "Elevator: play, pannier: nothing shown" in flown.out


def test_json_is_one_object(flown):
    assert 0 == flown.run("trends", "--pack", "pack-a", "--json"), flown.err

    body = json.loads(flown.out)
    assert "flightlog.trends/1" == body["schema"]
    assert [RESISTANCE] == [one["figure"] for one in body["series"]]
    assert 4 == body["series_looked_at"]


def test_one_figure_is_told_in_full(flown):
    assert 0 == flown.run("trends", "--figure", PLAY), flown.err

    assert "19 flights have it, 1 not" in flown.out
    assert "beyond what was flown" in " ".join(flown.out.split())


def test_the_baseline_is_printed_as_lines_of_the_aircraft_file(flown):
    assert 0 == flown.run("trends", "--baseline"), flown.err

    body = tomllib.loads(flown.out)
    assert {"value", "spread", "unit"} == set(body["baseline"][TRIM])
    assert 0 == flown.run("trends", "--baseline", "--aircraft", "pannier", "--json"), flown.err
    assert TRIM in json.loads(flown.out)["baseline"]


def test_an_unknown_figure_or_thing_is_refused(flown):
    assert 2 == flown.run("trends", "--figure", "battery.resistance_25")
    assert RESISTANCE in flown.err
    assert 2 == flown.run("trends", "--aircraft", "panier")
    assert "pannier" in flown.err
