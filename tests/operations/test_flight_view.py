from __future__ import annotations

from contextlib import contextmanager

import numpy as np
import pytest

import flightlog
from flightlog.joining import join
from flightlog.operations.flight_view import (
    BY_HAND,
    NO_DEBRIEF,
    _as_it_was_used,
    flight_view,
    number,
)
from flightlog.operations.importing import import_recording
from flightlog.operations.sorties import recording_debrief, sorties
from tests.operations.flown import flown
from tests.operations.logs import imported
from tests.operations.made import MORNING, SAMPLES
from tests.operations.released import copied


@pytest.fixture(scope="module")
def flights(farm_place, tmp_path_factory):
    """A farm with the calm flight in its record, joined with the transmitter's card."""
    farm = copied(farm_place[0], tmp_path_factory.mktemp("flights"), farm_place[1])
    farm.clock.later(days=2)
    logs = [SAMPLES / "calm.bin", SAMPLES / "calm_transmitter.csv"]
    (joined,) = join([flightlog.read(log) for log in logs])
    import_recording(farm.desk, joined, logs)
    yield farm, joined
    farm.close()


@contextmanager
def replaced(farm, flight, ending, data=None):
    """Take a kept file away for a while, or put other bytes into its place."""
    kept = next(a for a in flight.recording.body.attachments if a.name.endswith(ending))
    place = farm.book.attachments.path(kept.sha256)
    whole = place.read_bytes()
    place.unlink()
    if data is not None:
        place.write_bytes(data)
    try:
        yield
    finally:
        place.write_bytes(whole)


def test_the_kept_log_is_read_again_and_joined_as_it_was(flights):
    farm, joined = flights
    (flight,) = sorties(farm.desk)
    view = flight_view(farm.desk, flight)

    assert "" == view.why
    assert flight is view.record
    assert recording_debrief(farm.desk, flight.recording) == view.whole
    assert view.whole["sorties"][0] == view.debrief
    assert list(joined) == list(view.recording)
    assert all(joined[name].equals(view.recording[name]) for name in joined)
    (partner,) = view.recording.receipt.partners
    assert joined.receipt.partners[0].sha256 == partner.sha256
    assert joined.receipt.partners[0].offset_s == partner.offset_s
    assert (3,) == view.motors


def test_the_path_measures_what_the_stored_debrief_says(flights):
    farm, _ = flights
    (flight,) = sorties(farm.desk)
    view = flight_view(farm.desk, flight)
    path = view.path
    at = [view.event("start_s"), view.event("liftoff_s")]
    east, north = (np.diff(np.interp(at, path.time_s, v)) for v in (path.east_m, path.north_m))

    assert view.figure("takeoff.ground_roll")[0] == pytest.approx(
        float(np.hypot(east, north)[0]), abs=0.1
    )
    height = np.interp(at[0] + 60, path.time_s, path.height_m)
    assert view.figure("climb.height_at_60s")[0] == pytest.approx(height, abs=0.5)
    assert path.time_s[0] <= at[0] - 11
    assert path.time_s[-1] >= view.event("end_s")


@pytest.mark.parametrize(
    ("data", "says"),
    [
        (None, "the kept log calm.bin: the file is missing"),
        (b"", "the kept log calm.bin: the file has 0 bytes, not"),
        ((SAMPLES / "calm.bin").read_bytes()[:-1] + b"x", "the file has another content"),
    ],
)
def test_a_log_that_is_missing_or_damaged_is_told_and_the_numbers_stay(flights, data, says):
    farm, _ = flights
    (flight,) = sorties(farm.desk)
    with replaced(farm, flight, "calm.bin", data):
        view = flight_view(farm.desk, flight)

    assert says in view.why
    assert view.recording is None
    assert view.path is None
    assert view.debrief


def test_a_card_that_is_missing_leaves_the_log_on_board(flights):
    farm, _ = flights
    (flight,) = sorties(farm.desk)
    with replaced(farm, flight, "transmitter.csv"):
        view = flight_view(farm.desk, flight)

    assert "the kept log calm_transmitter.csv: the file is missing" == view.why
    assert () == view.recording.receipt.partners
    assert view.path is not None


def test_without_its_stored_debrief_a_flight_has_no_times(flights):
    farm, _ = flights
    (flight,) = sorties(farm.desk)
    with replaced(farm, flight, ".debrief.json"):
        view = flight_view(farm.desk, flight)

    assert NO_DEBRIEF == view.why
    assert ({}, {}) == (view.debrief, view.whole)
    assert view.recording is not None
    assert view.path is None
    assert view.event("start_s") is None
    assert view.figure("takeoff.ground_roll") is None


def test_a_log_that_was_just_read_is_not_read_again(flights):
    farm, joined = flights
    (flight,) = sorties(farm.desk)
    with replaced(farm, flight, "calm.bin"):
        view = flight_view(farm.desk, flight, joined)

    assert "" == view.why
    assert joined.receipt is view.recording.receipt


def test_a_log_of_another_flight_is_not_taken(flights):
    farm, joined = flights
    (flight,) = sorties(farm.desk)
    other = flightlog.read(SAMPLES / "position_1hz_only.bin")
    view = flight_view(farm.desk, flight, other)

    assert joined.receipt.sha256 == view.recording.receipt.sha256


def test_a_file_that_is_no_log_is_told(farm):
    (flight,) = imported(farm, MORNING)
    view = flight_view(farm.desk, flight)

    assert view.why.startswith("the kept log made.bin: no known log format")
    assert view.recording is None
    assert view.debrief


def test_a_flight_by_hand_has_no_log(farm):
    flown(farm, source="hand")
    (flight,) = sorties(farm.desk)
    view = flight_view(farm.desk, flight)

    assert (BY_HAND, None, None, {}) == (view.why, view.recording, view.path, view.debrief)


def test_what_the_debrief_left_out_is_left_out_here(flights):
    _, joined = flights
    findings = [
        {"code": "height-unit", "severity": "stop", "evidence": {"left_out": "baro.height_m"}},
        {"code": "repeated-fixes", "severity": "note", "evidence": {}},
    ]
    stopped = [{"code": "airspeed-unusable", "severity": "stop", "evidence": {}}]
    used = _as_it_was_used(joined, {"findings": findings}, {"findings": stopped})

    assert used["baro"]["height_m"].isna().all()
    assert joined["baro"]["height_m"].notna().all()
    assert "airspeed" not in used
    assert len(joined["gps"]) == len(used["gps"])


@pytest.mark.parametrize(
    ("said", "found"),
    [(1, 1.0), (2.5, 2.5), (None, None), (True, None), ("7", None), (float("inf"), None)],
)
def test_only_a_finite_number_is_a_number(said, found):
    assert found == number(said)
