from __future__ import annotations

import json
from datetime import UTC, datetime

import pytest

from tests.cli.hangars import SAMPLES, entry_added, equipped
from tests.cli.teams import terminal

__all__ = ["terminal"]  # a fixture

DAY = datetime(2027, 3, 15, 9, 40, tzinfo=UTC)
ENTER = ("sortie", "enter", "--aircraft", "pannier", "--pack", "pack-a", "--minutes", "4",
         "--landings", "1", "--by", "pilot")  # fmt: skip


@pytest.fixture
def team(terminal):
    terminal.at(DAY)
    equipped(terminal, "aircraft/pannier.toml", "packs/pack-a.toml")
    return terminal


def listed(team):
    assert 0 == team.run("sortie", "list", "--json"), team.err
    return json.loads(team.out)["sorties"]


def test_a_day_with_a_flight_by_hand_and_its_log_afterwards(team):
    assert 0 == team.run("sortie", "list")
    assert "No flight is in the record" in team.out

    assert 0 == team.signs(*ENTER, "--start", "2027-03-15T09:15Z", by=["pilot"]), team.err
    assert "FLOWN WITHOUT A RELEASE" in team.out
    hand = entry_added(team)

    assert 0 == team.run("import", str(SAMPLES / "calm.bin")), team.err
    (flight,) = listed(team)
    assert hand != flight["sortie"]
    assert ("log", "pack-a") == (flight["source"], flight["pack"])

    words = ("takeoff.ground_roll", "28.4", "m", "--method", "tape", "--std", "0.2")
    code = team.signs("sortie", "measured", "2027-03-15", *words, "--by", "mechanic",
                      by=["mechanic"])  # fmt: skip
    assert 0 == code, team.err
    assert "the intervals agree" in " ".join(team.out.split())

    why = ("--reason", "a test of the engine", "--by", "pilot")
    code = team.signs("sortie", "pair", hand, "--without-release", *why, by=["pilot"])
    assert 0 == code, team.err
    assert 0 == team.run("sortie", "show", "2027-03-15"), team.err
    said = " ".join(team.out.split())
    assert "stated by a person: a test of the engine" in said
    assert "takeoff.ground_roll: 28.4 m (1 sigma 0.2) by tape" in said
    assert 0 == team.run("sortie", "show", flight["sortie"], "--json")
    body = json.loads(team.out)
    assert ("flightlog.sortie/1", True) == (body["schema"], body["measurements"][0]["agree"])


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        ((*ENTER, "--start", "2027-03-15"), 2, "no time of a day"),
        ((*ENTER, "--start", "9 o'clock T"), 2, "no time in UTC"),
        ((*ENTER, "--start", "2027-03-15T19:15Z"), 2, "still to come"),
        (("sortie", "show", "2027-03-15"), 2, "no flight of this day"),
        (("sortie", "show", "9.ZZZZZ"), 5, "no such entry"),
        (("sortie", "list", "--aircraft", "drover"), 2, "no aircraft file"),
    ],
)
def test_what_is_typed_wrong_is_told(team, words, code, said):
    assert code == team.run(*words)
    assert said in team.err
