"""Whether what is expected of the next flight is still of today, of this load and of this air."""

from __future__ import annotations

from collections.abc import Iterable
from datetime import timedelta

from flightlog.logbook.entry import Entry
from flightlog.operations.desk import Desk
from flightlog.operations.load_sheet import sheets
from flightlog.operations.plan import Plan
from flightlog.operations.positions import CLOCKS_APART, named, newest
from flightlog.operations.weather import latest_weather

EXPECTED_FOR = timedelta(hours=12)
"""How long an expected figure holds."""


def current_sheets(desk: Desk, plan: Plan) -> tuple[Entry, ...]:
    """Give the load sheet that is in force, or several made apart from each other."""
    return newest(desk.ledger, sheets(desk, plan.aircraft))


def rests_on(desk: Desk, plan: Plan) -> tuple[Entry, ...]:
    """Give what has to be known for anything to be expected: load sheet and weather in force."""
    weather = latest_weather(desk, plan.site)
    return (*current_sheets(desk, plan), *((weather,) if weather is not None else ()))


def why_old(desk: Desk, plan: Plan, entry: Entry) -> str:
    """Say why what was expected is not of today, or not of this load and air; "" where it is."""
    ledger = desk.ledger
    age = ledger.now - ledger.when(entry)
    if age > EXPECTED_FOR:
        return f"is older than {EXPECTED_FOR.total_seconds() / 3600:g} h"
    if age < -CLOCKS_APART:
        return "claims a time that is still to come"
    return made_without(ledger.unseen(rests_on(desk, plan), entry))


def made_without(missed: Iterable[Entry]) -> str:
    """Name what an entry had not seen; "" where there is nothing."""
    told = " and ".join(f"{e.body.kind} {named(e)}" for e in missed)
    return f"was made without {told}" if told else ""
