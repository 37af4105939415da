"""What about a flight does not go together, read from the record each time it is asked.

Nothing here is judged: each contradiction says what two sources say, and names the entries. That
clocks differ is allowed for; what lies within that is no contradiction.
"""

from __future__ import annotations

from collections.abc import Callable, Iterator
from datetime import datetime

from flightlog.logbook.entry import CITES, ENDS, RESTRICTS, Entry
from flightlog.logbook.flying_kinds import CHECK, LIST_BEGUN
from flightlog.logbook.words import duration
from flightlog.operations import contradictions_of_log as of_log
from flightlog.operations.desk import Desk
from flightlog.operations.flight_case import Case, Contradiction
from flightlog.operations.pairing import GOES_ON, NOT_CLEAR
from flightlog.operations.positions import named
from flightlog.operations.release_conditions import releases_of, when_it_ends
from flightlog.operations.sorties import SortieRecord, sorties
from flightlog.team.ledger import AIRCRAFT, subject

POST_FLIGHT = "post-flight"
"""Id of the list that is worked through after a flight."""

Finder = Callable[[Case], Iterator[Contradiction]]


def contradictions(desk: Desk, flight: SortieRecord) -> tuple[Contradiction, ...]:
    """Give what about a flight does not go together, the gravest first.

    Parameters
    ----------
    desk : Desk
        The record.
    flight : SortieRecord
        The flight.
    """
    case = Case(desk, flight)
    finders: tuple[Finder, ...] = (
        _no_aircraft,
        _no_release,
        _release_of_another,
        _release_over,
        _release_void,
        _before_checks,
        _several_flights,
        _landings,
        _pack,
        of_log.mass,
        of_log.setup,
        of_log.attempts,
        of_log.exceedances,
        of_log.battery,
        of_log.autopilot,
        of_log.clock,
        _by_hand,
        of_log.wind,
    )
    found = [one for finder in finders for one in finder(case)]
    return tuple(sorted(found, key=lambda one: one.note))


# --- the release


def _no_aircraft(case: Case) -> Iterator[Contradiction]:
    if not case.flight.aircraft:
        yield Contradiction(
            "aircraft-unknown", "nobody said with which aircraft it was", (case.flight.entry,)
        )


def _no_release(case: Case) -> Iterator[Contradiction]:
    flight = case.flight
    if case.release is not None or not flight.aircraft:
        return
    if flight.paired.startswith(NOT_CLEAR):
        text = f"under which release it was flown is {flight.paired}"
        yield Contradiction("release-not-clear", text, (flight.entry,))
        return
    yield Contradiction(
        "without-release",
        f"flown without a release ({flight.paired})",
        (flight.entry, *flight.statements[-1:]),
    )


def _release_of_another(case: Case) -> Iterator[Contradiction]:
    release, aircraft = case.release, case.flight.aircraft
    if release is not None and aircraft and release.body.content["aircraft"] != aircraft:
        released = release.body.content["aircraft"]
        text = f"flown with {aircraft}, and {named(release)} released {released}"
        yield Contradiction("another-aircraft", text, (release, case.flight.entry))


def _release_over(case: Case) -> Iterator[Contradiction]:
    """The release had ended, or was not signed yet, when the flight began."""
    release, start = case.release, case.flight.start
    if release is None or start is None:
        return
    ends = when_it_ends(case.ledger, release)
    if start > ends:
        text = f"began {_apart(start, ends)} after the release {named(release)} had ended"
        within = start - ends <= case.slack
        more = ", within what clocks may differ" if within else ""
        entries = (release, case.flight.entry)
        yield Contradiction("release-lapsed", text + more, entries, note=within)


def _apart(one: datetime, other: datetime) -> str:
    return duration(60 * max(1, round(abs((one - other).total_seconds()) / 60)))


def _release_void(case: Case) -> Iterator[Contradiction]:
    """Something took the release back, or restricted the aircraft, before the flight began."""
    release, start, ledger = case.release, case.flight.start, case.ledger
    if release is None or start is None:
        return
    for entry in ledger.naming(release, ENDS):
        if ledger.standing.may_loosen(entry) and ledger.when(entry) + case.slack < start:
            text = f"{named(release)} was withdrawn {_apart(ledger.when(entry), start)} before"
            yield Contradiction("release-void", text, (release, entry, case.flight.entry))
    on = subject(AIRCRAFT, release.body.content["aircraft"])
    for entry in ledger.unseen(ledger.order, release):
        effect = entry.body.effect
        if effect is None or effect.word != RESTRICTS or effect.on != on:
            continue
        if ledger.when(entry) + case.slack < start:
            text = (
                f"{entry.body.kind} {named(entry)} restricted {case.flight.aircraft} after the "
                f"release and {_apart(ledger.when(entry), start)} before the flight"
            )
            yield Contradiction("release-void", text, (release, entry, case.flight.entry))


def _before_checks(case: Case) -> Iterator[Contradiction]:
    """The take-off was before the last signature that had to be there before it."""
    release, start, ledger = case.release, case.flight.start, case.ledger
    if release is None or start is None:
        return
    signed = [release]
    for begun in ledger.named(release, CITES, LIST_BEGUN):
        signed += [e for e in ledger.naming(begun, CITES, CHECK) if ledger.persons(e)]
    last = max(signed, key=ledger.when)
    late = ledger.when(last) - start
    if late > case.slack:
        what = "the release" if last is release else f"check {last.body.content['item']}"
        text = f"took off {_apart(ledger.when(last), start)} before {what} was signed"
        yield Contradiction("before-checks", text, (last, case.flight.entry))


def _several_flights(case: Case) -> Iterator[Contradiction]:
    """One release, several flights."""
    flight, release = case.flight, case.release
    if release is not None:
        others = [
            f
            for f in sorties(case.desk)
            if f.release == release and f.entry != flight.entry and not _goes_on(f, flight)
        ]
        if others:
            names = ", ".join(named(f.entry) for f in others)
            text = f"{named(release)} is for one flight, and {names} were flown under it too"
            yield Contradiction("more-flights", text, (release, *(f.entry for f in others)))
        return
    same_log = [
        f
        for f in sorties(case.desk, flight.aircraft)
        if flight.recording is not None
        and f.recording == flight.recording
        and f.number < flight.number
        and f.release is not None
    ]
    if same_log:
        first = same_log[-1]
        text = f"its log holds an earlier flight, {named(first.entry)}, and one release for both"
        entries = (first.entry, flight.entry, *([first.release] if first.release else []))
        yield Contradiction("more-flights", text, entries)


def _goes_on(one: SortieRecord, other: SortieRecord) -> bool:
    """Whether two sorties of one log are parts of one flight, after a restart of its logger."""
    later = max(one, other, key=lambda f: f.number)
    parts = one.recording is not None and one.recording == other.recording
    return parts and later.paired.startswith(GOES_ON)


def _landings(case: Case) -> Iterator[Contradiction]:
    release, flight = case.release, case.flight
    if release is None:
        return
    declared = release.body.content["landings"]
    if flight.landings > declared:
        text = f"{flight.landings} landings, {declared} declared in {named(release)}"
        yield Contradiction("more-landings", text, (release, flight.entry))


# --- the pack


def _pack(case: Case) -> Iterator[Contradiction]:
    """Another pack than released, by what persons entered."""
    release, flight = case.release, case.flight
    if release is None:
        return
    released = release.body.content["pack"]
    said: list[tuple[str, Entry]] = [(s.body.content.get("pack", ""), s) for s in flight.statements]
    said += [(e.body.content.get("pack", ""), e) for e in flight.entries]
    said += [(e.body.content.get("pack", ""), e) for e in _lists_after(case)]
    for pack in dict.fromkeys(p for p, _ in said if p and p != released):
        where = tuple(entry for p, entry in said if p == pack)
        text = (
            f"flown with {pack} by {where[0].body.kind} {named(where[0])}, released with {released}"
        )
        yield Contradiction("another-pack", text, (release, *where))


def _lists_after(case: Case) -> list[Entry]:
    """Give the post-flight lists that were begun between this release and the next one."""
    ledger, release = case.ledger, case.release
    if release is None:
        return []
    aircraft = release.body.content["aircraft"]
    later = [r for r in releases_of(ledger, aircraft) if r is not release]
    return [
        e
        for e in ledger.of(LIST_BEGUN, list=POST_FLIGHT, aircraft=aircraft)
        if ledger.has_seen(e, release)
        and not any(ledger.has_seen(e, r) and ledger.has_seen(r, release) for r in later)
    ]


# --- what persons entered beside the log


def _by_hand(case: Case) -> Iterator[Contradiction]:
    """A person's entry about the flight and its log differ."""
    hand, flight = case.flight.by_hand, case.flight
    if hand is None:
        return
    said, logged = hand.body.content, flight.entry.body.content
    if said["landings"] != logged["landings"]:
        text = f"{said['landings']} landings by {named(hand)}, {logged['landings']} by the log"
        yield Contradiction("hand-differs", text, (hand, flight.entry))
    if said["attempts"] < logged["attempts"]:
        text = (
            f"{said['attempts']} rolls given up by {named(hand)}, {logged['attempts']} by the log"
        )
        yield Contradiction("hand-differs", text, (hand, flight.entry), note=True)
