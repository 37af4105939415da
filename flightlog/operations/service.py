"""Events, what is out of service, and the way back into it.

An event that grounds, an incident and a plain "out of service" restrict what they are about. Two
persons return it: an inspector, and another one; after an event that has a check list of its own
only when that list was worked through in its knowledge. An entry that ends a restriction without
that leaves it standing here, and so does one that was corrected. An event that grounds stops all
that it names, also where the program that wrote it let it restrict one of them, or none.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Sequence
from typing import cast

from flightlog.errors import FlightlogError, RefusedError, UsageError
from flightlog.logbook.book import Draft
from flightlog.logbook.entry import CITES, ENDS, RESTRICTS, Effect, Entry, Relation, Signer
from flightlog.logbook.flying_kinds import (
    EVENT,
    INCIDENT,
    LIST_BEGUN,
    OUT_OF_SERVICE,
    RETURN_TO_SERVICE,
)
from flightlog.operations.check_worth import FINE, knows, outcome, refused_by_second, seconded
from flightlog.operations.checklists import Item, load_checklist
from flightlog.operations.checks import About, checks_of, list_state
from flightlog.operations.defect_rules import is_defect
from flightlog.operations.desk import Desk
from flightlog.operations.events import EVENTS, EventKind
from flightlog.operations.plan import Condition, Plan
from flightlog.operations.positions import named, newest
from flightlog.operations.usage import fitted
from flightlog.team.files import FOLDERS, Version
from flightlog.team.ledger import AIRCRAFT, COMPONENT, PACK, THINGS, Ledger, subject
from flightlog.team_files.reading import near_miss

INSPECTOR = "inspector"
_LONGEST_REASON = 200


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


def stop_draft(
    thing: str,
    id_: str,
    reason: str,
    signers: Sequence[Signer] = (),
    cites: Sequence[Entry] = (),
) -> Draft:
    """Draft that something is out of service; anybody may, and the device alone too."""
    content = {thing: id_, "reason": reason}
    effect = Effect(RESTRICTS, subject(thing, id_))
    relations = [Relation(CITES, e.hash) for e in cites]
    return Draft(OUT_OF_SERVICE, content, list(signers), relations=relations, effect=effect)


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
    if is_defect(stopped):
        raise UsageError(
            "is a defect", where=named(stopped), fix="It is closed with 'flightlog defect close'."
        )
    if not stopped_by(desk.ledger, stopped):
        raise UsageError("stops nothing", where=named(stopped), fix="'flightlog service show'.")
    missing = missing_list(desk, stopped, None)
    if missing:
        list_id = list_after(stopped)
        raise RefusedError(
            missing,
            where=named(stopped),
            fix=f"Work it through: 'flightlog checks walk {list_id} --aircraft "
            f"{stopped.body.content[AIRCRAFT]} --by WHO'.",
        )
    people = desk.book.people
    if people.person_of(inspector) == people.person_of(other):
        raise RefusedError("two persons return it to service", where=named(stopped))
    signers = [Signer(inspector, "released", INSPECTOR), Signer(other, "released", other_role)]
    return Draft(
        RETURN_TO_SERVICE, {"text": text}, signers, relations=[Relation(ENDS, stopped.hash)]
    )


# --- the list that an event asks for


def list_after(stopped: Entry) -> str:
    """Give the id of the list that has to be done after an event, "" where there is none."""
    said = stopped.body.content
    kind: EventKind | None = EVENTS.get(str(said.get("event", "")))
    if stopped.body.kind != EVENT or kind is None or AIRCRAFT not in said:
        return ""
    return kind.list


def missing_list(desk: Desk, stopped: Entry, returned: Entry | None) -> str:
    """Say which list an event asks for and does not have, "" where it has it.

    Parameters
    ----------
    desk : Desk
        The record.
    stopped : Entry
        What restricts.
    returned : Entry or None
        The return, which has to have seen the list, in the version of that time; None for one
        that is about to be made.
    """
    list_id = list_after(stopped)
    if not list_id:
        return ""
    if returned is not None:
        return _not_done_between(desk, list_id, stopped, returned)
    try:
        state = list_state(desk, list_id, About(stopped.body.content[AIRCRAFT]))
    except FlightlogError as error:
        return error.found
    for item in state.items:
        done = item.result
        if not item.fine or done is None or not knows(desk.ledger, done, stopped):
            return f"the list {list_id} is not done after it: {item.item.id} {item.state}"
    return ""


def _not_done_between(desk: Desk, list_id: str, stopped: Entry, returned: Entry) -> str:
    """Say what of a list was not done after one entry and before another, "" where all was.

    What has reopened an item since then does not bring an old event back.
    """
    ledger = desk.ledger
    version = _version_then(desk, list_id, returned)
    if version is None:
        return f"there was no list {list_id} when it was returned"
    try:
        checklist = desk.loaded(version, load_checklist)
    except FlightlogError as error:
        return error.found
    begun = ledger.of(LIST_BEGUN, list=list_id, aircraft=stopped.body.content[AIRCRAFT])
    of_version = [e for e in begun if e.body.content["checklist"] == version.sha256]
    checks = checks_of(desk, of_version)
    for item in checklist.items:
        between = [
            check
            for check in checks.get(item.id, ())
            if knows(ledger, check, stopped) and ledger.has_seen(returned, check)
        ]
        if not _is_done(desk, item, between, returned):
            return f"the list {list_id} was not done before it was returned: {item.id}"
    return ""


def _version_then(desk: Desk, list_id: str, entry: Entry) -> Version | None:
    seen = [
        version
        for version in desk.versions.history("checklist", list_id)
        if desk.ledger.has_seen(entry, version.entry)
    ]
    return seen[-1] if seen else None


def _is_done(desk: Desk, item: Item, checks: Sequence[Entry], before: Entry) -> bool:
    """Whether checks of an item make it done, with its second person before an entry."""
    ledger = desk.ledger
    last = newest(ledger, (c for c in checks if ledger.persons(c, "performed", item.role)))
    return bool(last) and all(
        outcome(desk, item, check)[0] in FINE
        and not refused_by_second(desk, item, check)
        and (
            not item.second
            or check.body.content["result"] != "pass"
            or any(ledger.has_seen(before, look) for look in seconded(desk, item, check))
        )
        for check in last
    )


# --- what stops something, and what returns it


def stopped_by(ledger: Ledger, entry: Entry) -> frozenset[str]:
    """Give what an entry keeps out of service until it is returned, like "pack:pack-a".

    Defects are left out; they have rules of their own.
    """
    body = entry.body
    if is_defect(entry):
        return frozenset()
    found = set()
    if body.effect is not None and body.effect.word == RESTRICTS:
        found.add(body.effect.on)
    if not ledger.standing.counts(entry):
        return frozenset(found)
    kind = EVENTS.get(str(body.content.get("event", ""))) if body.kind == EVENT else None
    if (kind is not None and kind.grounds) or body.kind == OUT_OF_SERVICE:
        found |= {subject(thing, body.content[thing]) for thing in THINGS if thing in body.content}
    if body.kind == INCIDENT and not found and not ledger.named(entry, CITES, INCIDENT):
        found |= {subject(PACK, pack) for pack in body.content["packs"]}
        if AIRCRAFT in body.content:
            found.add(subject(AIRCRAFT, body.content[AIRCRAFT]))
    return frozenset(found)


def why_not_returned(desk: Desk, returned: Entry, stopped: Entry) -> str:
    """Say why an entry that ends a restriction is no return to service, "" where it is one."""
    ledger = desk.ledger
    if returned.body.kind != RETURN_TO_SERVICE:
        return f"a {returned.body.kind} returns nothing to service"
    if not ledger.standing.may_loosen(returned) or ledger.corrections(returned):
        return "it was corrected, or does not count"
    if not ledger.has_seen(returned, stopped):
        return "it had not seen what it returns"
    inspectors = ledger.persons(returned, "released", INSPECTOR)
    if not inspectors or len(set(ledger.persons(returned, "released"))) < 2:
        return "not signed by an inspector and another person"
    return missing_list(desk, stopped, returned)


def returns(desk: Desk, returned: Entry, stopped: Entry) -> bool:
    """Whether an entry that ends a restriction is a return to service as it has to be."""
    return not why_not_returned(desk, returned, stopped)


def stops(desk: Desk, thing: str, id_: str) -> tuple[Entry, ...]:
    """Give what keeps something out of service, defects left out."""
    return _stopping(desk).get(subject(thing, id_), ())


def all_stops(desk: Desk) -> tuple[tuple[str, tuple[Entry, ...]], ...]:
    """Give everything that is out of service, like "pack:pack-a", and by which entries."""
    return tuple(sorted(_stopping(desk).items()))


def _stopping(desk: Desk) -> dict[str, tuple[Entry, ...]]:
    """Subject -> what stops it."""
    known = desk.kept.get("stops")
    if known is None:
        found: defaultdict[str, list[Entry]] = defaultdict(list)
        for entry in desk.ledger.order:
            about = stopped_by(desk.ledger, entry)
            if about and not any(returns(desk, e, entry) for e in desk.ledger.naming(entry, ENDS)):
                for one in about:
                    found[one].append(entry)
        known = desk.kept["stops"] = {one: tuple(entries) for one, entries in found.items()}
    return cast(dict[str, tuple[Entry, ...]], known)


def ignored_returns(desk: Desk, stopped: Entry) -> tuple[str, ...]:
    """Say of what ends a restriction in the record why it does not here. Clauses."""
    found = (
        (entry, why_not_returned(desk, entry, stopped))
        for entry in desk.ledger.naming(stopped, ENDS)
    )
    return tuple(f"{named(e)} ({e.body.kind}) does not return it: {why}" for e, why in found if why)


def service_conditions(desk: Desk, plan: Plan) -> list[Condition]:
    """Say whether aircraft, fitted components and pack are in service."""
    things = [(AIRCRAFT, plan.aircraft), (PACK, plan.pack)]
    things += [(COMPONENT, f.component) for f in fitted(desk, plan.aircraft)]
    stopped = [(thing, id_, entry) for thing, id_ in things for entry in stops(desk, thing, id_)]
    if not stopped:
        in_service = ", ".join(f"{thing} {id_}" for thing, id_ in things)
        return [Condition("service", True, f"{in_service} in service")]
    says = "; ".join(
        ", ".join((f"{thing} {id_}: {why_of(entry)}", *ignored_returns(desk, entry)))
        for thing, id_, entry in stopped
    )
    entries = dict.fromkeys(entry for _, _, entry in stopped)
    return [Condition("service", False, says, " ".join(to_clear(desk, entry) for entry in entries))]


def to_clear(desk: Desk, stopped: Entry) -> str:
    """Say what would return something to service. A sentence, or two.

    A record that was begun before a list shipped with the program, or before the list was of such
    an event, has to take it over first.
    """
    list_id = list_after(stopped)
    first = f"Work through the list {list_id}; then an" if list_id else "An"
    if list_id and _is_of_other_events(desk, list_id, stopped):
        word = stopped.body.content["event"]
        first = (
            f"The list {list_id} in force is not done anew after {word}: add the word to its "
            f"reopened_by and enter it with 'flightlog team enter'. {first}"
        )
    if list_id and desk.versions.in_force("checklist", list_id) is None:
        first = f"This record has no list {list_id}: {_to_enter(desk, list_id)} {first}"
    return (
        f"{first} inspector and another person return it: 'flightlog service return "
        f"{named(stopped)} --by INSPECTOR --by OTHER --text WHY'."
    )


def _to_enter(desk: Desk, list_id: str) -> str:
    """Say how a list comes into the record; 'team new' has put the program's into the folder."""
    place = f"{FOLDERS['checklist']}/{list_id}.toml"
    enter = f"'flightlog team enter {place} --by WHO --by WHO'"
    if (desk.folder.path / place).is_file():
        return f"{place} lies in the team folder and is not entered yet: {enter}."
    return f"copy checklists/{list_id}.toml of the program to {place} of the team folder; {enter}."


def _is_of_other_events(desk: Desk, list_id: str, stopped: Entry) -> bool:
    """Whether the list in force has an item that an event does not reopen."""
    version = desk.versions.in_force("checklist", list_id)
    try:
        items = desk.loaded(version, load_checklist).items if version is not None else ()
    except FlightlogError:
        return False  # whoever works through it is told
    return any(stopped.body.content["event"] not in item.reopened_by for item in items)


def why_of(entry: Entry) -> str:
    """Say in a few words why an entry stops something."""
    said = entry.body.content
    reason = said.get("event") or said.get("reason") or said.get("facts") or entry.body.kind
    return f"{str(reason)[:_LONGEST_REASON]} ({named(entry)})"
