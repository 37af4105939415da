from __future__ import annotations

import json
from dataclasses import replace

from flightlog.logbook.checking import check_rows, report_json, report_lines
from flightlog.logbook.device import Remembered
from flightlog.logbook.entry import device_name
from tests.logbook.made import rows_of
from tests.logbook.made_logbook import checked, made_logbook, without

ENTRIES = made_logbook()


def test_a_report_as_lines_says_the_first_break_and_what_can_not_be_known():
    rows = rows_of(ENTRIES)
    rows[20] = replace(rows[20], device_signature=bytes(64))
    rows[30] = replace(rows[30], number=99)
    lines = report_lines(check_rows(rows))

    assert "THE RECORD IS BROKEN: 2 breaks among 49 entries of 2 devices." == lines[0]
    assert ["", "First break, in the order received:"] == lines[1:3]
    assert lines[3].startswith(f"  {ENTRIES[20].name} as stored: the device's signature")
    assert "Other breaks:" in lines
    assert "What this check can't know:" in lines
    assert not any("(row" in line for line in lines)
    assert 21 == check_rows(rows).first_break.received
    assert not any("Heads to note down" in line for line in lines)


def test_a_whole_report_as_lines_does_not_speak_of_breaks():
    lines = report_lines(checked(ENTRIES))

    assert "The record is whole: 50 entries of 2 devices, signed by 2 persons." == lines[0]
    assert not any("break" in line.lower() for line in lines)
    assert "Heads to note down on paper:" in lines


def test_a_report_as_json_holds_the_same():
    report = checked(without(ENTRIES, 10))
    record = json.loads(json.dumps(report_json(report)))

    assert "flightlog.logbook-check/1" == record["schema"]
    assert record["ok"] is False
    assert report.first_break.name == record["first_break"]["name"]
    assert list(report.cannot_know) == record["cannot_know"]
    assert report.first_break.received == record["first_break"]["received"]


def test_a_report_as_json_has_these_parts():
    report = checked(ENTRIES)
    record = report_json(report)
    last = ENTRIES[-1]

    assert {
        *("schema", "ok", "entries", "devices", "persons", "first_break", "breaks"),
        *("more_breaks", "flags", "notes", "heads", "compared", "cannot_know", "team", "tips"),
    } == set(record)
    assert last.body.team == record["team"]
    assert {"device": last.body.device, "number": last.body.number, "hash": last.hash} == (
        record["tips"][0]
    )


def test_an_older_copy_is_said_to_be_one_with_what_is_missing():
    last, before = ENTRIES[-1], ENTRIES[-2]
    kept = [Remembered(e.body.device, e.body.number, e.hash) for e in (last, before)]
    report = checked(ENTRIES[:-2], remembered=kept[:1])
    lines = report_lines(report)
    number, device = last.body.number, device_name(last.body.device)

    assert last.body.device == before.body.device
    assert (
        "THIS COPY IS OLDER THAN WHAT WAS NOTED, OR WAS CUT AT ITS END: "
        f"entries {number - 1} to {number} of device {device} are missing. "
        "Unite it with the newer folder: flightlog logbook merge OTHER"
    ) == lines[0]
    assert not report.ok
    assert not any("BROKEN" in line for line in lines)
    assert any("which this laptop remembers: not here" in line for line in lines)
