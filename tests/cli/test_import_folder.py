"""``flightlog import FOLDER`` as a person and a program meet it."""

from __future__ import annotations

import json
import shutil
from datetime import UTC, datetime

import pytest

import flightlog.contract
import flightlog.earlier
import flightlog.figures
import flightlog.operations.recomputing
from flightlog.errors import ClusterError
from flightlog.operations.season_import import Entered, SeasonImport
from tests.cli.hangars import SAMPLES, equipped
from tests.cli.teams import terminal
from tests.operations.remembered import remembered

__all__ = ["remembered", "terminal"]  # fixtures

DAY = datetime(2027, 6, 15, 9, 40, tzinfo=UTC)


@pytest.fixture
def team(terminal):
    """A team whose aircraft is in the record, after the season."""
    terminal.at(DAY)
    equipped(terminal, "aircraft/pannier.toml")
    return terminal


@pytest.fixture
def folder(tmp_path):
    """Two flights, a file that is damaged beyond use, and a note."""
    place = tmp_path / "season"
    place.mkdir()
    for name in ("headwind.bin", "position_1hz_only.bin"):
        shutil.copyfile(SAMPLES / name, place / name)
    (place / "broken.gpx").write_bytes(b"<gpx><trk></trk></gpx>")
    (place / "notes.txt").write_text("wind from the north", encoding="utf-8")
    return place


def test_a_folder_ends_in_a_table_of_what_failed_and_goes_on_when_asked_again(
    team, folder, remembered
):
    assert 3 == team.run("import", str(folder), "--aircraft", "pannier")

    lines = team.out.splitlines()
    assert ["season/headwind.bin", "season/position_1hz_only.bin"] == sorted(
        line.split()[0] for line in lines if "  pannier  1 flight" in line
    )
    assert any(
        line.startswith("2 recordings of these files in the record (2 new, 0 known before) with 2 ")
        for line in lines
    )
    said = " ".join(team.out.split())
    assert "FLOWN WITHOUT A RELEASE" not in said  # there is none to have
    assert "2 flights were flown without a release." in said
    assert "No logs: 1 file. season/notes.txt" in said
    assert "Failed: season/broken.gpx no track point in it" in said

    (folder / "broken.gpx").unlink()
    assert 0 == team.run("import", str(folder), "--aircraft", "pannier")
    assert "(0 new, 2 known before)" in team.out


def test_processes_of_their_own_do_the_same_and_keep_off_standard_output(team, folder):
    (folder / "broken.gpx").unlink()

    code = team.run("import", str(folder), "--aircraft", "pannier", "--jobs", "2", "--json")

    assert 0 == code, team.err
    answer = json.loads(team.out)
    assert "flightlog.import/1" == answer["schema"]
    assert {"headwind.bin", "position_1hz_only.bin"} == {r["file"] for r in answer["recordings"]}
    assert all(len(r["sorties"]) == 1 for r in answer["recordings"])
    logs = {name: str(folder / name) for name in ("headwind.bin", "position_1hz_only.bin")}
    assert {(logs[r["file"]],) for r in answer["recordings"]} == {
        tuple(r["logs"]) for r in answer["recordings"]
    }
    assert [str(folder / "notes.txt")] == answer["not_logs"]
    assert [] == answer["hidden"]
    assert [] == answer["errors"]


def test_figures_by_older_analyses_are_told_and_computed_anew_when_asked(
    team, folder, remembered, monkeypatch
):
    log = folder / "headwind.bin"
    assert 0 == team.run("import", str(log), "--aircraft", "pannier"), team.err
    assert 0 == team.run("import", "--recompute"), team.err
    assert "Every recording has its figures by the analyses of today." in team.out
    version = flightlog.figures.ANALYSES_VERSION + 1
    for module in (
        flightlog.figures,
        flightlog.contract,
        flightlog.earlier,
        flightlog.operations.recomputing,
    ):
        monkeypatch.setattr(module, "ANALYSES_VERSION", version)

    logs = ["position_1hz_only.bin", "notes.txt", "headwind.bin", "broken.gpx"]
    assert 3 == team.run("import", *(str(folder / name) for name in logs), "--aircraft", "pannier")
    assert "1 recording has figures by older analyses" in team.err

    assert 0 == team.run("import", "--recompute", "--json"), team.err
    (one,) = json.loads(team.out)["recomputed"]
    assert ["headwind.bin", []] == [one["file"], one["changes"]]
    assert one["before"] != one["entry"]


def test_computing_anew_takes_no_logs(team, folder):
    assert 2 == team.run("import", str(folder), "--recompute")
    assert "Leave out logs" in team.err


def test_a_cluster_that_does_not_answer_is_told(team, folder, monkeypatch):
    cluster = pytest.importorskip("flightlog.workers.cluster")
    pytest.importorskip("distributed")
    monkeypatch.setattr(cluster, "ANSWER_S", 0.5)

    assert 3 == team.run("import", str(folder), "--cluster", "tcp://127.0.0.1:1")
    assert "no cluster answers there" in team.err
    assert 2 == team.run("import", str(folder), "--cluster", "in the field")


def test_tables_that_cannot_be_kept_are_told_and_keep_no_log_out(team, folder, remembered):
    (folder / "broken.gpx").unlink()
    shutil.rmtree(team.team / "tables", ignore_errors=True)
    (team.team / "tables").write_text("in the way", encoding="utf-8")

    assert 0 == team.run("import", str(folder), "--aircraft", "pannier"), team.err

    assert "(2 new, 0 known before)" in team.out
    assert "the tables of 2 logs could not be written to" in team.err


def test_a_folder_without_a_log_is_no_success(team, tmp_path):
    (tmp_path / "card").mkdir()

    assert 3 == team.run("import", str(tmp_path / "card"))

    assert "card holds no file. Look whether this is the folder" in " ".join(team.out.split())


def test_a_log_whose_aircraft_is_not_known_is_a_file_at_fault_and_no_slip_of_the_pen(
    team, folder, remembered
):
    (folder / "broken.gpx").unlink()
    for name in ("card_a.csv", "card_b.csv"):
        shutil.copyfile(SAMPLES / "calm_transmitter.csv", folder / name)
    with (folder / "card_b.csv").open("a", encoding="utf-8") as file:
        file.write("\n")

    assert 3 == team.run("import", str(folder))

    said = " ".join(team.out.split())
    assert "(2 new, 0 known before)" in said
    assert 1 == said.count("of which aircraft it is can't be told")


def test_without_an_aircraft_in_the_record_nothing_is_read(terminal, folder, monkeypatch):
    terminal.at(DAY)
    equipped(terminal)
    monkeypatch.setattr("flightlog.operations.log_search.search", None)

    assert 3 == terminal.run("import", str(folder))
    (line,) = terminal.err.splitlines()
    assert "the record holds no aircraft file" in line
    assert "flightlog team enter FILE" in line


def test_an_aircraft_that_is_not_in_the_record_is_told_before_anything_is_read(
    team, folder, monkeypatch
):
    monkeypatch.setattr("flightlog.operations.log_search.search", None)

    assert 2 == team.run("import", str(folder), "--aircraft", "panier")
    (line,) = team.err.splitlines()
    assert "panier: the record holds no aircraft file of this id. Did you mean 'pannier'?" in line


@pytest.mark.parametrize(
    "where",
    [
        "flightlog.operations.log_search.search",  # before anything is read
        "flightlog.operations.season_import.SeasonImport.take",
        "flightlog.reports.season_import.summary_lines",  # when all is entered
    ],
)
def test_whenever_it_is_stopped_it_says_once_that_the_same_command_goes_on(
    team, folder, remembered, monkeypatch, where
):
    def stopped(*given):
        raise KeyboardInterrupt

    monkeypatch.setattr(where, stopped)

    assert 130 == team.run("import", str(folder), "--aircraft", "pannier")

    assert [
        "flightlog: what is done stays done; the same command goes on from here",
        "flightlog: stopped before the end",
    ] == team.err.splitlines()


def test_one_log_that_is_stopped_says_nothing_of_others(team, folder, monkeypatch):
    def stopped(*given):
        raise KeyboardInterrupt

    monkeypatch.setattr("flightlog.operations.importing.import_recording", stopped)

    assert 130 == team.run("import", str(folder / "headwind.bin"), "--aircraft", "pannier")
    assert ["flightlog: stopped before the end"] == team.err.splitlines()


def test_of_an_import_whose_cluster_is_lost_the_table_tells_what_is_entered(
    team, folder, remembered, monkeypatch
):
    take = SeasonImport.take

    def lost(self, logs):
        yield next(event for event in take(self, logs) if isinstance(event, Entered))
        raise ClusterError("the connection to it was lost", where="tcp://cluster", fix="Ask again.")

    monkeypatch.setattr(SeasonImport, "take", lost)
    (folder / "broken.gpx").unlink()

    assert 3 == team.run("import", str(folder), "--aircraft", "pannier")

    assert "(1 new, 0 known before)" in team.out
    assert "tcp://cluster: the connection to it was lost. Ask again." in team.err


def test_processes_and_a_cluster_are_not_asked_for_at_once(team, folder):
    assert 2 == team.run("import", str(folder), "--jobs", "2", "--cluster", "tcp://127.0.0.1:1")

    assert "Leave it out" in team.err
