"""Several logs on one command line."""

from __future__ import annotations

import json
import shutil
from pathlib import Path

import pytest

import sample_flights
from flightlog.cli import app, debriefing
from flightlog.cli.flights import Shelf, plan_flights
from flightlog.errors import LogFileError
from flightlog.importers import read
from flightlog.recording import Receipt, Recording
from flightlog.resources import data_path
from tests.joining.made import card, logger, one_flight

FOLDER = Path(sample_flights.__file__).parent


@pytest.fixture
def here(tmp_path, monkeypatch):
    for name in ("calm.bin", "calm_transmitter.csv", "position_1hz_only.bin"):
        shutil.copy(FOLDER / name, tmp_path / name)
    monkeypatch.chdir(tmp_path)
    return tmp_path


@pytest.fixture
def recordings(tmp_path, monkeypatch):
    """Files whose reading gives recordings made by hand."""
    table: dict[str, Recording] = {}

    def stand_in(log, columns=None):
        if log.name not in table:
            raise LogFileError("the file is empty", where=log.name, fix="Copy it again.")
        return table[log.name]

    monkeypatch.setattr(debriefing, "read_one_of_several", stand_in)
    monkeypatch.chdir(tmp_path)

    def give(*names_and_recordings):
        for recording in names_and_recordings:
            table[recording.receipt.file] = recording
            (tmp_path / recording.receipt.file).write_bytes(recording.receipt.sha256.encode())

    return give


def test_two_logs_of_one_flight_are_one_debrief_that_says_what_was_joined(here, capsys):
    assert 0 == app.main(["debrief", "calm_transmitter.csv", "calm.bin"])
    shown = capsys.readouterr()

    assert shown.out.count("This says what the log shows") == 1
    assert "calm.bin; dataflash" in shown.out
    joined = " ".join(shown.out.split())
    assert "Joined with calm_transmitter.csv (transmitter): its zero lies at 33." in joined
    assert "taken from it: nothing, all here is as good" in joined
    assert shown.err == ""


def test_two_logs_of_one_flight_make_one_json_object(here, capsys):
    assert 0 == app.main(["debrief", "calm.bin", "calm_transmitter.csv", "--json"])
    body = json.loads(capsys.readouterr().out)

    assert body["log"]["file"] == "calm.bin"
    [partner] = body["log"]["partners"]
    assert partner["file"] == "calm_transmitter.csv"
    assert partner["offset"]["low"] < partner["offset"]["value"] < partner["offset"]["high"]
    assert partner["offset"]["unit"] == "s"


def test_json_of_two_flights_is_a_usage_error_that_names_them(here, capsys):
    assert 2 == app.main(
        ["debrief", "calm.bin", "position_1hz_only.bin", "calm_transmitter.csv", "--json"]
    )
    shown = capsys.readouterr()

    assert "calm.bin + calm_transmitter.csv; position_1hz_only.bin" in shown.err
    assert json.loads(shown.out)["schema"] == "flightlog.error/1"


def test_json_of_a_log_that_can_not_be_read_says_its_own_fault(here, capsys):
    assert 3 == app.main(["debrief", "calm.bin", "missing.bin", "--json"])
    body = json.loads(capsys.readouterr().out)

    assert body["where"] == "missing.bin"
    assert body["found"] == "there is no such file"


def test_apart_debriefs_each_log_by_itself(here, capsys):
    assert 0 == app.main(["debrief", "calm.bin", "calm_transmitter.csv", "--apart"])
    shown = capsys.readouterr().out

    assert shown.count("This says what the log shows") == 2
    assert "Joined with" not in shown


def test_apart_keeps_json_to_one_log(here):
    assert 2 == app.main(["debrief", "calm.bin", "calm_transmitter.csv", "--apart", "--json"])


def test_a_copy_and_a_shorter_copy_are_said_and_left_out(here, capsys):
    content = (here / "position_1hz_only.bin").read_bytes()
    (here / "again.bin").write_bytes(content)
    (here / "early.bin").write_bytes(content[: len(content) // 2])

    assert 0 == app.main(["debrief", "early.bin", "position_1hz_only.bin", "again.bin"])
    shown = capsys.readouterr()

    assert shown.out.count("This says what the log shows") == 1
    assert shown.err.splitlines() == [
        "flightlog: again.bin: left out, it is the same recording as position_1hz_only.bin",
        "flightlog: early.bin: left out, position_1hz_only.bin is a longer copy of it",
    ]
    assert "[same-recording]" in shown.out
    assert "[longer-copy]" in shown.out


def test_a_bad_file_stops_neither_joining_nor_the_rest(here, capsys):
    (here / "bad.bin").write_bytes(b"")

    assert 3 == app.main(["debrief", "bad.bin", "calm.bin", "calm_transmitter.csv"])
    shown = capsys.readouterr()

    assert "flightlog: bad.bin: the file is empty" in shown.err
    assert "Joined with calm_transmitter.csv" in shown.out


def test_flights_come_in_the_order_of_the_command_line(recordings, capsys):
    one, two = one_flight(1), one_flight(2)
    recordings(
        logger(one, "one.bin", sensors="gps baro imu"),
        card(one, "one.csv"),
        logger(two, "two.bin", clock_s=9000.0),
    )

    assert 0 == app.main(["debrief", "one.csv", "two.bin", "one.bin"])
    shown = capsys.readouterr().out
    assert 0 < shown.index("one.bin; dataflash") < shown.index("two.bin; dataflash")
    assert "from it: battery" in shown


def test_enforce_names_all_logs_of_the_flight_that_does_not_meet_it(recordings, capsys):
    story = one_flight(1)
    recordings(logger(story, "a.bin"), card(story, "b.csv"))
    rules = str(data_path("checklists", "club_trial_2027.toml"))

    # Nothing is measured of a score that was not entered, so not every limit can be met.
    assert 4 == app.main(["debrief", "a.bin", "b.csv", "--enforce", "--rules", rules])
    assert "flightlog: a.bin + b.csv: not every limit is met" in capsys.readouterr().err


# --- memory


def test_recordings_are_read_again_rather_than_kept_beyond_the_budget(tmp_path):
    taken: list[str] = []

    def fake(log):
        taken.append(log.name)
        return Recording({}, Receipt(log.name, 60, "0" * 64, "made", 1))

    shelf = Shelf(fake, budget=130)
    for name in ("a", "b", "a", "c", "a", "b"):
        shelf.take(Path(name))

    # c pushes out b, which was not used for longest; a is never read again.
    assert taken == ["a", "b", "c", "b"]


def test_a_log_larger_than_the_budget_is_given_and_not_kept():
    taken: list[str] = []

    def fake(log):
        taken.append(log.name)
        return Recording({}, Receipt(log.name, 999, "0" * 64, "made", 1))

    shelf = Shelf(fake, budget=130)
    assert shelf.take(Path("a")).receipt.file == "a"
    shelf.take(Path("a"))
    assert taken == ["a", "a"]


def test_a_fault_while_looking_at_logs_leaves_them_to_stand_alone(monkeypatch):
    def broken(sketches):
        raise ZeroDivisionError

    monkeypatch.setattr("flightlog.joining.group", broken)
    plan = plan_flights([FOLDER / "position_1hz_only.bin"] * 2, read)

    assert [f.group for f in plan.flights] == [None, None]


def test_an_interrupt_while_looking_ends_everything(monkeypatch):
    def stopped(log, columns=None):
        raise KeyboardInterrupt

    monkeypatch.setattr(debriefing, "read_one_of_several", stopped)

    assert 130 == app.main(["debrief", "a.bin", "b.bin"])


# --- an earlier debrief


def earlier(here, capsys, **changes) -> Path:
    assert 0 == app.main(["debrief", "position_1hz_only.bin", "--json"])
    body = json.loads(capsys.readouterr().out)
    for path, value in changes.items():
        at = body
        *way, last = path.split("__")
        for key in way:
            at = at[int(key) if key.isdigit() else key]
        at[last] = value
    place = here / "old.json"
    place.write_text(json.dumps(body), encoding="utf-8")
    return place


def test_a_debrief_against_an_earlier_one_says_what_moved(here, capsys):
    old = earlier(here, capsys, tool__analyses=0)
    body = json.loads(old.read_text(encoding="utf-8"))
    roll = body["sorties"][0]["figures"]["takeoff.ground_roll"]
    roll["value"] -= 1.0
    old.write_text(json.dumps(body), encoding="utf-8")

    assert 0 == app.main(["debrief", "position_1hz_only.bin", "--against", "old.json"])
    shown = " ".join(capsys.readouterr().out.split())
    assert f"ground roll was {roll['value']:.1f} m (" in shown
    assert "analyses 0 then," in shown
    assert "[recomputed]" in shown


def test_a_debrief_against_another_log_is_a_usage_error(here, capsys):
    earlier(here, capsys)

    assert 2 == app.main(["debrief", "calm.bin", "--against", "old.json"])
    assert "is of 'position_1hz_only.bin'" in capsys.readouterr().err


def test_a_debrief_against_nonsense_is_one_line(here, capsys):
    (here / "old.json").write_text("[1, 2", encoding="utf-8")

    assert 3 == app.main(["debrief", "calm.bin", "--against", "old.json"])
    assert capsys.readouterr().err.startswith("flightlog: old.json: not JSON")


def test_an_earlier_debrief_is_of_one_flight(here, capsys):
    earlier(here, capsys)

    assert 2 == app.main(["debrief", "calm.bin", "position_1hz_only.bin", "--against", "old.json"])
    assert "is about one flight, and these are 2" in capsys.readouterr().err


def test_a_column_map_is_for_the_tables_among_several_logs(here, monkeypatch):
    (here / "own.csv").write_text("t;v\n0,0;1,0\n0,1;1,1\n", encoding="utf-8")
    mapped = {}

    def stand_in(log, *, columns, progress):
        mapped[log.name] = columns is not None
        return Recording({}, Receipt(log.name, 1, log.name, "made", 1))

    monkeypatch.setattr("flightlog.importers.read", stand_in)
    for name in ("calm.bin", "calm_transmitter.csv", "own.csv"):
        debriefing.read_one_of_several(Path(name), Path("map.toml"))

    assert mapped == {"calm.bin": False, "calm_transmitter.csv": True, "own.csv": True}
