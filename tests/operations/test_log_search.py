"""Which files in a folder are logs, which should have been, and what is said of the others."""

from __future__ import annotations

import os
import shutil
import sys

import pytest

from flightlog.operations.log_search import TABLE, search
from tests.operations.made import MORNING, SAMPLES


@pytest.fixture
def season(tmp_path):
    """A folder with a log in it and one below."""
    folder = tmp_path / "season"
    (folder / "later").mkdir(parents=True)
    shutil.copyfile(SAMPLES / "position_1hz_only.bin", folder / "later" / "a_late.bin")
    shutil.copyfile(SAMPLES / "headwind.bin", folder / "z_early.bin")
    return folder


def names_of(paths):
    return [path.name for path in paths]


def test_what_is_named_is_taken_though_it_is_not_there(tmp_path):
    found = search([tmp_path / "nowhere.bin"], MORNING)
    assert [tmp_path / "nowhere.bin"] == list(found.logs)


def test_a_folder_without_a_log_is_at_fault_and_one_whose_logs_are_named_already_is_not(
    season, tmp_path
):
    bare, notes = tmp_path / "bare", tmp_path / "notes"
    bare.mkdir()
    notes.mkdir()
    (notes / "notes.txt").write_text("wind from the north", encoding="utf-8")

    found = search([season, season / "later", bare, notes], MORNING)

    assert [
        (str(bare), "holds no file"),
        (str(notes), "holds no log that can be recognised"),
    ] == [(fault.where, fault.found) for fault in found.faults]
    assert notes / "notes.txt" in found.others


def test_more_files_than_are_looked_at_are_refused(tmp_path, monkeypatch):
    import flightlog.operations.newest

    monkeypatch.setattr(flightlog.operations.newest, "MOST_ENTRIES", 3)
    for number in range(4):
        (tmp_path / f"{number}.txt").write_text("x", encoding="utf-8")

    found = search([tmp_path], MORNING)

    assert () == found.logs
    (fault,) = found.faults
    assert "more than 3 files" in fault.found


def test_what_is_passed_over_in_a_folder_is_told(tmp_path, monkeypatch):
    deep = tmp_path.joinpath(*"abcdefghi")
    deep.mkdir(parents=True)
    locked = tmp_path / "locked"
    locked.mkdir()
    (tmp_path / "empty.txt").touch()
    scandir = os.scandir

    def scanning(path):
        if str(path) == str(locked):
            raise PermissionError(13, "Permission denied")
        return scandir(path)

    monkeypatch.setattr(os, "scandir", scanning)

    found = search([tmp_path, locked], MORNING)

    assert {tmp_path / "empty.txt": "is empty"} == found.others
    told = {(fault.where, fault.found.partition(" (")[0]) for fault in found.faults}
    assert {
        (str(deep), "lies more than 8 folders down"),
        (str(locked), "can't be read"),
    } == told


def test_an_empty_or_unknown_file_that_is_called_a_log_is_taken_for_one_and_fails_there(season):
    (season / "00000042.BIN").touch()
    (season / "noise.tlog").write_bytes(bytes(range(1, 256)) * 20)
    (season / "notes.txt").write_text("wind from the north", encoding="utf-8")
    (season / "empty.csv").touch()
    (season / "radio.log").write_text("started\nstopped\n", encoding="utf-8")

    found = search([season], MORNING)

    assert ["00000042.BIN", "a_late.bin", "noise.tlog", "z_early.bin"] == names_of(found.logs)
    assert {"notes.txt": "", "empty.csv": "is empty", "radio.log": ""} == {
        path.name: why for path, why in found.others.items()
    }
    assert not found.faults


def test_a_folder_of_nothing_but_a_damaged_log_is_told_by_that_log(tmp_path):
    (tmp_path / "00000042.BIN").touch()

    found = search([tmp_path], MORNING)

    assert ["00000042.BIN"] == names_of(found.logs)
    assert not found.faults


def test_a_table_that_could_be_a_log_is_told_and_a_program_that_writes_logs_is_none(season):
    shutil.copyfile(SAMPLES / "bench" / "thrust_a.csv", season / "thrust_a.csv")
    writer = SAMPLES / "generator" / "transmitter_writer.py"
    shutil.copyfile(writer, season / writer.name)

    found = search([season], MORNING)

    assert {"thrust_a.csv": TABLE, "transmitter_writer.py": ""} == {
        path.name: why for path, why in found.others.items()
    }


def test_hidden_logs_are_told_and_companions_bins_and_other_hidden_files_are_not(season):
    log = season / "z_early.bin"
    (season / ".card").mkdir()
    (season / ".Trashes").mkdir()
    hidden = [season / ".x.bin", season / ".x.old", season / ".card" / "a.bin"]
    for path in (*hidden, season / "._z_early.bin", season / ".Trashes" / "b.bin"):
        shutil.copyfile(log, path)
    (season / ".DS_Store").write_bytes(b"\0\0\0\1Bud1")
    (season / ".card" / "index").write_bytes(b"1")
    (season / ".none.bin").touch()

    found = search([season], MORNING)

    assert sorted(hidden) == sorted(found.hidden)
    assert ["a_late.bin", "z_early.bin"] == names_of(found.logs)
    assert not found.others


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="no pipes with names there")
def test_a_pipe_is_told_and_never_opened(season):
    os.mkfifo(season / "pipe.bin")
    os.mkfifo(season / ".pipe.bin")

    found = search([season], MORNING)

    assert {season / "pipe.bin": "is a pipe or a device"} == found.others
    assert not found.hidden


@pytest.mark.skipif(sys.platform == "win32", reason="links need a privilege there")
def test_links_are_told_and_hidden_ones_not_followed(season, tmp_path):
    (season / "link.bin").symlink_to(season / "z_early.bin")
    (season / ".round").symlink_to(tmp_path)

    found = search([season], MORNING)

    assert ["link.bin"] == names_of(found.others)
    assert "is a link" in found.others[season / "link.bin"]
    assert not found.hidden
