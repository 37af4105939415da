from __future__ import annotations

import numpy as np
import pandas as pd

from flightlog.findings import make_finding
from flightlog.recording import Receipt, Recording
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
    assert "gps               100 rows      5.0 Hz  0.0 to 9.8 s  2 instances, 1 is used" in shown
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
