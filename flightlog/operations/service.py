"""Events, what is out of service, and the way back into it.

An event that grounds, an incident and a plain "out of service" restrict what they are about. Two
persons return it: an inspector, and another one; after an event that has a check list of its own
only when that list was worked through in its knowledge. An entry that ends a restriction without
that leaves it standing here.
"""

from __future__ import annotations

from collections.abc import Sequence

from flightlog.errors import FlightlogError, RefusedError, UsageError
from flightlog.logbook.book import Draft
from flightlog.logbook.entry import CITES, ENDS, RESTRICTS, Effect, Entry, Relation, Signer
from flightlog.logbook.flying_kinds import (
    DEFECT,
    EVENT,
    OUT_OF_SERVICE,
    RETURN_TO_SERVICE,
)
from flightlog.operations.checks import About, list_state
from flightlog.operations.desk import Desk
from flightlog.operations.events import EVENTS, EventKind
from flightlog.operations.plan import Condition, Plan
from flightlog.operations.positions import named
from flightlog.operations.usage import fitted
from flightlog.team.ledger import AIRCRAFT, COMPONENT, PACK, subject
from flightlog.team_files.reading import near_miss

INSPECTOR = "inspector"


def event_draft(
    desk: Desk,
    word: str,
    *,
    aircraft: str = "",
    pack: str = "",
    component: str = "",
    text: str = "",
    signers: Sequence[Signer] = (),
    cites: Sequence[Entry] = (),
) -> Draft:
    """Draft an event; anybody may enter one, and the device alone too.

    Raises
    ------
    UsageError
        If the word is not known, or nothing is named that it happened to.
    """
    kind = EVENTS.get(word)
    if kind is None or word == "flight":
        known = [w for w in EVENTS if w != "flight"]
        raise UsageError(
            f"{word[:40]!r} is no event",
            where="event",
            fix=near_miss(word, known) or f"One of {', '.join(known)}.",
        )
    about = _about(aircraft, pack, component)
    content = {"event": word, **about}
    if text:
        content["text"] = text
    effect = None
    if kind.grounds:
        thing, id_ = next(iter(about.items()))
        effect = Effect(RESTRICTS, subject(thing, id_))
    relations = [Relation(CITES, e.hash) for e in cites]
    return Draft(EVENT, content, list(signers), relations=relations, effect=effect)


def note_event(
    desk: Desk,
    word: str,
    *,
    aircraft: str = "",
    pack: str = "",
    component: str = "",
    text: str = "",
    cites: Sequence[Entry] = (),
) -> Entry:
    """Enter an event by the device alone, as an import does."""
    draft = event_draft(
        desk, word, aircraft=aircraft, pack=pack, component=component, text=text, cites=cites
    )
    return desk.append(draft)


def _about(aircraft: str, pack: str, component: str) -> dict[str, str]:
    things = {AIRCRAFT: aircraft, PACK: pack, COMPONENT: component}
    about = {thing: id_ for thing, id_ in things.items() if id_}
    if not about:
        raise UsageError("of what?", where="event", fix="Give --aircraft, --pack or --component.")
    return about


def stop_draft(thing: str, id_: str, reason: str, signers: Sequence[Signer] = ()) -> Draft:
    """Draft that something is out of service; anybody may, and the device alone too."""
    content = {thing: id_, "reason": reason}
    effect = Effect(RESTRICTS, subject(thing, id_))
    return Draft(OUT_OF_SERVICE, content, list(signers), effect=effect)


def return_draft(
    desk: Desk, stopped: Entry, text: str, inspector: str, other: str, other_role: str
) -> Draft:
    """Draft a return to service, to be signed by an inspector and another person (public keys).

    Raises
    ------
    RefusedError
        If a list that the event asks for is not done, or both are one person.
    UsageError
        If the entry stops nothing, or is a defect.
    """
    if stopped.body.effect is None or stopped.body.effect.word != RESTRICTS:
        raise UsageError("stops nothing", where=named(stopped), fix="'flightlog service show'.")
    if stopped.body.kind == DEFECT:
        raise UsageError(
            "is a defect", where=named(stopped), fix="It is closed with 'flightlog defect close'."
        )
    missing = missing_list(desk, stopped, None)
    if missing:
        raise RefusedError(
            missing, where=named(stopped), fix="Work it through: 'flightlog checks walk'."
        )
    people = desk.book.people
    if people.person_of(inspector) == people.person_of(other):
        raise RefusedError("two persons return it to service", where=named(stopped))
    signers = [Signer(inspector, "released", INSPECTOR), Signer(other, "released", other_role)]
    return Draft(
        RETURN_TO_SERVICE, {"text": text}, signers, relations=[Relation(ENDS, stopped.hash)]
    )


def missing_list(desk: Desk, stopped: Entry, returned: Entry | None) -> str:
    """Say which list an event asks for and does not have, "" where it has it.

    Parameters
    ----------
    desk : Desk
        The record.
    stopped : Entry
        What restricts.
    returned : Entry or None
        The return, which has to have seen the list; None for one that is about to be made.
    """
    said = stopped.body.content
    kind: EventKind | None = EVENTS.get(str(said.get("event", "")))
    if stopped.body.kind != EVENT or kind is None or not kind.list or AIRCRAFT not in said:
        return ""
    try:
        state = list_state(desk, kind.list, About(said[AIRCRAFT]))
    except FlightlogError as error:
        return error.found
    ledger = desk.ledger
    for item in state.items:
        done = item.result
        if not item.fine or done is None or not ledger.has_seen(done, stopped):
            return f"the list {kind.list} is not done after it: {item.item.id} {item.state}"
        if returned is not None and not ledger.has_seen(returned, done):
            return f"it was returned before {item.item.id} of the list {kind.list} was done"
    return ""


def returns(desk: Desk, returned: Entry, stopped: Entry) -> bool:
    """Whether an entry that ends a restriction is a return to service as it has to be."""
    ledger = desk.ledger
    if returned.body.kind != RETURN_TO_SERVICE or not ledger.standing.may_loosen(returned):
        return False
    inspectors = set(ledger.persons(returned, "released", INSPECTOR))
    return (
        bool(inspectors)
        and len(set(ledger.persons(returned, "released"))) > 1
        and ledger.has_seen(returned, stopped)
    )


def stops(desk: Desk, thing: str, id_: str) -> tuple[Entry, ...]:
    """Give what keeps something out of service, defects left out."""
    ledger = desk.ledger
    return tuple(
        entry
        for entry in ledger.order
        if entry.body.effect is not None
        and entry.body.effect.word == RESTRICTS
        and entry.body.effect.on == subject(thing, id_)
        and entry.body.kind != DEFECT
        and not any(returns(desk, end, entry) for end in ledger.naming(entry, ENDS))
    )


def service_conditions(desk: Desk, plan: Plan) -> list[Condition]:
    """Say whether aircraft, fitted components and pack are in service."""
    things = [(AIRCRAFT, plan.aircraft), (PACK, plan.pack)]
    things += [(COMPONENT, f.component) for f in fitted(desk, plan.aircraft)]
    stopped = [(thing, id_, entry) for thing, id_ in things for entry in stops(desk, thing, id_)]
    if not stopped:
        return [
            Condition("service", True, ", ".join(f"{t} {i}" for t, i in things) + " in service")
        ]
    says = "; ".join(f"{thing} {id_}: {why_of(entry)}" for thing, id_, entry in stopped)
    first = stopped[0][2]
    return [
        Condition(
            "service",
            False,
            says,
            f"An inspector and another person return it: 'flightlog service return {named(first)} "
            "--by INSPECTOR --by OTHER --text WHY'.",
        )
    ]


def why_of(entry: Entry) -> str:
    """Say in a few words why an entry stops something."""
    said = entry.body.content
    reason = said.get("event") or said.get("reason") or said.get("facts") or entry.body.kind
    return f"{reason} ({named(entry)})"
