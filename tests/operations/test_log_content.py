"""Which file a log is, asked without reading what could never be entered."""

from __future__ import annotations

import hashlib
import os
from pathlib import Path

import pytest

import flightlog
import flightlog.importers.common
from flightlog.errors import LogFileError, UnknownFormatError
from flightlog.logbook.entry import MOST_ATTACHMENT_BYTES
from flightlog.operations import log_content
from flightlog.operations.log_content import content_of
from flightlog.operations.season_import import Failed, SeasonImport
from flightlog.operations.taking_in import take_in
from tests.operations.made import SAMPLES

LOG = SAMPLES / "calm_transmitter.csv"


@pytest.fixture
def unhashed(monkeypatch):
    """Let no file be read to its end."""

    def hashing(path):
        raise AssertionError

    monkeypatch.setattr(flightlog.importers.common, "sha256_of_file", hashing)


def test_it_is_the_hash_of_the_file():
    assert hashlib.sha256(LOG.read_bytes()).hexdigest() == content_of(LOG)


def test_a_file_that_is_no_log_is_not_hashed(tmp_path, unhashed):
    (tmp_path / "film.mp4").write_bytes(b"\0\0\0\x18ftypmp42" * 1000)
    with pytest.raises(UnknownFormatError, match="no known log format") as caught:
        content_of(tmp_path / "film.mp4")
    assert "film.mp4" == caught.value.where


def test_a_log_that_is_larger_than_the_record_keeps_is_not_hashed(unhashed, monkeypatch):
    assert MOST_ATTACHMENT_BYTES == log_content.MOST_ATTACHMENT_BYTES
    monkeypatch.setattr(log_content, "MOST_ATTACHMENT_BYTES", LOG.stat().st_size - 1)
    with pytest.raises(LogFileError, match="a log that is entered is kept, up to") as caught:
        content_of(LOG)
    assert LOG.name == caught.value.where
    assert "debrief" in caught.value.fix
    assert flightlog.debrief(flightlog.read(LOG)).sorties  # what is said to be done can be


def test_one_of_the_largest_size_is_taken(monkeypatch):
    monkeypatch.setattr(log_content, "MOST_ATTACHMENT_BYTES", LOG.stat().st_size)
    assert content_of(LOG)


def test_a_log_that_goes_away_meanwhile_is_told(tmp_path, monkeypatch):
    path = tmp_path / "flight.csv"
    path.write_bytes(LOG.read_bytes())
    monkeypatch.setattr("flightlog.importers.read_head", lambda log: _head_and_gone(log))
    with pytest.raises(LogFileError, match="can't be read"):
        content_of(path)


def _head_and_gone(log: Path) -> bytes:
    head = log.read_bytes()[:4096]
    log.unlink()
    return head


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes with names")
def test_a_pipe_that_is_named_is_not_waited_for_by_any_import(farm, tmp_path):
    os.mkfifo(tmp_path / "pipe.bin")
    (event,) = SeasonImport(farm.desk).take([tmp_path / "pipe.bin"])
    assert isinstance(event, Failed)
    (fault,) = take_in(farm.desk, [tmp_path / "pipe.bin"]).faults
    for error in (event.error, fault):
        assert isinstance(error, LogFileError)
        assert "no regular file" in error.found


@pytest.mark.parametrize("importing", ["season", "page"])
def test_what_is_too_large_keeps_no_other_log_out(farm, importing, monkeypatch):
    monkeypatch.setattr(log_content, "MOST_ATTACHMENT_BYTES", 10)
    if importing == "season":
        (event,) = SeasonImport(farm.desk).take([LOG])
        assert isinstance(event, Failed)
        error = event.error
    else:
        (error,) = take_in(farm.desk, [LOG]).faults
    assert "a log that is entered is kept" in str(error)
