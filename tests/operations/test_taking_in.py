"""Logs that are dropped together: each into the record once, and no fault keeps the others out."""

from __future__ import annotations

from datetime import UTC, datetime

import pytest

from flightlog.errors import UsageError
from flightlog.operations.importing import Told
from flightlog.operations.taking_in import take_in
from tests.operations.made import SAMPLES

EVENING = datetime(2027, 4, 10, 18, 0, tzinfo=UTC)


@pytest.fixture
def evening(farm):
    farm.clock.now = EVENING
    return farm


def test_a_log_is_entered_with_the_recording_at_hand_for_its_charts(evening):
    seen = []
    found = take_in(evening.desk, [SAMPLES / "calm.bin"], progress=lambda f, t: seen.append(f))

    (one,) = found.taken
    assert "calm.bin" == one.imported.recording.body.content["file"]
    assert "gps" in one.recording
    assert () == found.faults
    assert sorted(seen) == seen, "progress goes on, never back"
    assert 0 <= min(seen)
    assert max(seen) <= 1


def test_a_log_that_is_there_already_is_found_and_adds_nothing(evening):
    first = take_in(evening.desk, [SAMPLES / "calm.bin"]).taken[0]

    (again,) = take_in(evening.desk, [SAMPLES / "calm.bin"]).taken

    assert first.imported.recording == again.imported.recording
    assert () == again.imported.added
    assert again.recording is None


def test_the_same_file_under_two_names_is_taken_once(evening, tmp_path):
    copy = tmp_path / "copy.bin"
    copy.write_bytes((SAMPLES / "calm.bin").read_bytes())

    assert 1 == len(take_in(evening.desk, [SAMPLES / "calm.bin", copy]).taken)


def test_log_and_card_of_one_flight_become_one_recording(evening):
    logs = [SAMPLES / "calm.bin", SAMPLES / "calm_transmitter.csv"]

    (one,) = take_in(evening.desk, logs).taken

    assert 1 == len(one.recording.receipt.partners)
    names = {a.name for a in one.imported.recording.body.attachments}
    assert {"calm.bin", "calm_transmitter.csv"} <= names


def test_a_file_that_is_no_log_keeps_the_others_not_out(evening, tmp_path):
    noise = tmp_path / "noise.bin"
    noise.write_bytes(bytes(range(256)) * 4)

    found = take_in(evening.desk, [noise, tmp_path / "missing.bin", SAMPLES / "calm.bin"])

    assert 1 == len(found.taken)
    assert 2 == len(found.faults)


def test_a_log_of_an_aircraft_that_nobody_named_asks_for_it(evening):
    with pytest.raises(UsageError, match="aircraft"):
        take_in(evening.desk, [SAMPLES / "calm_transmitter.csv"])

    (one,) = take_in(evening.desk, [SAMPLES / "calm_transmitter.csv"], Told("pannier")).taken
    assert "pannier" == one.imported.recording.body.content["aircraft"]


def test_a_log_that_was_asked_about_is_not_read_again(evening, monkeypatch):
    shelf = {}
    with pytest.raises(UsageError):
        take_in(evening.desk, [SAMPLES / "calm_transmitter.csv"], shelf=shelf)
    assert 1 == len(shelf)
    monkeypatch.setattr("flightlog.importers.read", None)

    (one,) = take_in(
        evening.desk, [SAMPLES / "calm_transmitter.csv"], Told("pannier"), shelf=shelf
    ).taken

    assert [one.recording] == list(shelf.values())


def test_a_shelf_holds_nothing_for_another_file(evening):
    shelf = {}
    take_in(evening.desk, [SAMPLES / "calm.bin"], shelf=shelf)

    (one,) = take_in(evening.desk, [SAMPLES / "headwind.bin"], shelf=shelf).taken

    assert "headwind.bin" == one.recording.receipt.file
