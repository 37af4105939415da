from __future__ import annotations

import os
import shutil
import sys
from datetime import UTC, datetime, timedelta

import pytest

from flightlog.errors import LogFileError
from flightlog.operations import newest
from flightlog.operations.newest import newest_log
from tests.operations.made import SAMPLES

NOW = datetime(2027, 3, 15, 12, 0, tzinfo=UTC)
HEAD = (SAMPLES / "calm.bin").read_bytes()[:70_000]
"""What the detectors look at."""


def put(folder, name, minutes_ago, data=HEAD):
    path = folder / name
    path.parent.mkdir(parents=True, exist_ok=True)
    path.write_bytes(data)
    at(path, NOW - timedelta(minutes=minutes_ago))
    return path


def at(path, when):
    os.utime(path, (when.timestamp(), when.timestamp()))


def taken(folder):
    return newest_log(folder, NOW).log.path


def test_the_newest_by_time_is_taken_whatever_its_ending_and_its_folder(tmp_path):
    put(tmp_path, "LOGS/00000009.BIN", 300)
    last = put(tmp_path, "LOGS/old/flight.dat", 5)

    found = newest_log(tmp_path, NOW)
    assert last == found.log.path
    assert ("dataflash", 1) == (found.format, found.others)


def test_what_is_no_log_is_passed_over(tmp_path):
    log = put(tmp_path, "1.bin", 60)
    put(tmp_path, "picture.bin", 1, b"\xff\xd8\xff\xe0" + bytes(5000))
    put(tmp_path, "LASTLOG.TXT", 1, b"12\r\n")
    put(tmp_path, "2.bin", 1, b"")

    assert log == taken(tmp_path)


def test_of_alike_times_the_higher_number_is_newer_and_10_is_above_9(tmp_path):
    put(tmp_path, "log9.bin", 10)
    last = put(tmp_path, "log10.bin", 10)

    assert last == taken(tmp_path)


@pytest.mark.parametrize(
    "when", [datetime(1980, 1, 1, tzinfo=UTC), datetime(2100, 1, 1, tzinfo=UTC)]
)
def test_a_time_of_no_flying_day_is_not_believed_and_the_number_decides(tmp_path, when):
    at(put(tmp_path, "00000011.BIN", 0), when)
    twelve = put(tmp_path, "00000012.BIN", 0)
    at(twelve, datetime(1980, 1, 1, tzinfo=UTC))

    found = newest_log(tmp_path, NOW)
    assert twelve == found.log.path
    assert found.log.changed is None


def test_a_believed_time_stands_over_a_number_and_the_higher_number_is_told(tmp_path):
    newer = put(tmp_path, "00000011.BIN", 5)
    higher = put(tmp_path, "00000012.BIN", 500)

    found = newest_log(tmp_path, NOW)
    assert newer == found.log.path
    assert higher == found.higher.path


def test_logs_of_another_kind_are_not_told_as_higher(tmp_path):
    put(tmp_path, "00000011.BIN", 5)
    put(tmp_path, "99.BIN", 500, b"no log at all" * 100)
    put(tmp_path, "telemetry-77.bin", 500)

    assert newest_log(tmp_path, NOW).higher is None


@pytest.mark.parametrize(
    "name",
    [".hidden.bin", ".Trashes/1.bin", "$RECYCLE.BIN/1.bin", "System Volume Information/1.bin",
     "lost+found/1.bin", "~open.bin"],
)  # fmt: skip
def test_what_is_hidden_or_of_an_operating_system_is_left_out(tmp_path, name):
    log = put(tmp_path, "1.bin", 60)
    put(tmp_path, name, 1)

    assert log == taken(tmp_path)


QUOTED = (SAMPLES / "calm_transmitter.csv").read_bytes()[:20_000]
HINTED = (
    b"$GPGGA,091400,4800.000,N,01100.000,E,1,08,1.0,500.0,M,45.0,M,,*5C\n" + b"and so on\n" * 20
)
"""One sentence of a receiver: no more than a hint."""


@pytest.mark.parametrize(
    ("name", "data", "format_"),
    [
        ("writer.py", QUOTED, ""),
        ("guide.md", QUOTED, ""),
        ("card.csv", QUOTED, "transmitter"),
        ("card.old", QUOTED, "transmitter"),
        ("letter.doc", HINTED, ""),
        ("letter.nmea", HINTED, "nmea"),
        ("cut.dat", b"\0\0\0" + HEAD, "dataflash"),
    ],
)
def test_text_that_quotes_a_log_is_none_unless_it_is_called_like_one(tmp_path, name, data, format_):
    (tmp_path / name).write_bytes(data)

    assert format_ == newest.format_of(tmp_path / name)


@pytest.mark.skipif(sys.platform == "win32", reason="links need a privilege there")
def test_links_are_not_followed(tmp_path):
    log = put(tmp_path, "card/1.bin", 60)
    elsewhere = put(tmp_path, "elsewhere/2.bin", 1)
    (tmp_path / "card" / "2.bin").symlink_to(elsewhere)
    (tmp_path / "card" / "folder").symlink_to(elsewhere.parent)
    (tmp_path / "card" / "round").symlink_to(tmp_path / "card")

    assert log == taken(tmp_path / "card")


def test_folders_are_looked_into_to_a_depth(tmp_path):
    log = put(tmp_path, "1.bin", 60)
    put(tmp_path, "/".join("abcdefghi") + "/2.bin", 1)

    assert log == taken(tmp_path)


def test_a_folder_with_endless_files_ends(tmp_path, monkeypatch):
    monkeypatch.setattr(newest, "MOST_ENTRIES", 3)
    for number in range(9):
        put(tmp_path, f"{number}.bin", 10)

    assert newest_log(tmp_path, NOW).others < 3


def test_of_very_many_files_the_newest_are_looked_at(tmp_path, monkeypatch):
    monkeypatch.setattr(newest, "MOST_HEADS", 2)
    put(tmp_path, "1.bin", 60)
    for number in range(3):
        put(tmp_path, f"{number}.jpg", number, b"\xff\xd8\xff\xe0" + bytes(100))

    with pytest.raises(LogFileError, match="among the newest 2 of 4 files"):
        newest_log(tmp_path, NOW)


def test_an_empty_folder_holds_no_file(tmp_path):
    with pytest.raises(LogFileError, match="holds no file"):
        newest_log(tmp_path, NOW)


def test_a_folder_that_is_not_there_is_told(tmp_path):
    with pytest.raises(LogFileError, match="can't be read"):
        newest_log(tmp_path / "card", NOW)


def test_a_real_log_is_found_among_others(tmp_path):
    put(tmp_path, "notes.txt", 1, b"windy\n")
    shutil.copyfile(SAMPLES / "calm_transmitter.csv", tmp_path / "TX.CSV")
    at(tmp_path / "TX.CSV", NOW - timedelta(minutes=3))

    found = newest_log(tmp_path, NOW)
    assert ("TX.CSV", "transmitter") == (found.log.path.name, found.format)
