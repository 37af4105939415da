"""The whole way, on the sample flights that ship with the program."""

from __future__ import annotations

import json
import os
import re
import subprocess
import sys

import pytest

from flightlog.cli import app, demo
from tests.wheels import installed_wheel, why_no_wheel


@pytest.fixture(scope="module")
def flown(tmp_path_factory):
    """Run the demo once, as a process of its own, in an empty folder, from an installed wheel.

    Where no wheel can be built it runs from the checkout.
    """
    folder = tmp_path_factory.mktemp("field laptop")
    place = (
        {}
        if why_no_wheel()
        else {"PYTHONPATH": str(installed_wheel(tmp_path_factory.mktemp("wheel")))}
    )
    done = subprocess.run(
        [sys.executable, "-m", "flightlog", "demo"],
        cwd=folder,
        env={**os.environ, **place, "PYTHONIOENCODING": "utf-8"},
        capture_output=True,
        text=True,
        encoding="utf-8",
        timeout=400,
        check=False,
    )
    return done, folder / "flightlog-demo"


def test_the_demo_ends_well_and_says_nothing_on_the_side(flown):
    done, _ = flown

    assert (0, "") == (done.returncode, done.stderr)


def test_the_demo_begins_with_not_met_and_not_shown(flown):
    done, _ = flown
    _, first, second, *_ = done.stdout.split("\n--- ")

    assert "limit is not met" in first
    assert "limit is not shown" in second


def test_the_demo_writes_a_debrief_of_every_sample(flown):
    _, folder = flown

    for sample in demo.read_index():
        assert sample.log.read_bytes() == (folder / sample.log.name).read_bytes()
        assert (folder / f"{sample.log.stem}.debrief.txt").stat().st_size > 500
        text = (folder / f"{sample.log.stem}.debrief.json").read_text(encoding="utf-8")
        assert "flightlog.debrief/1" == json.loads(text)["schema"]


def test_the_demo_shows_a_roll_at_reference(flown):
    _, folder = flown
    given = [s for s in demo.read_index() if s.options.air_temperature is not None]

    assert given
    for sample in given:
        text = (folder / f"{sample.log.stem}.debrief.json").read_text(encoding="utf-8")
        body = json.loads(text)
        assert 290.15 == body["inputs"]["weather"]["air_temperature"]["value"]
        figures = body["sorties"][0]["figures"]
        # Flown at 1.182 kg/m3: the same roll is shorter in standard air; eight units are the
        # reference load, so nothing else is corrected but a little slope and wind.
        if sample.log.stem == "calm":
            roll = figures["takeoff.ground_roll"]["value"]
            assert 0.85 < figures["takeoff.ground_roll_reference"]["value"] / roll < 1.0
        assert "takeoff.ground_roll_reference" in figures


def test_the_commands_that_the_demo_ends_with_work(flown, monkeypatch, capsys):
    done, folder = flown
    monkeypatch.chdir(folder.parent)
    commands = [line.split()[1:] for line in done.stdout.splitlines()[-8:]]

    for command in (*commands[:4], commands[5]):
        assert 0 == app.main(command)
    # The pages are served until someone ends them; tests/browser opens them.
    assert ["trends", "groundtest", "open"] == [commands[i][0] for i in (3, 5, 6)]
    own = ["calm.bin" if word == "YOUR-OWN-LOG" else word for word in commands[7]]
    own[1] = str(folder / own[1])
    assert 0 == app.main(own)
    assert 2 == capsys.readouterr().out.count("This says what the log shows")


def test_the_demo_ends_with_how_much_could_be_loaded_on_the_seasons_last_day(
    flown, monkeypatch, capsys
):
    done, folder = flown
    monkeypatch.chdir(folder.parent)
    (command,) = (line.split()[1:] for line in done.stdout.splitlines() if " --as-of " in line)

    assert 0 == app.main(command)
    said = " ".join(capsys.readouterr().out.split())
    assert said.startswith("AS IT WAS to those who made the release ")
    assert re.search(r"Load 1\d units at most\. Predicted 3\d\.\d m;", said)
    assert re.search(r"Give up When it is not airborne \d\d m from the start line\.", said)
    assert "Best expected score" in said


@pytest.mark.parametrize("encoding", ["ascii", "utf-8"])
def test_json_is_one_object_on_any_console(flown, encoding):
    _, folder = flown
    done = subprocess.run(
        [sys.executable, "-m", "flightlog", "debrief", "calm.bin", "--json"],
        cwd=folder,
        env={**os.environ, "PYTHONIOENCODING": encoding},
        capture_output=True,
        timeout=60,
        check=False,
    )
    body = json.loads(done.stdout.decode(encoding))

    assert (0, b"") == (done.returncode, done.stderr)
    assert "flightlog.debrief/1" == body["schema"]
    assert 1 == len(body["sorties"])


def test_enforce_tells_met_from_not_met_and_not_shown(flown, monkeypatch):
    _, folder = flown
    monkeypatch.chdir(folder)
    rules = ["--rules", "club_trial_2027.toml", "--enforce"]

    assert 4 == app.main(["debrief", "heavy_misses_limit.bin", *rules])
    assert 4 == app.main(["debrief", "marginal.bin", *rules])
