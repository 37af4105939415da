"""``flightlog load`` as it is typed."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import timedelta

import pytest

from flightlog.logbook.entry import Entry
from flightlog.operations.load_today import load_answer
from flightlog.operations.positions import named
from flightlog.reports.load_today_lines import load_lines
from tests.cli.ready import settled
from tests.cli.teams import Terminal, terminal
from tests.operations.conftest import farm_place
from tests.operations.logs import release
from tests.operations.released import copied, keep, wind
from tests.operations.takeoff_days import PLAN, season_place

__all__ = ["farm_place", "season_place", "terminal"]  # fixtures

LOAD = ("load", "--aircraft", "pannier", "--pack", "pack-a")


@pytest.fixture
def flown(terminal, season_place):
    return settled(terminal, *season_place)


def test_it_says_how_much_and_in_which_weather(flown):
    assert 0 == flown.run(*LOAD), flown.err

    assert flown.out.startswith("Load ")
    assert "headwind +2.0 m/s" in flown.out
    assert "rule book club-trial-2027, the only one of the record" in flown.err
    assert "energy: not assessable" in flown.out


def test_json_is_one_object(flown):
    words = ("--laps", "4", "--entered", "field_best=40", "--most-units", "6", "--json")
    assert 0 == flown.run(*LOAD, *words), flown.err

    body = json.loads(flown.out)
    assert "flightlog.load/1" == body["schema"]
    assert 6 == body["most"] == body["choices"][-1]["units"]
    assert body["choices"][-1]["score"]["expected"] > 0


def test_a_number_that_is_withheld_is_no_failure(flown, season_place):
    flown.at(season_place[1] + timedelta(hours=2))

    assert 0 == flown.run(*LOAD), flown.err
    assert flown.out.startswith("No number is given: weather ")
    assert 0 == flown.run(*LOAD, "--json"), flown.err
    assert json.loads(flown.out)["most"] is None


@dataclass(frozen=True)
class Released:
    """A terminal nine days after a release, which, and what was answered before it."""

    terminal: Terminal
    entry: Entry
    then: str

    def run(self, *words: str) -> str:
        assert 0 == self.terminal.run(*LOAD, *words), self.terminal.err
        return self.terminal.out


@pytest.fixture
def released(terminal, tmp_path, season_place):
    """After the release the wind was measured anew, as another one."""
    farm = copied(season_place[0], tmp_path / "then", season_place[1])
    then = load_lines(load_answer(farm.desk, PLAN))
    measured = farm.desk.ledger.last("weather")
    entry = release(farm, season_place[1] + timedelta(minutes=10), cites=[measured])
    farm.clock.now += timedelta(minutes=40)
    wind(farm, wind_mean="4.0", wind_gust="5.2")
    now = keep(farm, tmp_path / "kept")
    farm.close()
    at_desk = settled(terminal, tmp_path / "kept", now + timedelta(days=9))
    return Released(at_desk, entry, "\n".join(then))


def test_as_of_an_entry_it_is_what_its_makers_were_answered(released):
    first, _, rest = released.run("--as-of", named(released.entry)).partition("\n\n")
    assert first.replace("\n", " ") == (
        f"AS IT WAS to those who made the release {named(released.entry)}, at 2027-03-24 08:12 UTC "
        "by their clock; nothing to load by now."
    )
    assert "Load " == rest[:5]
    assert released.then == rest.rstrip()

    # Now the weather is another one, and old.
    now = released.run()
    assert now.startswith("No number is given: weather ")
    assert "headwind +4.0 m/s" in now


def test_json_says_as_of_which_entry(released):
    as_of = ("--as-of", named(released.entry), "--json")
    body = json.loads(released.run(*as_of))
    said = {
        "entry": named(released.entry),
        "hash": released.entry.hash,
        "kind": "release",
        "time": "2027-03-24T08:12:00Z",
    }
    assert said == body["as_of"]
    assert body["most"] > 0

    assert said == json.loads(released.run("--site", "none", *as_of))["as_of"]
    assert json.loads(released.run("--json"))["as_of"] is None


def test_what_is_withheld_says_as_of_which_entry_too(released):
    said = released.run("--site", "none", "--as-of", named(released.entry))
    assert said.startswith("AS IT WAS to those who made the release ")
    assert "no site is chosen" in said


def test_as_of_nothing_in_the_record_is_refused(flown):
    assert 5 == flown.run(*LOAD, "--as-of", "9999.ABCDE")
    assert "there is no such entry" in flown.err


def test_nothing_at_all_is_said_with_what_to_do(flown):
    assert 0 == flown.run(*LOAD, "--site", "none"), flown.err
    assert "no site is chosen. Choose a site" in " ".join(flown.out.split())

    assert 0 == flown.run(*LOAD, "--site", "none", "--json"), flown.err
    assert "no site is chosen" in json.loads(flown.out)["withheld"]


@pytest.mark.parametrize(
    ("words", "says"),
    [
        (("--pack-voltage", "4.1"), "can't be the rest voltage"),
        (("--entered", "field_best"), "give a name and a number"),
        (("--entered", "field_beast=4"), "It asks for field_best."),
        (("--laps", "0"), "'--laps'"),
        (("--rules", "other-trial"), "the record holds no rules file of this id"),
    ],
)
def test_what_cannot_be_meant_is_refused(flown, words, says):
    assert 2 == flown.run(*LOAD, *words)
    assert says in flown.err
