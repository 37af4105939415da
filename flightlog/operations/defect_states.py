"""Defects as they stand: open, deferred and for how long, put right, closed.

A blocking or deferrable defect restricts what it was found on, from the moment it is reported. An
entry that ends the restriction is enough for the record, and not here: see ``defect_rules``.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from datetime import datetime
from typing import cast

from flightlog.errors import UsageError
from flightlog.logbook.entry import CITES, ENDS, Entry
from flightlog.logbook.flying_kinds import COSMETIC, DEFERRAL, RECTIFICATION
from flightlog.operations.defect_rules import (
    concerns,
    deferrals_of,
    group_of,
    is_defect,
    looks_at,
    missing_for_closing,
    reports,
    why_not_closed,
    why_not_deferred,
    work_on,
)
from flightlog.operations.desk import Desk
from flightlog.operations.plan import Plan
from flightlog.operations.positions import CLOCKS_APART, named
from flightlog.operations.usage import fitted, usage_since
from flightlog.team.ledger import AIRCRAFT, COMPONENT, PACK, THINGS, subject

OPEN, PUT_OFF, LAPSED, MENDED, CLOSED = (
    "open",
    "deferred",
    "deferral over",
    "put right, not closed",
    "closed",
)
_SECONDS_PER_DAY = 86_400.0


@dataclass(frozen=True, slots=True)
class DefectState:
    """A defect as it stands.

    Attributes
    ----------
    entry : Entry
        By which it was reported.
    group : str
        What the part belongs to, by the component's file where there is one; "not known" where
        that can't be read.
    state : str
        "open", "deferred", "deferral over", "put right, not closed" or "closed".
    limitation : str
        Within which it is flown with; empty unless deferred.
    left : str
        What is left of the deferral, in words.
    waits_for : str
        What the next step is; empty when it is closed.
    history : tuple of Entry
        All entries about it, the oldest first.
    days_left : float or None
        Until the deferral ends [days]; negative when it is over, None where no day is set.
    flights_left : int or None
        That may still be flown; None where no number is set.
    ignored : tuple of str
        What ends the restriction in the record and not here, and why. Clauses.
    """

    entry: Entry
    group: str
    state: str
    limitation: str
    left: str
    waits_for: str
    history: tuple[Entry, ...]
    days_left: float | None = None
    flights_left: int | None = None
    ignored: tuple[str, ...] = ()

    @property
    def severity(self) -> str:
        """As it was reported."""
        return str(self.entry.body.content["severity"])

    @property
    def stops(self) -> bool:
        """Whether nothing may be flown with it as it stands."""
        return self.severity != COSMETIC and self.state not in (CLOSED, PUT_OFF)

    @property
    def says(self) -> str:
        """It in one line."""
        said = self.entry.body.content
        return f"{named(self.entry)} {said['part']}: {self.state} ({self.severity})"


def defects(desk: Desk, aircraft: str | None = None) -> tuple[DefectState, ...]:
    """Give the defects of an aircraft and of what is fitted to it, of everything without one.

    The oldest first, closed ones too.
    """
    if aircraft is None:
        return tuple(state_of(desk, entry) for entry in reports(desk.ledger))
    return _of(desk, _subjects(desk, aircraft))


def defects_of_flight(desk: Desk, plan: Plan) -> tuple[DefectState, ...]:
    """Give the defects of an aircraft, of what is fitted to it, and of the pack that is planned."""
    return _of(desk, {*_subjects(desk, plan.aircraft), subject(PACK, plan.pack)})


def _of(desk: Desk, subjects: set[str]) -> tuple[DefectState, ...]:
    return tuple(
        state_of(desk, entry) for entry in reports(desk.ledger) if concerns(entry, subjects)
    )


def _subjects(desk: Desk, aircraft: str) -> set[str]:
    parts = {subject(COMPONENT, f.component) for f in fitted(desk, aircraft)}
    return {subject(AIRCRAFT, aircraft), *parts}


def state_of(desk: Desk, entry: Entry) -> DefectState:
    """Say how a defect stands.

    Raises
    ------
    UsageError
        If the entry is no defect.
    """
    if not is_defect(entry):
        raise UsageError(
            f"is a {entry.body.kind}, no defect",
            where=named(entry),
            fix="'flightlog defect list' shows them.",
        )
    ledger = desk.ledger
    group = group_of(desk, entry)
    history = _history(desk, entry)
    endings = ledger.naming(entry, ENDS)
    if any(not why_not_closed(ledger, e, entry, group) for e in endings):
        return DefectState(entry, group, CLOSED, "", "", "", history)
    waits = missing_for_closing(ledger, entry, group) or "closing"
    ignored = tuple(_ignored(desk, endings, entry, group))
    valid = deferrals_of(ledger, entry, group)
    unseen = [w for w in work_on(ledger, entry) if not all(ledger.has_seen(d, w) for d in valid)]
    if unseen or (work_on(ledger, entry) and not valid):
        return DefectState(entry, group, MENDED, "", "", waits, history, ignored=ignored)
    if not valid:
        return DefectState(entry, group, OPEN, "", "", waits, history, ignored=ignored)
    ends = [_end_of(desk, deferral, entry) for deferral in valid]
    return DefectState(
        entry,
        group,
        LAPSED if any(end.over for end in ends) else PUT_OFF,
        "; ".join(str(d.body.content["limitation"]) for d in valid),
        "; ".join(end.words for end in ends),
        waits,
        history,
        min((end.days for end in ends if end.days is not None), default=None),
        min((end.flights for end in ends if end.flights is not None), default=None),
        ignored,
    )


def _history(desk: Desk, defect: Entry) -> tuple[Entry, ...]:
    """Give all that names a defect, and the inspections of the work on it."""
    about = {defect, *(e for word in (CITES, ENDS) for e in desk.ledger.naming(defect, word))}
    about |= set(desk.ledger.corrections(defect))
    about |= {
        look
        for work in desk.ledger.naming(defect, CITES, RECTIFICATION)
        for look in looks_at(desk.ledger, work)
    }
    return tuple(sorted(about, key=lambda entry: _places(desk)[entry.hash]))


def _places(desk: Desk) -> dict[str, int]:
    """Hash of an entry -> its place among all, the oldest first."""
    known = desk.kept.get("places")
    if known is None:
        known = desk.kept["places"] = {e.hash: place for place, e in enumerate(desk.ledger.order)}
    return cast(dict[str, int], known)


def _ignored(desk: Desk, endings: Sequence[Entry], defect: Entry, group: str) -> list[str]:
    """Say of what ends the restriction in the record why it does not here."""
    found = []
    for entry in endings:
        if entry.body.kind == DEFERRAL:
            why = why_not_deferred(desk.ledger, entry, defect, group)
        else:
            why = why_not_closed(desk.ledger, entry, defect, group)
        if why:
            found.append(f"{named(entry)} ({entry.body.kind}) does not count: {why}")
    return found


# --- what is left of a deferral


@dataclass(frozen=True, slots=True)
class _End:
    over: bool
    words: str
    days: float | None
    flights: int | None


def _end_of(desk: Desk, deferral: Entry, defect: Entry) -> _End:
    said, words = deferral.body.content, []
    days: float | None = None
    flights: int | None = None
    if "until" in said:
        until = datetime.fromisoformat(said["until"].replace("Z", "+00:00"))
        days = (until - desk.ledger.now).total_seconds() / _SECONDS_PER_DAY
        rest = f"{days:.1f} days left" if days > 0 else "over"
        words.append(f"until {until:%Y-%m-%d %H:%M} UTC ({rest})")
    if "flights" in said:
        flown = flights_since(desk, deferral, defect)
        flights = int(said["flights"]) - flown
        words.append(f"{flown} of {said['flights']} flights flown")
    ahead = desk.ledger.when(deferral) > desk.ledger.now + CLOCKS_APART
    if ahead:
        words.append("it lies ahead of this laptop's clock, which has to be set")
    over = ahead or (days is not None and days <= 0) or (flights is not None and flights <= 0)
    return _End(over, ", ".join(words), days, flights)


def flights_since(desk: Desk, deferral: Entry, defect: Entry) -> int:
    """Give how many flights were flown with a defect since it was deferred.

    Flights that the deferral had not seen, of whatever the report names; of the aircraft and of a
    component that moved on, the larger number.
    """
    said = defect.body.content
    return max(
        (usage_since(desk, t, said[t], deferral).cycles for t in THINGS if t in said), default=0
    )
