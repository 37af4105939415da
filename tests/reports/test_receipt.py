from __future__ import annotations

import numpy as np
import pandas as pd

from flightlog.findings import make_finding
from flightlog.recording import ColumnSource, Receipt, Recording, UtcRelation
from flightlog.reports.receipt import receipt_lines

HOSTILE = "\x1b[31mname\nfirmware: forged"


def recording(**receipt):
    time_s = np.arange(0.0, 10.0, 0.2)
    gps = pd.DataFrame({"time_s": np.repeat(time_s, 2), "instance": np.tile([0, 1], 50)})
    modes = pd.DataFrame({"time_s": [1.0, 1.001], "mode": ["MANUAL", "AUTO"]})
    given = {"file": "a.bin", "size": 9, "sha256": "ab" * 32, "format": "dataflash"} | receipt
    return Recording(
        {"gps": gps, "modes": modes},
        Receipt(importer_version=1, **given),
        findings=(make_finding("truncated", "stops inside a record"),),
    )


def text(made):
    return "\n".join(receipt_lines(made))


def test_tables_are_listed_with_rows_rate_and_instances():
    shown = text(recording(chosen_instances={"gps": 1}))

    # one row each 0.2 s is 5 Hz; 50 times from 0 to 9.8 s, of two receivers
    assert "gps               100 rows      5.0 Hz  0.0 to 9.8 s, 2 sensors, 1 is used" in shown
    assert "modes               2 rows              1.0 to 1.0 s" in shown


def test_messages_drops_seams_and_findings_are_listed():
    shown = text(
        recording(message_counts={"GPS": 50}, dropped={"time ran backwards": 2}, seams=(5.0,))
    )

    assert "GPS 50" in shown
    assert "time ran backwards 2" in shown
    assert "restart at 5.0 s" in shown
    assert "[truncated]" in shown


def test_hostile_text_forges_no_line():
    lines = receipt_lines(
        recording(file=HOSTILE, firmware=HOSTILE, notes=(HOSTILE,), message_counts={HOSTILE: 1})
    )

    assert all(line.isprintable() for line in lines)
    assert not any(line.startswith("firmware: forged") for line in lines)


def test_a_log_without_sensors_says_so():
    empty = Recording({}, Receipt("a.bin", 9, "ab" * 32, "dataflash", 1))

    assert "none: no sensor was recognised" in text(empty)


def test_the_first_line_says_when_the_log_began():
    # 1 803 982 499 s is 2027-03-02 10:14:59; the first row of a sensor is at 0 s
    utc = UtcRelation(1_803_982_499.0, 60.0, "the device's own clock, local time", zone_known=False)
    shown = " ".join(text(recording(utc=utc)).split())

    assert "from 2027-03-02 10:14:59 local time SHA-256" in shown
    assert (
        "UTC: not known, for the zone is not told (the device's own clock, local time, good to "
        "60 s)" in shown
    )


def test_findings_come_before_the_columns_and_the_gravest_first():
    made = recording(columns=(ColumnSource("gps", "hdop", "GPS.HDop", "", "the format"),))
    grave = make_finding("no-clock", "half of the rows have no time")
    made = Recording({"gps": made["gps"]}, made.receipt, findings=(*made.findings, grave))
    lines = receipt_lines(made)
    at = {word: next(n for n, line in enumerate(lines) if word in line)
          for word in ("[no-clock]", "[truncated]", "Columns")}  # fmt: skip

    assert at["[no-clock]"] < at["[truncated]"] < at["Columns"]


def test_a_long_reason_that_most_columns_share_is_said_once():
    why = "the format's own message definitions"
    sources = [ColumnSource("imu", f"gyro_{axis}_rad_s", axis, "rad/s", why) for axis in "xyzw"]
    other = ColumnSource("outputs", "pulse_us", "output", "us", "the values: between 500 and 2500")
    shown = text(recording(columns=(*sources, other)))

    assert shown.count(why) == 1
    assert f"Columns, by {why} where nothing else is said" in shown
    assert "gyro_x_rad_s <- x, rad/s\n" in shown
    assert "output, us, the values: between 500 and 2500" in shown


def test_restarts_stand_in_one_line():
    shown = " ".join(text(recording(seams=tuple(float(n) for n in range(1, 16)))).split())

    assert "note: restarts at 1.0, 2.0, 3.0," in shown
    assert "12.0 s and 3 more" in shown
