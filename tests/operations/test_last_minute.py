"""The last minute of logs that end within a record, with clocks that disagree."""

from __future__ import annotations

import json
import math
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from flightlog.errors import LogFileError
from flightlog.importers import read
from flightlog.operations import last_minute
from flightlog.operations.last_minute import AFTER_S, LAST_S, timeline
from tests.importers.dataflash_writer import with_fmt
from tests.operations.made import SAMPLES

# What the generator made: UTC at the zero of the log's clock, and where the whole log ends.
TRUTH = json.loads((SAMPLES / "calm_transmitter.truth.json").read_text(encoding="utf-8"))
UTC_AT_ZERO = TRUTH["utc_at_log_zero"]
WHOLE_ENDS_S = 299.5175
CUT = 0.7


@pytest.fixture(scope="module")
def cut_log(tmp_path_factory):
    """The log of the calm flight, cut within a record as when the supply is lost in the air."""
    path = tmp_path_factory.mktemp("cut") / "00000012.BIN"
    data = (SAMPLES / "calm.bin").read_bytes()
    path.write_bytes(data[: int(len(data) * CUT) + 37])
    return path


def attached(farm, *paths):
    return [farm.book.attach(path) for path in paths]


def of(found, source, table="", column=""):
    return [
        c
        for c in found.channels
        if c.source == source
        and (not table or (c.table == table and not c.as_logged))
        and column in ("", c.column)
    ]


def note(found, name):
    return "\n".join(n for n in found.notes if n.startswith(name))


@pytest.fixture
def both(farm, cut_log):
    """The cut log beside the transmitter's card of the same flight."""
    card = SAMPLES / "calm_transmitter.csv"
    return timeline(farm.desk, attached(farm, card, cut_log))


def test_a_log_that_was_cut_off_is_the_axis_and_its_end_is_zero(both, cut_log):
    whole = read(cut_log)
    end = max(float(whole[name]["time_s"].max()) for name in whole)

    assert both.zero is not None
    assert abs(both.zero.timestamp() - (UTC_AT_ZERO + end)) < 0.4 + 1e-6
    assert "bytes of a cut record" in note(both, "00000012.BIN")
    assert "zero is its end" in note(both, "00000012.BIN")
    times = np.concatenate([c.time_s for c in of(both, "00000012.BIN")])
    assert -LAST_S <= times.min() < -LAST_S + 0.05
    assert -0.05 < times.max() <= 0.0


def test_no_peak_is_lost_though_few_points_are_kept(both, cut_log):
    imu = read(cut_log)["imu"]
    last = imu[imu["time_s"] >= imu["time_s"].max() - 59.9]
    for column in ("accel_z_m_s2", "gyro_x_rad_s"):
        (channel,) = of(both, "00000012.BIN", "imu instance 0", column)

        assert len(channel.value) < 500 < len(last)
        assert last[column].max() <= channel.value.max()
        assert last[column].min() >= channel.value.min()


def test_every_message_type_of_the_log_is_there_in_its_own_words(both):
    raw = {c.table: c for c in of(both, "00000012.BIN") if c.as_logged and c.column == "Roll"}

    (tidy,) = of(both, "00000012.BIN", "attitude", "roll_rad")
    assert "deg" == raw["ATT"].unit
    assert np.rad2deg(tidy.value.max()) == pytest.approx(raw["ATT"].value.max(), abs=0.01)
    assert raw["ATT"].time_s.tolist() == pytest.approx(tidy.time_s.tolist(), abs=1e-6)


def test_the_card_is_laid_on_it_within_what_it_says(both):
    """Its zone stands nowhere and its clock is slow; only what both saw tells where it belongs."""
    said = note(both, "calm_transmitter.csv")
    within = float(said.rpartition("within ")[2].partition(" s")[0])
    own = read(SAMPLES / "calm_transmitter.csv")
    (channel,) = of(both, "calm_transmitter.csv", "battery instance 0", "voltage_v")
    # The last row on the card, by its own clock, and when that was by the generator's truth.
    true = own.receipt.utc.offset_s - TRUTH["clock_minus_utc_s"]
    rows = own["battery"]["time_s"].to_numpy() + true - both.zero.timestamp()
    near = rows[(rows >= -LAST_S) & (rows <= AFTER_S)]

    assert "laid on it by speed, height, position" in said
    assert 0.1 < within < 1.0
    assert abs(channel.time_s.max() - near.max()) < within + 0.25 + 0.4
    # It goes on after the log on board has ended; so much of that is shown.
    assert AFTER_S - 1.0 < channel.time_s.max() <= AFTER_S
    assert {"00000012.BIN"} == {c.axis for c in both.channels}


def test_modes_and_messages_are_told_when_they_came(farm):
    found = timeline(farm.desk, attached(farm, SAMPLES / "calm.bin"))
    said = {e.text: e.time_s for e in found.events}

    assert said["Motor disarmed"] == pytest.approx(294.5 - WHOLE_ENDS_S, abs=1e-6)
    assert said["mode 0"] == pytest.approx(263.74 - WHOLE_ENDS_S, abs=1e-6)
    assert [e.time_s for e in found.events] == sorted(e.time_s for e in found.events)


def test_logs_of_other_days_are_told_and_not_laid_over_it(farm, cut_log):
    """Of a card with several flights the one that ends last is meant, or the one of a time."""
    attachments = attached(farm, SAMPLES / "headwind.bin", cut_log)
    farm.clock.later(days=3)
    farm.desk.refresh()
    found = timeline(farm.desk, attachments)
    assert {"headwind.bin"} == {c.source for c in found.channels}
    assert "before zero" in note(found, "00000012.BIN")

    at = datetime.fromtimestamp(UTC_AT_ZERO + 150.0, UTC)
    found = timeline(farm.desk, attachments, at)
    assert at == found.zero
    assert {"00000012.BIN"} == {c.source for c in found.channels}
    assert "zero is the time given" in note(found, "00000012.BIN")
    assert "it goes on for" in note(found, "00000012.BIN")

    found = timeline(farm.desk, attachments, reference="0012.BIN")
    assert {"00000012.BIN"} == {c.source for c in found.channels}
    with pytest.raises(LogFileError, match="0 of the logs"):
        timeline(farm.desk, attachments, reference="13.BIN")

    # A clock that is days ahead of this laptop's makes no log the last one.
    farm.clock.later(days=-3)
    farm.desk.refresh()
    assert {"00000012.BIN"} == {c.source for c in timeline(farm.desk, attachments).channels}


def test_a_time_that_is_in_no_log_is_told(farm, cut_log):
    at = datetime.fromtimestamp(UTC_AT_ZERO, UTC) + timedelta(hours=5)
    found = timeline(farm.desk, attached(farm, cut_log), at)

    assert any("is in no log" in n for n in found.notes)
    assert "zero is its end" in note(found, "00000012.BIN")


def test_a_log_that_goes_on_long_after_the_last_movement_says_when_that_was(farm):
    end = datetime.fromtimestamp(UTC_AT_ZERO + WHOLE_ENDS_S, UTC)
    found = timeline(farm.desk, attached(farm, SAMPLES / "calm.bin"), end + timedelta(seconds=40))
    said = next(n for n in found.notes if "last movement" in n)
    speed = read(SAMPLES / "calm.bin")["gps"]
    moved = speed[speed["ground_speed_m_s"] > 2.5]["time_s"].max()

    # Speeds are looked at once a second.
    told = float(said.rpartition(" was ")[2].partition(" s before")[0])
    assert told == pytest.approx(WHOLE_ENDS_S + 40 - moved, abs=1.5)
    assert "--at 2027-03-15T09:18:2" in said


def log_without_utc(path, seconds=90, roll=1.0):
    """A log that tells attitudes and nothing of when or where."""
    writer = with_fmt().declare(10, "ATT", "Qff", "TimeUS,Roll,Pitch")
    for step in range(int(seconds * 10)):
        value = roll * math.sin(step)
        writer.add("ATT", int(step * 1e5), value, 0.5)
    path.write_bytes(writer.data)
    return path


def test_a_log_without_any_time_of_day_stands_by_itself(farm, cut_log, tmp_path, monkeypatch):
    logs = [log_without_utc(tmp_path / f"dark-{n}.bin", roll=n + 1.0) for n in range(3)]
    monkeypatch.setattr(last_minute, "MOST_APART", 2)
    found = timeline(farm.desk, attached(farm, *logs, cut_log))

    for number in range(2):
        name = f"dark-{number}.bin"
        assert "NOT ALIGNED" in note(found, name)
        assert {name} == {c.axis for c in of(found, name)}
        assert 0.0 == max(c.time_s.max() for c in of(found, name))
    assert note(found, "dark-2.bin").endswith("not shown")
    assert not of(found, "dark-2.bin")

    # Alone it is its own axis, and no UTC is made up.
    alone = timeline(farm.desk, attached(farm, logs[0]), datetime(2027, 3, 15, tzinfo=UTC))
    assert alone.zero is None
    assert any("tells no UTC" in n for n in alone.notes)


def test_what_is_no_log_is_told_and_nothing_is_made_of_it(farm, tmp_path, monkeypatch):
    (tmp_path / "note.txt").write_text("hello", encoding="utf-8")
    (tmp_path / "empty.bin").write_bytes(b"")
    (tmp_path / "torn.bin").write_bytes((SAMPLES / "calm.bin").read_bytes()[:70])
    names = ("note.txt", "empty.bin", "torn.bin")
    found = timeline(farm.desk, attached(farm, *(tmp_path / n for n in names)))

    assert () == found.channels
    assert "no log could be read" == found.notes[-1]
    for name in names:
        assert "not read as a log" in note(found, name)
    gone = attached(farm, tmp_path / "note.txt")
    farm.book.attachments.path(gone[0].sha256).unlink()
    assert "not read as a log" in note(timeline(farm.desk, gone), "note.txt")
    monkeypatch.setattr(last_minute, "MOST_LOGS", 1)
    logs = [log_without_utc(tmp_path / f"dark-{n}.bin", 5, n + 1.0) for n in range(3)]
    assert "2 further files were not looked at" in timeline(farm.desk, attached(farm, *logs)).notes


def test_a_log_in_parts_is_read_again_where_it_does_not_fit_into_memory(farm, cut_log, monkeypatch):
    whole = timeline(farm.desk, attached(farm, cut_log))
    monkeypatch.setattr(last_minute, "_HELD_BYTES", 0)
    again = timeline(farm.desk, attached(farm, cut_log))

    assert whole.notes == again.notes
    assert len(whole.channels) == len(again.channels)
