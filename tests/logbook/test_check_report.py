from __future__ import annotations

import json
from dataclasses import replace

from flightlog.logbook.checking import check_rows, report_json, report_lines
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
    assert lines[3].endswith(" (row 21)")
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
