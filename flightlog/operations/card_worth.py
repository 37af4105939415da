"""What a flight card is worth: by itself, and for the next flight."""

from __future__ import annotations

from collections.abc import Iterator

from flightlog.errors import UsageError
from flightlog.logbook.entry import CITES, Entry
from flightlog.logbook.flying_kinds import FITTING, FLIGHT_CARD
from flightlog.operations.card_numbers import CardNumbers, numbers_of
from flightlog.operations.desk import Desk
from flightlog.operations.expected_worth import made_without, rests_on, why_old
from flightlog.operations.plan import Plan
from flightlog.operations.positions import named
from flightlog.operations.sorties import SortieRecord, sorties
from flightlog.team.ledger import AIRCRAFT, PACK

ENGINEER, PILOT = "engineer", "pilot"
COMPUTED, ACCEPTED = "computed", "accepted"


def cards(desk: Desk, aircraft: str | None = None) -> tuple[Entry, ...]:
    """Give the flight cards that count and that nobody corrected, the oldest first."""
    about = {} if aircraft is None else {"aircraft": aircraft}
    return desk.ledger.of(FLIGHT_CARD, **about)


def sound_numbers(desk: Desk, card: Entry) -> CardNumbers | str:
    """Give the numbers of a card, or why it is worth nothing by itself. A clause about it."""
    persons = []
    for meaning, role in ((COMPUTED, ENGINEER), (ACCEPTED, PILOT)):
        found = desk.ledger.persons(card, meaning, role)
        if not found:
            return f"is not signed as {meaning!r} by a person of the role {role!r}"
        persons.append(set(found))
    if len(persons[0] | persons[1]) < 2:
        return "is computed and accepted by one person"
    try:
        return numbers_of(card)
    except UsageError as error:
        return f"can't be used: {error.found}"


def not_in_force(desk: Desk, plan: Plan, card: Entry) -> str:
    """Say why a card is none for the next flight; "" where it is. A clause about it."""
    found = sound_numbers(desk, card)
    if isinstance(found, str):
        return found
    pack = card.body.content["pack"]
    if pack != plan.pack:
        return f"was made for {pack}, not for {plan.pack}"
    why = why_old(desk, plan, card)
    if why:
        return why
    # A card is for one flight: what was flown since then says more than it knows.
    about = (f for f in sorties(desk) if f.aircraft == plan.aircraft or f.pack == plan.pack)
    since = [f.entry for f in about if not _knows(desk, card, f)]
    if since:
        return made_without(since)
    changed = desk.ledger.unseen(_changes(desk, plan), card)
    if changed:
        return made_without(changed)
    cited = set(card.body.related(CITES))
    other = [e for e in rests_on(desk, plan) if e.hash not in cited]
    told = " and ".join(f"{e.body.kind} {named(e)}" for e in other)
    return f"does not rest on {told}" if told else ""


def _changes(desk: Desk, plan: Plan) -> list[Entry]:
    """Give what makes the aircraft another one: its files in force, and parts fitted or removed."""
    files = [desk.version(kind, id_).entry for kind, id_ in _files(plan)]
    return [*files, *desk.ledger.of(FITTING, aircraft=plan.aircraft)]


def _files(plan: Plan) -> Iterator[tuple[str, str]]:
    yield AIRCRAFT, plan.aircraft
    yield PACK, plan.pack


def _knows(desk: Desk, card: Entry, flight: SortieRecord) -> bool:
    return any(desk.ledger.has_seen(card, entry) for entry in flight.entries)
