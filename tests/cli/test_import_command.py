from __future__ import annotations

import json
import os
import shutil
from datetime import UTC, datetime, timedelta
from pathlib import Path

import pytest

from tests.cli.hangars import SAMPLES, equipped
from tests.cli.teams import terminal

__all__ = ["terminal"]  # a fixture

DAY = datetime(2027, 3, 15, 9, 40, tzinfo=UTC)


@pytest.fixture
def team(terminal):
    """A team whose aircraft is in the record, half an hour after the calm flight."""
    terminal.at(DAY)
    equipped(terminal, "aircraft/pannier.toml", "packs/pack-a.toml")
    return terminal


@pytest.fixture
def card(tmp_path):
    """A card with the calm flight as its newest log, and an older one of other bytes."""
    folder = tmp_path / "card" / "LOGS"
    folder.mkdir(parents=True)
    shutil.copyfile(SAMPLES / "headwind.bin", folder / "00000011.BIN")
    shutil.copyfile(SAMPLES / "calm.bin", folder / "00000012.BIN")
    (folder / "LASTLOG.TXT").write_text("12", encoding="utf-8")
    for name, minutes in (("00000011.BIN", 300), ("00000012.BIN", 10), ("LASTLOG.TXT", 1)):
        when = (DAY - timedelta(minutes=minutes)).timestamp()
        os.utime(folder / name, (when, when))
    return folder.parent


def entries(team):
    assert 0 == team.run("logbook", "head"), team.err
    return team.out


def test_from_the_card_to_the_answer_without_typing_a_path(team, card, monkeypatch):
    file = team.team / "team.toml"
    file.write_text(
        f"{file.read_text(encoding='utf-8')}card = {json.dumps(str(card))}\n", encoding="utf-8"
    )

    assert 0 == team.run("import", "--newest"), team.err
    assert "00000012.BIN" in team.err
    said = " ".join(team.out.split())
    assert "pannier (the log says of itself 'Pannier PN-01')" in said
    assert "Ground roll 28.1 m" in said
    assert "FLOWN WITHOUT A RELEASE" in said

    before = entries(team)
    assert 0 == team.run("import", "--newest", str(card)), team.err
    assert "is in the record already" in team.out
    assert before == entries(team)

    # What the environment names stands above the team file: laptops differ.
    monkeypatch.setenv("FLIGHTLOG_CARD", str(card / "elsewhere"))
    assert 3 == team.run("import", "--newest")
    assert "elsewhere" in team.err


def test_what_can_not_be_read_is_told_and_the_others_are_done(team, card, tmp_path):
    bad = tmp_path / "bad.bin"
    bad.write_bytes(b"no log at all" * 1000)
    twin = tmp_path / "twin.bin"
    good = card / "LOGS" / "00000012.BIN"
    shutil.copyfile(good, twin)

    logs = [str(p) for p in (bad, tmp_path / "missing.bin", good, twin)]
    assert 3 == team.run("import", *logs, "--json")

    body = json.loads(team.out)
    assert "flightlog.import/1" == body["schema"]
    assert 2 == len(body["errors"])
    (done,) = body["recordings"]
    assert ("00000012.BIN", "pannier") == (done["file"], done["aircraft"])
    assert ["without-release"] == [c["code"] for c in done["sorties"][0]["contradictions"]]
    assert "flightlog.debrief/1" == done["debrief"]["schema"]
    assert "taken once" in body["left_out"][0]


def test_two_logs_of_one_flight_are_one_recording(team):
    logs = [str(SAMPLES / name) for name in ("calm_transmitter.csv", "calm.bin")]
    assert 0 == team.run("import", *logs, "--json"), team.err

    (done,) = json.loads(team.out)["recordings"]
    assert "calm.bin" == done["file"]
    assert ["calm_transmitter.csv"] == [p["file"] for p in done["debrief"]["log"]["partners"]]
    assert 1 == len(done["sorties"])


def test_a_log_that_names_no_aircraft_asks_for_one(team):
    log = str(SAMPLES / "calm_transmitter.csv")
    before = entries(team)

    assert 2 == team.run("import", log)
    assert "Give --aircraft ID, one of: pannier (Pannier PN-01)" in team.err
    assert before == entries(team)


@pytest.mark.parametrize(
    ("words", "code", "said"),
    [
        (["import"], 2, "no log is named"),
        (["import", "--newest"], 2, "where cards are put in is not known"),
        (["import", "--newest", "{file}"], 2, "is a file"),
        (["import", "--newest", "{folder}/none"], 3, "can't be read"),
    ],
)
def test_what_can_not_be_taken_is_told(team, card, words, code, said):
    places = {"{file}": str(card / "LOGS" / "00000012.BIN"), "{folder}": str(card)}
    typed = [w.replace(k, v) for w in words for k, v in [_place(w, places)]]

    assert code == team.run(*typed)
    assert said in team.err


def _place(word, places):
    return next(((k, v) for k, v in places.items() if k in word), ("", ""))


@pytest.mark.parametrize("kind", ["a pipe", "a device", "too large"])
@pytest.mark.parametrize("many", [(), ("--jobs", "1")], ids=["single", "many"])
def test_what_could_never_be_entered_is_told_before_it_is_read(
    team, tmp_path, monkeypatch, kind, many
):
    log = tmp_path / "flight.bin"
    if kind == "too large":
        monkeypatch.setattr("flightlog.operations.log_content.MOST_ATTACHMENT_BYTES", 10)
        log = SAMPLES / "calm.bin"
    elif kind == "a device":
        log = Path("/dev/zero")
        if not log.exists():
            pytest.skip("this system has no such device")
    elif hasattr(os, "mkfifo"):
        os.mkfifo(log)
    else:
        pytest.skip("this system has no pipes with names")

    assert 3 == team.run("import", str(log), *many)

    found = "is kept, up to" if kind == "too large" else "this is no regular file"
    assert log.name in team.err + team.out
    assert found in " ".join((team.err + team.out).split())
