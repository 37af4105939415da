"""How old things are that nobody looks after on a flying day: the last merge, the second copy."""

from __future__ import annotations

from flightlog.logbook.entry import Entry, device_name
from flightlog.logbook.words import duration
from flightlog.operations.desk import Desk
from flightlog.operations.positions import named

_MINUTE_S = 60


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
