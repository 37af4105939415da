"""Check lists at the command line: walked by hand, printed, entered from paper."""

from __future__ import annotations

import json
from datetime import timedelta

import pytest

from tests.cli.teams import passphrase_of, terminal
from tests.cli.test_flying_day import MECHANIC, PILOT, TAKEOFF
from tests.operations.made import FILES
from tests.operations.test_photos import PHOTOS, SECRET

__all__ = ["terminal"]  # a fixture

HOSTILE = '<img src=x onerror="alert(1)">'


@pytest.fixture
def team(terminal):
    """Two persons, aircraft, packs and lists in force."""
    terminal.at(TAKEOFF)
    crew = ("--person", "pilot", "--roles", PILOT, "--person", "mechanic", "--roles", MECHANIC)
    two = [passphrase_of("pilot"), passphrase_of("mechanic")]
    assert 0 == terminal.run(
        "team", "new", str(terminal.team), "--name", HOSTILE, *crew, types=[*two, *two]
    )
    for name in ("aircraft", "pack"):
        for (kind, id_), source in FILES.items():
            if kind == name:
                folder = "aircraft" if kind == "aircraft" else "packs"
                (terminal.team / folder / f"{id_}.toml").write_bytes(source.read_bytes())
    files = ["aircraft/pannier.toml", "packs/pack-a.toml", "checklists/daily.toml"]
    files += ["checklists/pre-flight.toml", "checklists/after-hard-landing.toml"]
    code = terminal.signs(
        "team", "enter", *files, "--by", "pilot", "--by", "mechanic", by=["pilot", "mechanic"]
    )
    assert 0 == code, terminal.err
    return terminal


@pytest.fixture
def typed(monkeypatch):
    """What a person types at the items."""
    texts: list[str] = []
    monkeypatch.setattr("sys.stdin.isatty", lambda: True)
    monkeypatch.setattr("builtins.input", lambda prompt: texts.pop(0))
    return texts


def walk(team, *more, by=("mechanic",), list_id="daily"):
    words = [word for name in by for word in ("--by", name)]
    return team.signs("checks", "walk", list_id, "--aircraft", "pannier", *words, *more, by=by)


def test_new_folders_hold_the_lists_as_working_copies(team):
    assert 0 == team.run("team", "files")
    assert "checklist  calls                not entered" in team.out
    assert "checklist  daily                in force" in team.out


def test_an_empty_line_is_no_answer(team, typed):
    typed += ["", "yes", "p", "q"]
    assert 5 == walk(team)

    assert [] == typed
    assert 2 == team.err.count("p, f REASON")
    assert "structure: pass" in team.out
    assert 1 == team.out.count("performed as mechanic")


def test_a_list_is_gone_on_with_where_it_was_left(team, typed):
    typed += ["p", "q"]
    assert 5 == walk(team)
    typed += ["p", "p", "p", "p", "p"]
    assert 5 == walk(team)
    assert "3 to do" in team.out
    typed += ["p", "p", "p"]
    assert 0 == walk(team, by=("pilot",))
    assert "complete" in team.out

    assert 0 == team.run("logbook", "show", "--last", "40")
    assert 1 == team.out.count("list-begun")


def test_a_fail_says_why_and_the_list_is_not_done(team, typed):
    typed += ["f a crack at the root", "q"]
    assert 5 == walk(team)
    assert 0 == team.run("checks", "show", "daily", "--aircraft", "pannier")

    assert "structure                failed: a crack at the root" in team.out


def test_skipped_items_stay_open(team, typed):
    typed += ["s", "s", "s", "s", "s", "s"]
    code = walk(team)

    assert 5 == code
    assert "performed" not in team.out


def test_where_nobody_can_type_a_script_is_asked_for(team):
    assert 2 == walk(team)
    assert "Give --answers FILE" in team.err


@pytest.mark.parametrize(
    ("line", "found"),
    [
        ('{"item": "motor", "by": "mechanic"}', "has no answer yet"),
        ('{"item": "motr", "by": "mechanic", "result": "pass"}', "Did you mean 'motor'"),
        ('{"by": "mechanic", "result": "pass"}', 'needs "item" and "by"'),
        ('{"item": "*", "by": "mechanic", "result": "pass"}', "no such item"),
        ('{"item": "motor", "by": "mechanic", "result": "ok"}', "is no result"),
        ('{"item": "motor", "by": "mechanic", "colour": "red"}', "'colour' is not known"),
        ("{", "is no JSON"),
    ],
)
def test_an_answer_of_a_script_names_its_item_and_its_result(team, tmp_path, line, found):
    path = tmp_path / "answers.jsonl"
    path.write_text(line, encoding="utf-8")

    assert 2 == walk(team, "--answers", str(path))
    assert found in team.err


def test_a_printed_list_runs_nothing_and_asks_nobody_outside(team, tmp_path):
    page = tmp_path / "daily.html"
    words = ("checks", "print", "daily", "--aircraft", "pannier", "--html", str(page))
    assert 0 == team.run(*words)
    text = page.read_text(encoding="utf-8")

    assert "<img" not in text
    assert "&lt;img" in text
    assert "http:" not in text
    assert "https:" not in text
    assert "no certificate" in text
    assert 3 == team.run(*words)  # nothing is written over


def test_a_list_from_paper_says_that_it_was_and_how_late(team, tmp_path):
    photo = tmp_path / "daily.jpg"
    photo.write_bytes(PHOTOS["exif"])
    answers = tmp_path / "daily.jsonl"
    lines = [
        {"item": "motor", "by": "mechanic", "result": "pass"},
        {"item": "packs", "by": "pilot", "result": "pass"},
    ]
    answers.write_text("\n".join(map(json.dumps, lines)), encoding="utf-8")
    when = TAKEOFF - timedelta(hours=2)
    code = team.signs(
        *("checks", "enter", "daily", "--aircraft", "pannier", "--paper", str(photo)),
        *("--answers", str(answers), "--occurred", f"{when:%Y-%m-%dT%H:%M:%SZ}"),
        *("--reason", "laptop was flat"),
        by=["mechanic", "pilot"],
    )
    assert 5 == code, team.err  # five items are still open

    assert 0 == team.run("logbook", "show", "--last", "3")
    entry = team.out.splitlines()[-1].split()[0]
    assert 0 == team.run("logbook", "show", entry)
    assert "written down late by 2 h" in team.out
    assert "laptop was flat" in team.out
    kept = b"".join(
        p.read_bytes() for p in (team.team / "logbook" / "attachments").rglob("*") if p.is_file()
    )
    assert SECRET not in kept


def test_a_slip_in_a_paper_list_is_told_before_anything_is_signed(team, tmp_path):
    photo = tmp_path / "daily.jpg"
    photo.write_bytes(PHOTOS["exif"])
    answers = tmp_path / "daily.jsonl"
    answers.write_text(
        '{"item": "motor", "by": "mechanic", "result": "pass"}\n{"item": "packs", "by": "nobody"}',
        encoding="utf-8",
    )
    head = team.head()
    code = team.signs(
        *("checks", "enter", "daily", "--aircraft", "pannier", "--paper", str(photo)),
        *("--answers", str(answers), "--occurred", "2027-03-15T07:00:00Z", "--reason", "x"),
        by=["mechanic"],
    )

    assert 2 == code
    assert head == team.head()


def test_a_person_comes_back_for_what_waits_for_them_with_one_passphrase(team, typed):
    typed += ["p"] * 9  # one of the pilot's, six of the mechanic's, two second looks of the pilot
    assert 0 == walk(team, by=("pilot", "mechanic"))

    assert [] == typed
    turns = [line for line in team.out.splitlines() if line.endswith("at the laptop:")]
    assert ["pilot", "mechanic", "pilot"] == [line.split()[0] for line in turns]
    assert 2 == team.out.count("inspected as inspector by pilot")
    assert "Daily inspection, version 1, for pannier" in team.out


def test_what_failed_is_not_asked_again_in_the_same_turn(team, typed):
    typed += ["f a crack at the root", "p", "q"]
    assert 5 == walk(team)

    assert 1 == team.out.count("structure: Whole airframe")
    assert "structure: fail, a crack at the root; performed as mechanic by mechanic" in team.out


def test_a_photo_that_is_not_there_is_asked_for_again(team, typed, tmp_path):
    photo = tmp_path / "gear.jpg"
    photo.write_bytes(PHOTOS["exif"])
    typed += ["s"] * 4 + ["f 0.4 bent", *["s"] * 3, str(tmp_path / "none.jpg"), str(photo)]
    typed += ["q"]
    assert 5 == walk(team, list_id="after-hard-landing")

    assert "none.jpg" in team.err
    assert "photo: pass, 1 photos; performed as mechanic" in team.out


def test_a_slip_in_a_script_is_told_before_anything_is_signed(team, tmp_path):
    path = tmp_path / "answers.jsonl"
    lines = [{"item": "motor", "by": "mechanic", "result": "pass"}, {"item": "wiring", "by": "x"}]
    path.write_text("\n".join(map(json.dumps, lines)), encoding="utf-8")
    head = team.head()

    assert 2 == walk(team, "--answers", str(path))
    assert head == team.head()


def test_a_list_is_printed_as_text_too(team):
    assert 0 == team.run("checks", "print", "daily")

    assert "Aircraft: ____________" in team.out
    assert "structure: Whole airframe" in team.out
    assert "Head of the record: " in team.out
    assert "SHA-256 " in team.out
    assert "no certificate" in team.out


def test_how_lists_stand_is_asked_of_an_aircraft_or_a_pack(team):
    assert 2 == team.run("checks", "show")
    assert "Give --aircraft" in team.err
    assert 0 == team.run("checks", "show", "--aircraft", "pannier", "--evidence")
    assert "Daily inspection (version 1): 7 to do" in team.out
    assert "0 results" in team.out
