"""What people say of flights: a flight without a log, and what belongs to a flight.

A sortie can be named by its entry (``12.H3MED``) or by its day (``2027-03-15``, of several flights
of the day ``2027-03-15/2``, counted in the order in which they were flown, by UTC).
"""

from __future__ import annotations

import re
from collections.abc import Sequence
from dataclasses import dataclass, field
from datetime import datetime, timedelta
from typing import Any

from flightlog.errors import RefusedError, UsageError
from flightlog.logbook.book import Draft
from flightlog.logbook.canonical import quantity
from flightlog.logbook.entry import CITES, SPENDS, Entry, Relation, Signer, write_utc
from flightlog.logbook.flying_kinds import PAIRING, RELEASE, SORTIE
from flightlog.operations.desk import Desk
from flightlog.operations.pairing import Pairing, begun, pair
from flightlog.operations.positions import named
from flightlog.operations.sorties import (
    BY_HAND,
    SortieRecord,
    flown_between,
    sorties,
)

LONGEST = timedelta(hours=24)
"""No flight of such an aircraft lasts as long."""

_DAY = re.compile(r"(\d{4}-\d{2}-\d{2})(?:/(\d{1,3}))?", re.ASCII)


def find_sortie(desk: Desk, text: str) -> SortieRecord:
    """Find a flight by its entry or by its day; see the top of this module.

    Raises
    ------
    UsageError
        If no flight or more than one is named so.
    RefusedError
        If there is no such entry.
    """
    every = sorties(desk)
    day = _DAY.fullmatch(text.strip())
    if day is None:
        entry = desk.book.find(text)
        found = [f for f in every if entry in f.entries]
        if not found:
            raise UsageError(f"is a {entry.body.kind}, no sortie", where=text[:60], fix=_LISTED)
        return found[0]
    of_day = [f for f in every if f.began.strftime("%Y-%m-%d") == day[1]]
    if day[2] is not None and 1 <= int(day[2]) <= len(of_day):
        return of_day[int(day[2]) - 1]
    if day[2] is None and len(of_day) == 1:
        return of_day[0]
    count = f"{len(of_day)} flights" if of_day else "no flight"
    fix = f"Say which, as {day[1]}/1. {_LISTED}" if of_day else _LISTED
    raise UsageError(f"the record has {count} of this day", where=text[:60], fix=fix)


_LISTED = "'flightlog sortie list' shows them."


# --- a flight without a log


@dataclass(frozen=True, slots=True)
class Flown:
    """A flight as a person tells it.

    Attributes
    ----------
    aircraft, pack : str
        Ids of their files.
    start : datetime
        Start of roll (aware).
    flown : timedelta
        In the air.
    landings : int
        At least none: an aircraft may be lost.
    liftoff, touchdown : datetime or None
        Where somebody noted them.
    attempts : int
        Rolls given up before it.
    text : str
        In words.
    """

    aircraft: str
    pack: str
    start: datetime
    flown: timedelta
    landings: int
    liftoff: datetime | None = None
    touchdown: datetime | None = None
    attempts: int = 0
    text: str = ""


def draft_sortie(desk: Desk, flight: Flown, by: str) -> tuple[Draft, Pairing]:
    """Draft the entry of a flight that a person tells, and say under which release it was flown.

    Raises
    ------
    UsageError
        If an id is not known, or the times don't go together.
    """
    desk.version("aircraft", flight.aircraft)
    desk.version("pack", flight.pack)
    flown = _flown(desk, flight)
    began = flight.liftoff or flight.start
    ended = flight.touchdown or began + flown
    same = flown_between(desk, flight.aircraft, began, ended)
    if same is not None and same.release is not None:
        found = Pairing(same.release, f"as {named(same.entry)} of the same flight", spends=False)
    else:
        at = begun(desk.ledger.now, flight.start.timestamp(), 0.0)
        found = pair(desk, flight.aircraft, at, pack=flight.pack)
    content: dict[str, Any] = {
        "aircraft": flight.aircraft,
        "number": 1,
        "source": BY_HAND,
        "start": write_utc(flight.start),
        "flown": quantity(str(round(flown.total_seconds())), "s"),
        "landings": flight.landings,
        "attempts": flight.attempts,
        "pack": flight.pack,
        "paired": found.says,
    }
    for key, at_ in (("liftoff", flight.liftoff), ("touchdown", flight.touchdown)):
        if at_ is not None:
            content[key] = write_utc(at_)
    if flight.text:
        content["text"] = flight.text
    relations = [Relation(CITES, same.entry.hash)] if same is not None else []
    if found.release is not None:
        relations.append(Relation(SPENDS if found.spends else CITES, found.release.hash))
    return Draft(SORTIE, content, [Signer(by, "entered")], relations=relations), found


def _flown(desk: Desk, flight: Flown) -> timedelta:
    """Give the time in the air, after looking whether the times go together."""
    times = [t for t in (flight.start, flight.liftoff, flight.touchdown) if t is not None]
    if times != sorted(times):
        raise UsageError(
            "start, lift-off and touchdown are not in this order",
            where="--start",
            fix="All times are in UTC.",
        )
    flown = flight.flown
    if flight.liftoff is not None and flight.touchdown is not None:
        flown = flight.touchdown - flight.liftoff
    if not timedelta(0) < flown < LONGEST:
        raise UsageError(
            f"{flown.total_seconds() / 60:g} min is not the time of a flight",
            where="--minutes",
            fix="Give the minutes in the air.",
        )
    if times[-1] > desk.ledger.now:
        raise UsageError(
            f"{write_utc(times[-1])} is still to come",
            where="--start",
            fix="All times are in UTC; look at this laptop's clock too.",
        )
    return flown


# --- what belongs to a flight


@dataclass(frozen=True, slots=True)
class Stated:
    """What a person says of a flight; empty or None where nothing is said.

    Attributes
    ----------
    release : Entry or None
        Under which it was flown.
    without_release : bool
        That it was flown under none.
    aircraft, pack : str
        Ids of their files.
    same_as : tuple of SortieRecord
        Sorties of the record that are this flight.
    """

    release: Entry | None = None
    without_release: bool = False
    aircraft: str = ""
    pack: str = ""
    same_as: Sequence[SortieRecord] = field(default=())


def draft_pairing(desk: Desk, flight: SortieRecord, said: Stated, reason: str, by: str) -> Draft:
    """Draft what a person says of a flight: its release, aircraft, pack, or that two are one.

    Raises
    ------
    UsageError
        If nothing is said, two things exclude each other, or an id is not known.
    RefusedError
        If the release is of another aircraft, or two flights of one log are said to be one.
    """
    if not (said.release or said.without_release or said.aircraft or said.pack or said.same_as):
        raise UsageError(
            "nothing is said of the sortie",
            where="sortie pair",
            fix="Give --release, --without-release, --aircraft, --pack or --same-as.",
        )
    if said.release is not None and said.without_release:
        raise UsageError(
            "exclude each other", where="--release and --without-release", fix="Give one."
        )
    content: dict[str, Any] = {"reason": reason}
    for kind, id_ in (("aircraft", said.aircraft), ("pack", said.pack)):
        if id_:
            desk.version(kind, id_)
            content[kind] = id_
    if said.without_release:
        content["without_release"] = True
    relations = [Relation(CITES, flight.entry.hash)]
    relations += [Relation(CITES, _other(flight, one).hash) for one in said.same_as]
    if said.release is not None:
        relations.append(_of_release(desk, flight, said))
    return Draft(PAIRING, content, [Signer(by, "stated")], relations=relations)


def _other(flight: SortieRecord, other: SortieRecord) -> Entry:
    if other.entry == flight.entry:
        raise UsageError("is this flight already", where=named(other.entry), fix="Name another.")
    mine, theirs = flight.recording, other.recording
    if mine is not None and theirs is not None and mine == theirs:
        raise RefusedError(
            "one log holds both, one after the other: these are two flights",
            where=f"{named(flight.entry)} and {named(other.entry)}",
        )
    return other.entry


def _of_release(desk: Desk, flight: SortieRecord, said: Stated) -> Relation:
    """Give the relation to the release: it is used up, unless nothing is left of it to use up."""
    release = said.release
    if release is None or release.body.kind != RELEASE:
        kind = release.body.kind if release is not None else "nothing"
        raise UsageError(f"is a {kind}, no release", where="--release", fix=_RELEASES)
    aircraft = said.aircraft or flight.aircraft
    if aircraft and release.body.content.get("aircraft") != aircraft:
        raise RefusedError(
            f"it is a release of {release.body.content.get('aircraft')}, the flight was "
            f"with {aircraft}",
            where=named(release),
            fix=_RELEASES,
        )
    holds = desk.ledger.standing.permit(release).holds
    return Relation(SPENDS if holds else CITES, release.hash)


_RELEASES = "'flightlog logbook show' lists the entries, each with its short name."
