"""``flightlog release`` and ``fitness`` as they are typed."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest

from flightlog.reports.cautions import CAUTIONS
from tests.cli.ready import settled
from tests.cli.teams import terminal
from tests.operations.released import ready_place, released_place

__all__ = ["ready_place", "released_place", "terminal"]  # fixtures

PLAN = ("--aircraft", "pannier", "--pack", "pack-a")
CREW = ("--accepted-by", "pilot", "--released-by", "mechanic")
EXPECT = ("release", "expect", "takeoff.ground_roll", "39.0", "--std", "2.0")


@pytest.fixture
def ready(terminal, ready_place):
    return settled(terminal, *ready_place)


@pytest.fixture
def released(terminal, released_place):
    return settled(terminal, *released_place)


def first_line(terminal) -> str:
    return terminal.out.splitlines()[0]


def release_of(terminal) -> str:
    """Name the release, as commands take it."""
    assert terminal.run("release", "state", "--aircraft", "pannier", "--json") in (0, 5)
    return json.loads(terminal.out)["release"]


def test_a_check_says_ready_and_with_what(ready):
    assert 0 == ready.run("release", "check", *PLAN), ready.err
    assert "ready" == first_line(ready)
    assert "rule book club-trial-2027, the only one of the record" in ready.err
    assert "site top-field, the only one" in ready.err
    for caution in CAUTIONS:
        assert caution in ready.out
    assert "Head of the record: " in ready.out


def test_a_check_says_held_with_every_reason_and_what_clears_it(ready, ready_place):
    ready.at(ready_place[1] + timedelta(hours=15))

    assert 5 == ready.run("release", "check", *PLAN)
    assert "held" == first_line(ready)
    lines = ready.out.splitlines()
    for name in ("daily-list", "flight-list", "weather", "limits"):
        at = next(i for i, line in enumerate(lines) if line.startswith(f"  {name}: "))
        assert lines[at + 1].startswith("    To clear: "), name


def test_a_check_for_programs(ready, ready_place):
    assert 0 == ready.run("release", "check", *PLAN, "--json")
    body = json.loads(ready.out)
    assert ("flightlog.release/1", "ready", []) == (body["schema"], body["state"], body["reasons"])
    assert all(c["holds"] for c in body["conditions"])
    ready.at(ready_place[1] + timedelta(minutes=61))
    assert 5 == ready.run("release", "check", *PLAN, "--json")
    body = json.loads(ready.out)

    assert ("held", ["weather"]) == (body["state"], [r["condition"] for r in body["reasons"]])
    assert body["reasons"][0]["clear"]


def test_a_held_day_can_be_written_down(ready, ready_place):
    before = ready.head()
    assert 0 == ready.run("release", "check", *PLAN, "--note")
    assert before == ready.head()
    ready.at(ready_place[1] + timedelta(minutes=61))
    assert 5 == ready.run("release", "check", *PLAN, "--note")
    assert 0 == ready.run("logbook", "show", "--full", "--last", "1")

    assert "Entry: hold (Held)" in ready.out
    assert "condition: weather" in ready.out


def test_the_rule_book_can_be_left_out_by_a_word_and_not_by_silence(ready):
    assert 0 == ready.run("release", "check", *PLAN, "--rules", "none", "--site", "top-field")
    assert "under no rule book" in ready.out
    assert 2 == ready.run("release", "check", *PLAN, "--rules", "club-trial-2028")
    assert "'club-trial-2027'" in ready.err
    assert 2 == ready.run("release", "check", *PLAN, "--rules", " ")


def test_two_persons_sign_each_with_one_passphrase(ready):
    code = ready.signs("release", "sign", *PLAN, *CREW, by=["pilot", "mechanic"])

    assert 0 == code, ready.err
    after = ready.out.split("Signed and added", 1)[1].splitlines()[1:]
    assert "released" == after[0]
    assert any("accepted as pilot by pilot" in line for line in after)
    assert any("released as safety by mechanic" in line for line in after)
    assert 0 == ready.run("release", "state", "--aircraft", "pannier")
    assert "released" == first_line(ready)


def test_nobody_is_asked_for_a_passphrase_where_it_is_held(ready, ready_place):
    ready.at(ready_place[1] + timedelta(minutes=61))

    assert 5 == ready.run("release", "sign", *PLAN, *CREW)
    assert "held" == first_line(ready)


@pytest.mark.parametrize(
    ("crew", "said"),
    [
        (("--accepted-by", "pilot", "--released-by", "pilot"), "one person can't both"),
        (("--accepted-by", "mechanic", "--released-by", "observer"), "the role 'pilot'"),
    ],
)
def test_others_may_not_sign(ready, crew, said):
    assert 5 == ready.run("release", "sign", *PLAN, *crew)
    assert said in ready.err


def test_an_expected_figure_can_hold_it(ready):
    words = (*EXPECT, "--aircraft", "pannier", "--method", "by eye", "--by", "observer")
    assert 0 == ready.signs(*words, by=["observer"]), ready.err
    assert 5 == ready.run("release", "check", *PLAN)

    assert "takeoff-roll: takeoff.ground_roll at most 40 m" in ready.out
    assert "39.0 ± 2.0 m" in ready.out
    assert "0.95 is needed" in ready.out


def test_a_release_is_shown_taken_back_and_no_longer_shown_as_one(released):
    name = release_of(released)
    assert 0 == released.run("release", "state", "--aircraft", "pannier"), released.out
    assert f"Release {name}" in released.out
    words = ("release", "withdraw", name, "--reason", "gusts", "--by", "observer")
    assert 0 == released.signs(*words, by=["observer"]), released.err
    assert 5 == released.run("release", "state", "--aircraft", "pannier")

    assert "held" == first_line(released)
    assert "ended by" in released.out
    assert 5 == released.run(*words)


def test_the_state_for_programs(released, released_place):
    assert 0 == released.run("release", "state", "--aircraft", "pannier", "--json")
    body = json.loads(released.out)
    assert "released" == body["state"]
    assert "pack-a" == body["plan"]["pack"]
    released.at(released_place[1] + timedelta(hours=4))
    assert 5 == released.run("release", "state", "--aircraft", "pannier", "--json")
    body = json.loads(released.out)

    assert ("held", None) == (body["state"], body["plan"])
    assert "ended unspent" in body["reasons"][0]["says"]


def test_the_sheet_is_a_page_with_all_of_it(released, tmp_path):
    name = release_of(released)
    page = tmp_path / "release.html"
    assert 0 == released.run("release", "sheet", name, "--html", str(page)), released.err
    text = page.read_text(encoding="utf-8")

    for said in (name, "pannier, configuration cargo-2", "6.800 kg, 4 units", "flight-list", "m/s"):
        assert said in text
    for who in ("accepted as pilot by pilot", "released as safety by mechanic"):
        assert who in text
    assert released.head().split()[0] in text
    assert 3 == released.run("release", "sheet", name, "--html", str(page))  # nothing written over


CALLED = [
    {"item": "clear", "value": "6"},
    {"item": "position", "value": "11"},
    {"item": "attitude", "result": "pass"},
    {"item": "zeros", "result": "pass"},
    {"item": "voltage", "value": "0.4"},
    {"item": "idle", "value": "0.35"},
    {"item": "fences", "result": "pass"},
    {"item": "last-sense", "result": "pass"},
    {"item": "recording", "result": "pass"},
    {"item": "run-up", "result": "pass"},
    {"item": "go", "result": "pass"},
]


def answers(tmp_path, called):
    path = tmp_path / "calls.jsonl"
    path.write_text("\n".join(json.dumps(one) for one in called), encoding="utf-8")
    return str(path)


def test_calls_are_written_down_as_one_entry(released, tmp_path):
    name = release_of(released)
    words = ("release", "calls", name, "--answers", answers(tmp_path, CALLED), "--by", "observer")

    assert 0 == released.signs(*words, by=["observer"]), released.err
    assert "11 items, all passed" in released.out
    assert 0 == released.run("release", "state", "--aircraft", "pannier")
    assert "11 items, all passed" in released.out


def test_a_failed_call_stands_with_the_flight(released, tmp_path):
    name = release_of(released)
    called = [*CALLED[1:], {"item": "clear", "value": "3"}]
    words = ("release", "calls", name, "--answers", answers(tmp_path, called), "--by", "observer")

    assert 5 == released.signs(*words, by=["observer"])
    assert "clear failed (3 m)" in released.out


@pytest.mark.parametrize(
    ("called", "code", "said"),
    [
        (CALLED[1:], 5, "1 of 11 items have no answer: clear"),
        ([*CALLED, {"item": "gone", "result": "pass"}], 2, "no such item"),
        ([*CALLED, CALLED[0]], 2, "answered twice"),
        ([], 5, "11 of 11 items"),
    ],
)
def test_calls_that_are_not_whole_are_refused(released, tmp_path, called, code, said):
    words = ("--answers", answers(tmp_path, called), "--by", "observer")

    assert code == released.run("release", "calls", release_of(released), *words)
    assert said in released.err


def test_without_a_terminal_calls_come_from_a_file(released, tmp_path):
    name = release_of(released)
    assert 2 == released.run("release", "calls", name, "--by", "observer")
    assert "--answers" in released.err
    bad = tmp_path / "bad.jsonl"
    bad.write_text("{", encoding="utf-8")
    assert 2 == released.run("release", "calls", name, "--by", "observer", "--answers", str(bad))
    assert "is no JSON" in released.err


# --- fitness


def test_the_state_of_a_fitness_statement(ready, ready_place):
    assert 0 == ready.run("fitness", "state", "--aircraft", "pannier")
    assert "holds" == first_line(ready)
    assert "a team record and no certificate" in ready.out
    assert "released as inspector by observer" in ready.out
    ready.at(ready_place[1] + timedelta(days=14))
    assert 5 == ready.run("fitness", "state", "--aircraft", "pannier", "--json")

    assert "expired" == json.loads(ready.out)["state"]


SIGN = ("fitness", "sign", "--aircraft", "pannier", "--work", "wheels changed", "--by", "observer")


@pytest.mark.parametrize("until", ["7", "2027-03-22", "2027-03-22T18:00Z"])
def test_a_fitness_statement_is_signed(ready, until):
    words = (*SIGN, "--until", until, "--hours", "5", "--landings", "20")

    assert 0 == ready.signs(*words, by=["observer"]), ready.err
    assert 0 == ready.run("fitness", "state", "--aircraft", "pannier", "--json")
    body = json.loads(ready.out)
    assert body["until"].startswith("2027-03-22T")
    assert (5.0, 20) == (body["hours_left"], body["landings_left"])


@pytest.mark.parametrize(
    ("more", "code", "said"),
    [
        (("--until", "31"), 2, "too far ahead"),
        (("--until", "99999"), 2, "too far ahead"),
        (("--until", "soon"), 2, "no time in UTC"),
        (("--until", "7", "--hours", "-1"), 2, "more than 0"),
        (("--until", "7", "--configuration", "cargo-1"), 5, "'cargo-1'"),
    ],
)
def test_slips_in_a_fitness_statement_are_told(ready, more, code, said):
    assert code == ready.run(*SIGN, *more)
    assert said in ready.err


def test_an_aircraft_that_is_not_there_is_a_slip(ready):
    for words in (("release", "state"), ("fitness", "state")):
        assert 2 == ready.run(*words, "--aircraft", "panier")
        assert "'pannier'" in ready.err


def test_each_call_is_asked_for_and_asked_again_until_it_is_answered(released, monkeypatch):
    typed = iter(
        [
            *("", "six", "6", "11", "", "yes", "p", "n no time", "f height 3 m"),
            *("0.4", "f", "f 1.4 hot", "p", "p", "p", "p", "p"),
        ]
    )
    monkeypatch.setattr("sys.stdin.isatty", lambda: True, raising=False)
    monkeypatch.setattr("builtins.input", lambda prompt: next(typed))
    words = ("release", "calls", release_of(released), "--by", "observer")

    assert 5 == released.signs(*words, by=["observer"]), released.err
    assert "zeros failed (height 3 m); idle failed (hot)" in released.out
    assert "'six' is not a number" in released.err
    assert "has no answer" in released.err
    assert "applies always" in released.err
    assert [] == list(typed)
