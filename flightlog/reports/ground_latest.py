"""When each thing was last measured on the ground, and in what way."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta

from flightlog.groundtests.registry import GROUND_KINDS
from flightlog.operations.desk import Desk
from flightlog.operations.ground_record import (
    CHARGED,
    DONE,
    SET,
    SHOWN,
    TESTED,
    WEIGHED,
    Measured,
    measured_on_ground,
)
from flightlog.operations.positions import named

LATEST_HEAD = ("What", "Of", "Last, UTC", "Entry")
_WORDS = {
    WEIGHED: "weighing",
    CHARGED: "charge",
    SET: "parameter baseline",
    SHOWN: "clause measured",
    DONE: "inspection or service",
}
_DAY = timedelta(days=1)


def latest_on_ground(desk: Desk) -> list[Measured]:
    """Give the newest of each kind of measurement of each thing, the newest first."""
    newest: dict[tuple[str, str, str], Measured] = {}
    for one in measured_on_ground(desk):
        newest.setdefault((_what(one), one.thing, one.id), one)
    return list(newest.values())


def latest_rows(desk: Desk, found: Iterable[Measured]) -> list[tuple[str, ...]]:
    """Give measurements as rows of `LATEST_HEAD`."""
    return [
        (
            _what(one),
            f"{one.thing} {one.id}",
            f"{one.when:%Y-%m-%d}, {_ago(desk.ledger.now - one.when)}",
            named(one.entry),
        )
        for one in found
    ]


def _what(one: Measured) -> str:
    """Say what was done; of a ground test its kind."""
    if one.what != TESTED:
        return _WORDS.get(one.what, one.what)
    word = str(one.entry.body.content["test"])
    kind = GROUND_KINDS.get(word)
    return f"{kind.label}, bench test" if kind is not None else word


def _ago(age: timedelta) -> str:
    days = age // _DAY
    if days < 0:
        return "ahead of this laptop's clock"
    if days == 0:
        return "within a day"
    return f"{days} day{'' if days == 1 else 's'} ago"
