"""The clock of ULog files: stamps that lie, restarts, and where nothing was logged."""

from __future__ import annotations

import numpy as np
import pytest

from tests.importers.log_checks import told
from tests.importers.ulog_writer import Writer, started

UTC_US = 1_700_000_000_000_000


def stamped(stamps: list[int], *, start_us: int = 1_000_000) -> Writer:
    writer = started("vehicle_attitude", start_us=start_us)
    for stamp in stamps:
        writer.row("vehicle_attitude", stamp, 1.0, 0.0, 0.0, 0.0)
    return writer


def test_stamps_in_unix_time_count_from_the_first_row_and_tell_utc(recorded):
    log = recorded(stamped([UTC_US + 100_000 * i for i in range(50)], start_us=UTC_US))

    assert log["attitude"]["time_s"].tolist() == pytest.approx(
        [0.1 * i for i in range(50)], abs=1e-6
    )
    assert log.receipt.time_origin == "first row"
    assert log.receipt.utc.offset_s == UTC_US / 1e6
    assert log.receipt.utc.std_s == 60.0
    assert "since 1970" in log.receipt.clock


def test_one_stamp_far_beyond_the_end_does_not_stretch_the_log(recorded):
    writer = started("vehicle_attitude", "mission")
    for i in range(50):
        writer.row("vehicle_attitude", 1_000_000 + 100_000 * i, 1.0, 0.0, 0.0, 0.0)
        if i == 1:
            writer.row("mission", 1_000_000_000, 3)
        if i == 30:
            writer.parameter("LATE", 1)
            writer.dropout(250)
    log = recorded(writer)

    assert log.receipt.duration_s == pytest.approx(4.9)
    assert told(log, "clock-unbelievable").evidence == {"rows": 1, "duration_s": pytest.approx(4.9)}
    assert "999 s" in told(log, "clock-unbelievable").message
    assert log["parameters"]["time_s"].iloc[-1] == pytest.approx(4.0)
    assert told(log, "log-gap").start_s == pytest.approx(4.0)


def test_a_row_that_runs_backwards_is_left_out(recorded):
    stamps = [1_000_000 + 100_000 * i for i in range(50)]
    stamps[25] = 1_500_000
    log = recorded(stamped(stamps))

    assert len(log["attitude"]) == 49
    assert told(log, "clock-backwards").evidence == {"rows": 1, "topics": 1}
    assert told(log, "clock-backwards").severity == "degrade"


def test_a_restart_of_the_clock_is_told_and_time_goes_on(recorded):
    once = [100_000_000 + 100_000 * i for i in range(60)]
    again = [5_000_000 + 100_000 * i for i in range(60)]
    log = recorded(stamped([*once, *again], start_us=100_000_000))

    assert len(log["attitude"]) == 120
    assert (np.diff(log["attitude"]["time_s"]) > 0).all()
    assert len(log.receipt.seams) == 1
    assert told(log, "clock-restart").evidence == {"before_s": pytest.approx(105.9), "after_s": 5.0}


def test_a_file_written_topic_after_topic_is_no_series_of_restarts(recorded):
    writer = started("vehicle_attitude", "airspeed", "mission")
    for i in range(100):
        writer.row("vehicle_attitude", 1_000_000 + 100_000 * i, 1.0, 0.0, 0.0, 0.0)
    for i in range(100):
        writer.row("airspeed", 1_050_000 + 100_000 * i, 9.0)
    writer.dropout(100)
    log = recorded(writer)

    assert len(log["attitude"]) == len(log["airspeed"]) == 100
    assert log.receipt.seams == ()
    assert log.receipt.duration_s == pytest.approx(9.95)
    assert told(log, "clock-backwards").severity == "note"
    assert told(log, "log-gap").start_s is None


def test_topics_that_carry_no_time_do_not_disturb_the_others(recorded):
    writer = started("vehicle_attitude", "mission", "airspeed")
    for i in range(50):
        writer.row("mission", 0, i)
        writer.row("airspeed", 0, 5.0)
        writer.row("vehicle_attitude", 1_000_000 + 100_000 * i, 1.0, 0.0, 0.0, 0.0)
    log = recorded(writer)

    assert len(log["attitude"]) == 50
    assert "airspeed" not in log
    assert "mission" in next(line for line in log.receipt.notes if "no time" in line)


def test_rows_from_before_logging_are_not_measurements_of_this_log(recorded):
    writer = started("airspeed", "vehicle_attitude", start_us=100_000_000)
    writer.row("airspeed", 40_000_000, 5.0)
    for i in range(50):
        t = 100_000_000 + 100_000 * i
        writer.row("vehicle_attitude", t, 1.0, 0.0, 0.0, 0.0).row("airspeed", t, 6.0)
    log = recorded(writer)

    assert log["airspeed"]["time_s"].iloc[0] == pytest.approx(100.0)
    assert log.receipt.dropped == {"airspeed: stamped before logging started": 1}
    assert log.receipt.duration_s == pytest.approx(4.9)


# --- gaps


def test_dropouts_are_told_with_their_total_and_the_longest(recorded):
    writer = started("vehicle_attitude")
    for i in range(100):
        writer.row("vehicle_attitude", 1_000_000 + 100_000 * i, 1.0, 0.0, 0.0, 0.0)
        if i in (20, 50, 80):
            writer.dropout({20: 30, 50: 120, 80: 49}[i])
    gap = told(recorded(writer), "log-gap")

    assert gap.evidence == {
        "dropouts": 3, "total_s": pytest.approx(0.199), "longest_s": pytest.approx(0.120),
    }  # fmt: skip
    assert (gap.start_s, gap.end_s) == (pytest.approx(6.0), pytest.approx(6.12))


def test_a_silence_without_a_dropout_record_is_a_gap_too(recorded):
    stamps = [1_000_000 + 100_000 * i for i in range(50)]
    log = recorded(stamped([*stamps, *(stamp + 15_000_000 for stamp in stamps)]))
    gap = told(log, "log-gap")

    assert gap.evidence["length_s"] == pytest.approx(10.1)
    assert (gap.start_s, gap.end_s) == (pytest.approx(5.9), pytest.approx(16.0))
