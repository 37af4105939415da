from __future__ import annotations

import json
from dataclasses import replace
from pathlib import Path

import pytest

from flightlog.cli import app, demo
from flightlog.cli.given import Options
from flightlog.uncertain import Uncertain
from tests.made_debriefs import judged, made

ROLLS = {"heavy.bin": 44.0, "calm.bin": 28.9}


@pytest.fixture(autouse=True)
def shelf(tmp_path, monkeypatch):
    """Two samples whose debriefs are made by hand; the real ones are debriefed elsewhere."""
    folder = tmp_path / "shelf"
    folder.mkdir()
    samples = []
    for name in ROLLS:
        (folder / name).write_bytes(b"log of " + name.encode())
        samples.append(demo.Sample(folder / name, f"the {name} one", Options(mass="8.0")))

    def stand_in(log, inputs, rules):
        roll = ROLLS[log.name]
        return made(judged(roll), roll=Uncertain.of(roll, 0.6, "m", source="a"), file=log.name)

    monkeypatch.setattr(demo, "read_index", lambda: samples)

    def no_season(folder, logs, tell, *, only=None):
        return folder / "team", ["2027-03-15  calm.bin: 1 flown"]

    monkeypatch.setattr(demo, "debrief_file", stand_in)
    monkeypatch.setattr("flightlog.cli.season.build_season", no_season)
    monkeypatch.setattr(demo, "_load", lambda team: f"  flightlog load --team {team}")
    monkeypatch.chdir(tmp_path)
    return folder


def test_the_first_flight_is_told_in_full_and_the_others_short(capsys):
    assert 0 == app.main(["demo"])
    first, _, second = capsys.readouterr().out.partition("--- calm.bin")

    assert "the 40 m limit is not met" in first
    assert "Figures" in first
    assert "the 40 m limit is met" in second
    assert "Figures" not in second


def test_the_folder_holds_logs_texts_and_json(tmp_path):
    assert 0 == app.main(["demo", "--to", "here/it is"])
    folder = tmp_path / "here" / "it is"

    assert b"log of calm.bin" == (folder / "calm.bin").read_bytes()
    assert "is not met" in (folder / "heavy.debrief.txt").read_text(encoding="utf-8")
    body = json.loads((folder / "heavy.debrief.json").read_text(encoding="utf-8"))
    assert "flightlog.debrief/1" == body["schema"]


def test_it_ends_with_next_commands_one_on_the_users_own_log(capsys):
    assert 0 == app.main(["demo", "--to", "it is here"])
    last = capsys.readouterr().out.splitlines()[-7:]

    assert all(line.startswith("  flightlog ") for line in last)
    assert "YOUR-OWN-LOG" in last[6]
    assert "open --team" in last[5]
    assert "keys" in last[5], "else nobody could sign there"
    assert "groundtest ringdown" in last[4]
    assert "load --team" in last[3]
    assert "trends --team" in last[2]
    assert '"it is here' in last[0]  # quoted, so that it can be typed as it stands


def test_the_days_of_the_season_are_told(capsys):
    assert 0 == app.main(["demo"])
    said = capsys.readouterr().out

    assert "2027-03-15  calm.bin: 1 flown" in said
    assert "The team folder is" in said


def test_nothing_is_written_over(tmp_path, capsys):
    assert 0 == app.main(["demo"])
    (tmp_path / "flightlog-demo" / "calm.bin").write_bytes(b"mine")

    assert 0 == app.main(["demo"])
    assert b"mine" == (tmp_path / "flightlog-demo" / "calm.bin").read_bytes()
    assert (tmp_path / "flightlog-demo-2" / "calm.bin").exists()
    capsys.readouterr()

    assert 3 == app.main(["demo", "--to", "flightlog-demo"])
    assert "the folder is not empty" in capsys.readouterr().err


def test_a_folder_that_cannot_be_made_is_said(tmp_path, capsys):
    (tmp_path / "file").write_text("", encoding="utf-8")

    assert 3 == app.main(["demo", "--to", "file"])
    assert 3 == app.main(["demo", "--to", "file/below"])
    assert 2 == capsys.readouterr().err.count("flightlog: file")


def test_the_next_command_gives_again_what_was_given():
    options = Options(mass="8", wind="3.3@70", air_temperature="17", payload_units=8)

    assert " --mass 8 --wind 3.3@70 --air-temperature 17 --payload-units 8" == demo._typed(options)


def test_a_transmitters_card_is_copied_beside_its_flight_and_joined_by_the_next_command(
    shelf, monkeypatch, tmp_path, capsys
):
    card = shelf / "calm_transmitter.csv"
    card.write_bytes(b"the card")
    samples = [s if s.log.name != "calm.bin" else replace(s, card=card) for s in demo.read_index()]
    monkeypatch.setattr(demo, "read_index", lambda: samples)

    assert 0 == app.main(["demo", "--to", "here"])
    assert b"the card" == (tmp_path / "here" / "calm_transmitter.csv").read_bytes()
    folder = Path("here")
    wanted = f"  flightlog debrief {folder / 'calm.bin'} {folder / 'calm_transmitter.csv'}"
    assert wanted in capsys.readouterr().out.splitlines()
