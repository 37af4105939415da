"""The sortie entries of a recording, made from its stored debrief."""

from __future__ import annotations

from collections.abc import Collection, Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime, timedelta
from typing import Any

from flightlog.analyses.phases import Sortie
from flightlog.errors import LogbookError
from flightlog.logbook.book import Draft
from flightlog.logbook.canonical import quantity
from flightlog.logbook.entry import CITES, SPENDS, Entry, Relation, write_utc
from flightlog.logbook.flying_kinds import RECORDING, SORTIE
from flightlog.operations.desk import Desk
from flightlog.operations.pairing import (
    CLOCKS_APART,
    GOES_ON,
    NOBODYS,
    Begun,
    Pairing,
    begun,
    pair,
    utc_of,
)
from flightlog.operations.positions import named
from flightlog.operations.sorties import (
    BY_LOG,
    SortieRecord,
    flown_between,
    recording_debrief,
    sorties,
)
from flightlog.operations.usage import NOT_WHOLE


@dataclass(frozen=True, slots=True)
class LogClock:
    """How a log's clock leads to UTC; see `flightlog.recording.UtcRelation`.

    ``apart`` is what it and a laptop's clock may differ by.
    """

    offset_s: float | None
    std_s: float | None
    zone_known: bool
    apart: timedelta = CLOCKS_APART

    def utc(self, time_s: float | None) -> datetime | None:
        """Give the UTC of a time of the log, None where the log does not tell."""
        if time_s is None or self.offset_s is None or not self.zone_known:
            return None
        return utc_of(self.offset_s + time_s)


@dataclass(frozen=True, slots=True)
class Leg:
    """A sortie of a log, as far as pairing needs it. Times on the log's clock [s]."""

    number: int
    start_s: float
    liftoff_s: float | None
    touchdown_s: float | None
    end_s: float
    goes_on: bool
    """Whether it goes on with the flight before it, after a restart of the logger in the air."""

    @property
    def up_s(self) -> float:
        """Lift-off, or the first that the log shows."""
        return self.start_s if self.liftoff_s is None else self.liftoff_s

    @property
    def down_s(self) -> float:
        """Touchdown, or the last that the log shows."""
        return self.end_s if self.touchdown_s is None else self.touchdown_s


def legs_of(flights: Iterable[Sortie | Mapping[str, Any]]) -> list[Leg]:
    """Read the sorties of a log, from the analyses or from a stored debrief."""
    legs: list[Leg] = []
    ended_in_air = False
    for flight in flights:
        said = flight if isinstance(flight, Mapping) else _as_stored(flight)
        legs.append(
            Leg(
                said["number"],
                said["start_s"],
                said["liftoff_s"],
                said["touchdown_s"],
                said["end_s"],
                ended_in_air and said["starts"] == "air",
            )
        )
        ended_in_air = said["ends"] == "air"
    return legs


def _as_stored(flight: Sortie) -> dict[str, Any]:
    names = ("number", "start_s", "liftoff_s", "touchdown_s", "end_s", "starts", "ends")
    return {name: getattr(flight, name) for name in names}


# --- releases


def pair_legs(
    desk: Desk,
    aircraft: str,
    clock: LogClock,
    legs: Sequence[Leg],
    *,
    pack: str = "",
    joined: Sequence[str] = (),
    taken: Collection[str] = (),
) -> list[Pairing]:
    """Find the releases of the flights of a log, one after the other.

    Parameters
    ----------
    desk : Desk
        The record.
    aircraft : str
        Id of its file; empty where it is not known.
    clock : LogClock
        Of the log.
    legs : sequence of Leg
        Its flights.
    pack : str
        As a person said; empty where nobody did.
    joined : sequence of str
        SHA-256 of logs that were joined with this one; their flights are its own.
    taken : collection of str
        Hashes of releases that flights of other logs were flown under, which are not entered yet.
    """
    taken = set(taken)
    found: list[Pairing] = []
    for leg in legs:
        one = NOBODYS
        same = _same_flight(desk, aircraft, clock, leg, len(legs), joined)
        if leg.goes_on and found:
            says = f"{GOES_ON} after a restart of the logger in flight, with the flight before it"
            one = replace(found[-1], says=says, same=None, spends=False)
        elif same is not None and same.release is not None:
            says = f"as {named(same.entry)} of the same flight"
            one = Pairing(same.release, says, spends=False)
        elif aircraft:
            began = _begun(desk, clock, leg.start_s)
            one = pair(desk, aircraft, began, pack=pack, taken=taken)
        if one.release is not None:
            taken.add(one.release.hash)
        found.append(replace(one, same=same.entry) if same is not None else one)
    return found


def _begun(desk: Desk, clock: LogClock, start_s: float) -> Begun:
    unix_s = clock.offset_s + start_s if clock.offset_s is not None else None
    now = desk.ledger.now
    return begun(now, unix_s, clock.std_s, zone_known=clock.zone_known, apart=clock.apart)


def _same_flight(
    desk: Desk, aircraft: str, clock: LogClock, leg: Leg, count: int, joined: Sequence[str]
) -> SortieRecord | None:
    """Give the flight of the record that a leg is: of a log that was joined, or at one time."""
    for sha256 in joined:
        recordings = desk.ledger.of(RECORDING, sha256=sha256)
        if recordings and recordings[-1].body.content["sorties"] == count:
            cited = {recording.hash for recording in recordings}
            for flight in sorties(desk):
                if flight.number == leg.number and cited & set(flight.entry.body.related(CITES)):
                    return flight
    up, down = clock.utc(leg.up_s), clock.utc(leg.down_s)
    if not aircraft or up is None or down is None:
        return None
    return flown_between(desk, aircraft, up, down)


# --- entries


def enter_sorties(desk: Desk, recording: Entry, *, pack: str = "") -> tuple[Entry, ...]:
    """Enter the flights of a recording that have no entry yet, in the order of the log.

    Parameters
    ----------
    desk : Desk
        The team's.
    recording : Entry
        Whose flights.
    pack : str
        With which they were flown, where a person said it.

    Raises
    ------
    LogbookError
        If the stored debrief is missing or damaged.
    """
    missing = set(_missing(desk, recording))
    if not missing:
        return ()
    whole = recording_debrief(desk, recording)
    if whole is None:
        raise LogbookError(
            "the stored debrief of this recording is missing or damaged",
            where=named(recording),
            fix="Bring the attachments back from the second copy: 'flightlog logbook merge'.",
        )
    said = recording.body.content
    aircraft = str(said.get("aircraft", ""))
    clock = clock_of(recording, whole)
    legs = legs_of(whole["sorties"])
    joined = [a.sha256 for a in recording.body.attachments if a.sha256 != said["sha256"]]
    pairings = pair_legs(desk, aircraft, clock, legs, pack=pack, joined=joined)
    added = []
    for leg, found, item in zip(legs, pairings, whole["sorties"], strict=True):
        if leg.number in missing:
            content = _content(whole, legs, leg, item, clock)
            content |= _of_whom(aircraft, pack, found)
            added.append(
                desk.append(Draft(SORTIE, content, relations=_relations(recording, found)))
            )
    return tuple(added)


def _missing(desk: Desk, recording: Entry) -> list[int]:
    """Give the numbers of flights without an entry; one that was corrected away stays away."""
    ledger = desk.ledger
    same = ledger.of(RECORDING, sha256=recording.body.content["sha256"])
    entered = {
        entry.body.content["number"]
        for one in (recording, *same)
        for entry in ledger.naming(one, CITES, SORTIE)
    }
    return [n for n in range(1, recording.body.content["sorties"] + 1) if n not in entered]


def clock_of(recording: Entry, whole: Mapping[str, Any]) -> LogClock:
    """Give the clock of a recording, by its stored debrief."""
    utc = whole["log"]["utc"]
    apart = recording.body.content.get("clocks_apart")
    return LogClock(
        utc["offset_s"],
        utc["std_s"],
        utc["zone_known"],
        timedelta(seconds=float(apart["value"])) if apart else CLOCKS_APART,
    )


def _content(
    whole: Mapping[str, Any],
    legs: Sequence[Leg],
    leg: Leg,
    item: Mapping[str, Any],
    clock: LogClock,
) -> dict[str, Any]:
    before = max((other.end_s for other in legs if other.end_s <= leg.start_s), default=None)
    attempts = [
        a
        for a in whole["attempts"]
        if a["stop_s"] <= leg.start_s and (before is None or a["start_s"] >= before)
    ]
    content: dict[str, Any] = {
        "number": leg.number,
        "source": BY_LOG,
        "flown": quantity(f"{max(0.0, leg.down_s - leg.up_s):.1f}", "s"),
        "landings": _landings(legs, leg, item),
        "attempts": len(attempts),
    }
    times = {"start": leg.start_s, "liftoff": leg.liftoff_s, "touchdown": leg.touchdown_s}
    for key, time_s in times.items():
        at = clock.utc(time_s)
        if at is not None:
            content[key] = write_utc(at)
    if leg.liftoff_s is None or leg.touchdown_s is None:
        content["text"] = NOT_WHOLE
    return content


def _landings(legs: Sequence[Leg], leg: Leg, item: Mapping[str, Any]) -> int:
    """Count landings: what flew came down, if the log does not go on with it in the air."""
    contacts = [f for f in item["findings"] if f["code"] == "touch-and-go"]
    touched = sum(int(f["evidence"].get("contacts", 1)) for f in contacts)
    goes_on = any(other.goes_on and other.number == leg.number + 1 for other in legs)
    return touched + (0 if goes_on else 1)


def _of_whom(aircraft: str, pack: str, found: Pairing) -> dict[str, str]:
    released = found.release.body.content["pack"] if found.release is not None else ""
    said = {"aircraft": aircraft, "pack": pack or released, "paired": found.says}
    return {key: text for key, text in said.items() if text}


def _relations(recording: Entry, found: Pairing) -> list[Relation]:
    relations = [Relation(CITES, recording.hash)]
    if found.same is not None:
        relations.append(Relation(CITES, found.same.hash))
    if found.release is not None:
        relations.append(Relation(SPENDS if found.spends else CITES, found.release.hash))
    return relations
