"""Hours, landings and cycles of aircraft, packs and components, added up from their flights.

Hours count from lift-off to touchdown. A cycle is one sortie: of a pack each one flown with it, of
a component each one of the aircraft in which it was fitted. So its hours go with it when it moves
on, and a log that is imported late still adds to where the component was when it was flown. That
is told by what the release of the flight had seen, and by clocks only where there was none.

A component stays where it was fitted until it was removed from there. One that was fitted into
two aircraft is in both, and collects what both fly, until a person puts the record right: hours
that are counted twice are a nuisance, hours that are not counted wear something out unseen.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import UTC, date, datetime
from typing import Protocol, cast

from flightlog.logbook.entry import Entry
from flightlog.logbook.flying_kinds import FITTING
from flightlog.operations.desk import Desk
from flightlog.operations.positions import named
from flightlog.operations.sorties import BY_LOG, SortieRecord, sorties
from flightlog.team.ledger import AIRCRAFT, COMPONENT, PACK, Ledger

SECONDS_PER_HOUR = 3600.0
SECONDS_PER_DAY = 86_400.0
NOT_WHOLE = "The log does not hold the whole flight: it was in the air for at least so long."
"""Text of the entry of such a flight."""
FITTED, REMOVED = "fitted", "removed"


@dataclass(frozen=True, slots=True)
class Usage:
    """How much something was used.

    Attributes
    ----------
    hours : float
        Lift-off to touchdown [h]; at least so many, where ``untimed`` or ``cut`` name flights.
    landings, cycles : int
        Cycles are sorties.
    days : float or None
        Since its first day of use; None where that is not known, and of usage since an entry.
    sorties : tuple of SortieRecord
        The flights of the record; what was before it has none.
    untimed : tuple of SortieRecord
        Those of them whose flight time nobody knows.
    cut : tuple of SortieRecord
        Those whose log does not hold the whole flight: what they add to the hours is the least.
    """

    hours: float
    landings: int
    cycles: int
    days: float | None
    sorties: tuple[SortieRecord, ...] = ()
    untimed: tuple[SortieRecord, ...] = ()
    cut: tuple[SortieRecord, ...] = ()

    @property
    def is_least(self) -> bool:
        """Whether it was flown for longer than the hours say."""
        return bool(self.untimed or self.cut)


@dataclass(frozen=True, slots=True)
class Fitted:
    """A component in an aircraft: where, and by which entry."""

    component: str
    aircraft: str
    position: str
    entry: Entry


@dataclass(frozen=True, slots=True)
class Stay:
    """A component in an aircraft, from an entry until others, if there are any.

    Attributes
    ----------
    fitting : Entry
        By which it was fitted.
    removals : tuple of Entry
        By which it was removed from there afterwards; empty where it still is there.
    """

    fitting: Entry
    removals: tuple[Entry, ...]

    @property
    def aircraft(self) -> str:
        """Id of the aircraft."""
        return str(self.fitting.body.content["aircraft"])

    def holds_at(self, ledger: Ledger, at: datetime, knower: Entry | None) -> bool:
        """Whether the component was there, when something happened.

        Parameters
        ----------
        ledger : Ledger
            The record.
        at : datetime
            When it happened, by somebody's clock.
        knower : Entry or None
            An entry made just before, whose place in the record says more than the clocks.
        """
        seen = knower is not None and ledger.has_seen(knower, self.fitting)
        if not seen and ledger.when(self.fitting) > at:
            return False
        return not any(_was_over(ledger, removal, at, knower) for removal in self.removals)


def _was_over(ledger: Ledger, removal: Entry, at: datetime, knower: Entry | None) -> bool:
    # Of a removal that was written down late only its time says when it was.
    if knower is not None and removal.body.occurred is None:
        return ledger.has_seen(knower, removal)
    return ledger.when(removal) < at


class _File(Protocol):
    """What is asked of the file of an aircraft, a pack or a component."""

    @property
    def hours_before(self) -> float: ...

    @property
    def landings_before(self) -> int: ...

    @property
    def since(self) -> date | None: ...


def file_of(desk: Desk, thing: str, id_: str) -> _File:
    """Give the file in force of an aircraft, a pack or a component.

    Raises
    ------
    UsageError
        If the record holds none.
    """
    if thing == AIRCRAFT:
        return desk.aircraft(id_)
    return desk.pack(id_) if thing == PACK else desk.component(id_)


def usage_of(desk: Desk, thing: str, id_: str) -> Usage:
    """Give how much an aircraft, a pack or a component was used, with what it had before.

    Parameters
    ----------
    desk : Desk
        The record and the files in force.
    thing : str
        "aircraft", "pack" or "component".
    id_ : str
        Of its file.

    Raises
    ------
    UsageError
        If the record holds no file of it.
    """
    file = file_of(desk, thing, id_)
    used = _sum(flights_of(desk, thing, id_))
    return Usage(
        used.hours + file.hours_before,
        used.landings + file.landings_before,
        used.cycles + int(getattr(file, "cycles_before", 0)),
        _days(file.since, desk.ledger.now),
        used.sorties,
        used.untimed,
        used.cut,
    )


def usage_since(desk: Desk, thing: str, id_: str, entry: Entry) -> Usage:
    """Give what was flown since an entry: what it had not seen, or what was made apart from it.

    Of an entry that was written down late, what was flown after the time that it tells of too.
    """
    ledger = desk.ledger
    late = entry.body.occurred is not None
    return _sum(
        f
        for f in flights_of(desk, thing, id_)
        if not any(ledger.has_seen(entry, e) for e in f.entries)
        or (late and f.ended > ledger.when(entry))
    )


def flights_of(desk: Desk, thing: str, id_: str) -> tuple[SortieRecord, ...]:
    """Give the flights in which an aircraft, a pack or a component took part."""
    every = sorties(desk)
    if thing == AIRCRAFT:
        return tuple(f for f in every if f.aircraft == id_)
    if thing == PACK:
        return tuple(f for f in every if f.pack == id_)
    stays = stays_of(desk, id_)
    return tuple(f for f in every if any(_flew_in(desk.ledger, stay, f) for stay in stays))


def _flew_in(ledger: Ledger, stay: Stay, flight: SortieRecord) -> bool:
    began = flight.start or flight.liftoff or ledger.when(flight.entry)
    return stay.aircraft == flight.aircraft and stay.holds_at(ledger, began, flight.release)


def flown_s(flight: SortieRecord) -> float | None:
    """Give the time from lift-off to touchdown [s], None where nobody knows it."""
    said = [e.body.content["flown"]["value"] for e in flight.entries if "flown" in e.body.content]
    return flight.flown_s or max(map(float, said)) if said else None


def is_whole(flight: SortieRecord) -> bool:
    """Whether what is known of a flight goes from lift-off to touchdown.

    Of a log that begins or ends in the air it does not: then the flown time is the least that was
    flown, and so is the count of landings. What a person entered is taken to be the whole flight,
    and of several logs one is enough.
    """
    told = [e.body.content for e in flight.entries]
    logs = [said for said in told if said["source"] == BY_LOG]
    if not logs or (flight.flown_s <= 0 and len(logs) < len(told)):  # then a person's time counts
        return True
    # Where nobody knows what time it was, the text alone tells.
    return any(
        said.get("text") != NOT_WHOLE and ("liftoff" in said) == ("touchdown" in said)
        for said in logs
    )


def timed_first(flights: Iterable[SortieRecord]) -> tuple[SortieRecord, ...]:
    """Put flights of which nobody knows when they were flown behind all others.

    When they were entered says nothing of when they were flown. Else the order stays.
    """
    return tuple(sorted(flights, key=lambda f: f.start is None and f.liftoff is None))


def _sum(flown: Iterable[SortieRecord]) -> Usage:
    listed = tuple(flown)
    times = [flown_s(f) for f in listed]
    return Usage(
        hours=sum(t for t in times if t is not None) / SECONDS_PER_HOUR,
        landings=sum(f.landings for f in listed),
        cycles=len(listed),
        days=None,
        sorties=listed,
        untimed=tuple(f for f, t in zip(listed, times, strict=True) if t is None),
        cut=tuple(
            f for f, t in zip(listed, times, strict=True) if t is not None and not is_whole(f)
        ),
    )


def _days(since: date | None, now: datetime) -> float | None:
    if since is None:
        return None
    began = datetime(since.year, since.month, since.day, tzinfo=UTC)
    return max(0.0, (now - began).total_seconds() / SECONDS_PER_DAY)


# --- what is fitted where


def stays_of(desk: Desk, component: str) -> tuple[Stay, ...]:
    """Give where a component was and is, in the order in which that was entered."""
    return _stays(desk).get(component, ())


def _stays(desk: Desk) -> dict[str, tuple[Stay, ...]]:
    """Component -> its stays."""
    known = desk.kept.get("stays")
    if known is None:
        known = desk.kept["stays"] = _read_stays(desk.ledger)
    return cast(dict[str, tuple[Stay, ...]], known)


def _read_stays(ledger: Ledger) -> dict[str, tuple[Stay, ...]]:
    moves: dict[str, list[Entry]] = {}
    for entry in ledger.of(FITTING):
        moves.setdefault(entry.body.content["component"], []).append(entry)
    return {
        component: tuple(
            Stay(fitting, _removals(ledger, fitting, listed))
            for fitting in listed
            if fitting.body.content["done"] == FITTED
        )
        for component, listed in moves.items()
    }


def _removals(ledger: Ledger, fitting: Entry, moves: Iterable[Entry]) -> tuple[Entry, ...]:
    return tuple(
        move
        for move in moves
        if move.body.content["done"] == REMOVED
        and move.body.content["aircraft"] == fitting.body.content["aircraft"]
        and ledger.has_seen(move, fitting)
    )


def fitted(desk: Desk, aircraft: str) -> tuple[Fitted, ...]:
    """Give the components that are in an aircraft now.

    One that was fitted into two aircraft is in both: it is not known in which, and neither may be
    taken to be without it.
    """
    return tuple(
        place
        for component in sorted(_stays(desk))
        for place in where_fitted(desk, component)
        if place.aircraft == aircraft
    )


def where_fitted(desk: Desk, component: str) -> tuple[Fitted, ...]:
    """Give where a component is fitted: nowhere, in one place, or contradictingly in several."""
    return tuple(
        Fitted(component, stay.aircraft, stay.fitting.body.content["position"], stay.fitting)
        for stay in stays_of(desk, component)
        if not stay.removals
    )


def was_fitted(desk: Desk, component: str, aircraft: str, when: Entry) -> bool:
    """Whether a component was in an aircraft, when an entry about the aircraft was made."""
    at = desk.ledger.when(when)
    # What happened before it was written down, the place of its entry does not tell.
    knower = when if when.body.occurred is None else None
    return any(
        stay.aircraft == aircraft and stay.holds_at(desk.ledger, at, knower)
        for stay in stays_of(desk, component)
    )


def contradictions(desk: Desk) -> tuple[str, ...]:
    """Say which components are in two places at once, or were removed from where they were not."""
    found = []
    for component in sorted(_stays(desk)):
        places = where_fitted(desk, component)
        if len(places) > 1:
            where = ", ".join(f"{p.aircraft}, {p.position} ({named(p.entry)})" for p in places)
            found.append(
                f"{component} is fitted in {len(places)} places: {where}; it collects the hours of "
                "each until it is removed from all but one"
            )
    for move in desk.ledger.of(FITTING, done=REMOVED):
        said = move.body.content
        stays = stays_of(desk, said["component"])
        if not any(move in stay.removals for stay in stays):
            found.append(
                f"{said['component']} was removed from {said['aircraft']} by {named(move)}, where "
                "the record had not fitted it"
            )
    return tuple(found)


__all__ = [
    "AIRCRAFT",
    "COMPONENT",
    "PACK",
    "Fitted",
    "Stay",
    "Usage",
    "contradictions",
    "fitted",
    "flights_of",
    "flown_s",
    "is_whole",
    "stays_of",
    "timed_first",
    "usage_of",
    "usage_since",
    "was_fitted",
    "where_fitted",
]
