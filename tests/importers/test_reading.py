"""Every format against every detector, and what `read` says of files it can't read."""

from __future__ import annotations

import os
import re
import sys

import pytest

from flightlog.errors import LogFileError, UnknownFormatError
from flightlog.importers import IMPORTERS, detect, read
from flightlog.importers.registry import OWN_ENDINGS, Match
from tests.importers.dataflash_writer import with_fmt


def small() -> bytes:
    writer = with_fmt().declare(1, "MSG", "QZ", "TimeUS,Message")
    for i in range(30):
        writer.add("MSG", i * 1000, b"hello")
    return bytes(writer.data)


def test_a_file_that_is_not_there(tmp_path):
    with pytest.raises(LogFileError, match="there is no such file") as caught:
        read(tmp_path / "missing.bin")

    assert "missing.bin" in caught.value.where
    assert caught.value.fix


def test_a_folder(tmp_path):
    with pytest.raises(LogFileError, match="this is a folder"):
        read(tmp_path)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes with names")
def test_a_pipe_is_not_waited_for(tmp_path):
    os.mkfifo(tmp_path / "pipe.bin")

    with pytest.raises(LogFileError, match="no regular file") as caught:
        read(tmp_path / "pipe.bin")
    assert "pipe.bin" == caught.value.where
    assert caught.value.fix


@pytest.mark.skipif(not os.path.exists("/dev/zero"), reason="this system has no such device")
def test_a_device_without_end_is_not_read():
    with pytest.raises(LogFileError, match="no regular file"):
        read("/dev/zero")


def test_an_empty_file(tmp_path):
    path = tmp_path / "empty.bin"
    path.write_bytes(b"")

    with pytest.raises(LogFileError, match="the file is empty"):
        read(path)


@pytest.mark.skipif(
    sys.platform == "win32" or (hasattr(os, "geteuid") and os.geteuid() == 0),
    reason="permissions do not bind this user",
)
def test_a_file_without_permission(tmp_path):
    path = tmp_path / "secret.bin"
    path.write_bytes(small())
    path.chmod(0)

    with pytest.raises(LogFileError, match="may not be read"):
        read(path)


def test_permission_is_told_whatever_user_runs_this(tmp_path, monkeypatch):
    path = tmp_path / "secret.bin"
    path.write_bytes(small())

    def refuse(*_args, **_kwargs):
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(type(path), "open", refuse)
    with pytest.raises(LogFileError, match="may not be read"):
        read(path)


def test_a_file_that_is_no_log_names_what_can_be_read(tmp_path):
    path = tmp_path / "notes.bin"
    path.write_bytes(b"take the blue battery\n" * 10)

    with pytest.raises(UnknownFormatError, match="no known log format") as caught:
        read(path)
    for importer in IMPORTERS:
        assert importer.title in caught.value.fix


def test_the_endings_are_those_that_people_are_told_and_texts_may_be_anything():
    for importer in IMPORTERS:
        assert importer.endings
        for ending in importer.endings:
            assert re.search(rf"\(.*{re.escape(ending)}\b.*\)", importer.title), importer.format
    assert {".bin", ".tlog", ".ulg", ".gpx", ".igc", ".nmea"} == OWN_ENDINGS


def test_the_ending_does_not_matter(tmp_path):
    path = tmp_path / "flight.tlog"
    path.write_bytes(small())

    assert read(path).receipt.format == "dataflash"


def test_exactly_one_detector_says_yes():
    head = small()

    assert [i.format for i in IMPORTERS if i.sniff(head) is Match.YES] == ["dataflash"]
    assert detect(head).format == "dataflash"


def test_progress_rises_to_one(tmp_path):
    path = tmp_path / "flight.bin"
    path.write_bytes(small())
    steps: list[float] = []
    read(path, progress=lambda fraction, text: steps.append(fraction))

    assert steps == sorted(steps)
    assert steps[-1] == 1.0


def test_an_interrupt_reaches_the_caller(tmp_path):
    path = tmp_path / "flight.bin"
    path.write_bytes(small())

    def stop(fraction: float, text: str) -> None:
        raise KeyboardInterrupt

    with pytest.raises(KeyboardInterrupt):
        read(path, progress=stop)
