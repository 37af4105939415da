"""One entry: what is said about when it happened has to fit the time of the entry itself."""

from __future__ import annotations

import json
from datetime import timedelta
from typing import Any

import pytest

from flightlog.errors import LogbookError
from flightlog.logbook.entry import Body, ClaimedTime, Occurred, read_body, write_body
from tests.logbook.made import NOON, TEAM, public_of


def late(occurred: Occurred | None) -> Body:
    time = ClaimedTime(NOON, "laptop clock")
    return Body(TEAM, public_of("laptop"), 1, None, (), time, "remark", {}, occurred=occurred)


def changed(**occurred: Any) -> bytes:
    """The bytes of an entry that says something else about when it happened."""
    record = json.loads(write_body(late(Occurred(NOON - timedelta(seconds=90), 90, "flat"))))
    record["occurred"] |= occurred
    return json.dumps(record, separators=(",", ":"), sort_keys=True).encode()


@pytest.mark.parametrize("late_s", [1, 90, 86_400 * 366])
def test_how_late_an_entry_is_lies_between_its_two_times(late_s):
    occurred = Occurred(NOON - timedelta(seconds=late_s), late_s, "no laptop on the strip")

    assert occurred == read_body(write_body(late(occurred))).occurred


@pytest.mark.parametrize("late_s", [1, 89, 91, 2**53 - 1])
def test_an_entry_that_says_less_or_more_late_than_its_times_is_refused(late_s):
    with pytest.raises(LogbookError, match=f"late by {late_s} s, where its times are 90 s apart"):
        read_body(changed(late_s=late_s))


@pytest.mark.parametrize(
    "utc", ["2027-03-02T12:00:00Z", "2027-03-02T12:00:01Z", "9999-12-31T23:59:59Z"]
)
def test_what_happened_when_the_entry_was_made_or_afterwards_is_refused(utc):
    with pytest.raises(LogbookError, match="it happened no earlier than the entry was made"):
        read_body(changed(utc=utc))


def test_an_entry_that_says_so_is_not_written_either():
    with pytest.raises(LogbookError, match=r"occurred.late_s: .* late by 5 s"):
        write_body(late(Occurred(NOON - timedelta(hours=1), 5, "flat")))
