"""How old things are that nobody looks after on a flying day: the last merge, the second copy."""

from __future__ import annotations

from datetime import timedelta

from flightlog.logbook.entry import Entry, device_name
from flightlog.logbook.words import duration
from flightlog.operations.desk import Desk
from flightlog.operations.positions import named

_MINUTE_S = 60
_AHEAD = timedelta(hours=1)


def merge_line(desk: Desk) -> str:
    """Say how fresh the record is of what other laptops wrote.

    A merge writes nothing of itself, so that when it was is not known; but the last entry of each
    laptop tells of when it knew what the others had written.
    """
    last = _last_of_each(desk)
    if len(last) < 2:
        return "Merged: nothing yet; all entries here are of one laptop."
    latest = last[0]
    ages = [
        f"{device_name(entry.body.device)} {_ago(desk, entry)} ({named(entry)}"
        f"{'' if _knows(desk, latest, entry) else ', NOT KNOWN to the latest entry'})"
        for entry in last
    ]
    return (
        f"Merged: when is not written down. Last entry of each of {len(last)} laptops: "
        f"{'; '.join(ages)}"
    )


def _last_of_each(desk: Desk) -> list[Entry]:
    """Give the last entry of each device, the latest by its claimed time first."""
    last: dict[str, Entry] = {}
    for entry in desk.ledger.order:
        last[entry.body.device] = entry
    return sorted(last.values(), key=lambda entry: entry.body.time.utc, reverse=True)


def _knows(desk: Desk, latest: Entry, entry: Entry) -> bool:
    return entry is latest or desk.ledger.has_seen(latest, entry)


def _ago(desk: Desk, entry: Entry) -> str:
    minutes = int((desk.ledger.now - entry.body.time.utc).total_seconds()) // _MINUTE_S
    if minutes < 0:
        return "ahead of this laptop's clock"
    return f"{duration(minutes * _MINUTE_S)} ago" if minutes else "just now"


def clock_line(desk: Desk) -> str:
    """Say that entries lie ahead of this laptop's clock, "" where none does by more than an hour.

    The clock is wrong then, or that of another laptop was, or the record is the sample season.
    """
    latest = max(desk.ledger.order, key=lambda entry: entry.body.time.utc, default=None)
    if latest is None:
        return ""
    ahead = latest.body.time.utc - desk.ledger.now
    if ahead <= _AHEAD:
        return ""
    return (
        f"This laptop's clock is {_roughly(ahead)} behind the record, by "
        f"{named(latest)}. What lies ahead of a clock counts for nothing: set it before you sign. "
        "(The sample season of 'flightlog demo' lies in spring 2027.)"
    )


def _roughly(time: timedelta) -> str:
    """Write a time as whole days, below one in minutes."""
    minutes = int(time.total_seconds()) // _MINUTE_S
    return f"{time.days} d" if time.days else duration(minutes * _MINUTE_S)
