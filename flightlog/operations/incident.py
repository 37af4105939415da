"""After something went wrong: restrict first, keep second, look last.

The aircraft and its packs are out of service before a single file is opened, and nobody has to sign
for that. Then every source is kept as it was found (``evidence``), and only then anything is read
(``last_minute``). Facts are what the incident's own entries say; an opinion is a remark that cites
it, by somebody who puts a name to it.
"""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from typing import Any

from flightlog.errors import UsageError
from flightlog.logbook.book import Draft
from flightlog.logbook.entry import (
    CITES,
    RESTRICTS,
    Attachment,
    Effect,
    Entry,
    Relation,
    Signer,
    write_utc,
)
from flightlog.logbook.flying_kinds import INCIDENT, OUT_OF_SERVICE, RELEASE
from flightlog.logbook.forms import ident
from flightlog.logbook.kinds import REMARK, content_problem
from flightlog.operations.desk import Desk
from flightlog.operations.positions import named
from flightlog.operations.release_conditions import LASTS
from flightlog.operations.service import stop_draft
from flightlog.team.ledger import AIRCRAFT, COMPONENT, PACK, subject
from flightlog.team_files.reading import near_miss

NOT_DESCRIBED = "not described yet"
_LONGEST_PART = 3_900
_LONGEST_PLACE = 190
_LONGEST_REASON = 400


def restrict(
    desk: Desk,
    aircraft: str,
    packs: Sequence[str],
    facts: str,
    *,
    components: Sequence[str] = (),
    at: datetime | None = None,
    place: str = "",
) -> Entry:
    """Put aircraft, packs and components out of service at once, by the device alone.

    What is named need not be in the record: nothing is refused here for a slip of the pen, and
    ``unknown`` tells of it. A pack that nobody names and that was released with the aircraft for a
    flight of these hours is out of service too. Texts of any length are taken, in further entries
    where they are long.

    Parameters
    ----------
    desk : Desk
        The record.
    aircraft : str
        Id; empty where none was in it.
    packs, components : sequence of str
        Ids of packs, and of components that are to be out of service by themselves: those that
        are fitted go with their aircraft.
    facts : str
        What was seen, without causes.
    at : datetime, optional
        When (aware).
    place : str
        Where.

    Returns
    -------
    Entry
        The incident.

    Raises
    ------
    UsageError
        If nothing is named, or something by what can't be an id.
    """
    things = [(AIRCRAFT, aircraft)] if aircraft else []
    things += [(PACK, pack) for pack in dict.fromkeys(packs)]
    things += [(COMPONENT, component) for component in dict.fromkeys(components)]
    _refuse_no_ids(things)
    released = [p for p in released_packs(desk, aircraft) if p not in packs]
    if len(place) > _LONGEST_PLACE:
        facts, place = f"{facts}\nPlace: {place}", place[:_LONGEST_PLACE]
    first, *more = facts_in_parts(facts)
    content: dict[str, Any] = {"facts": first, "packs": [i for t, i in things if t == PACK]}
    if aircraft:
        content[AIRCRAFT] = aircraft
    if at is not None:
        content["at"] = write_utc(at)
    if place.strip():
        content["place"] = place
    entry = desk.append(Draft(INCIDENT, content, effect=Effect(RESTRICTS, subject(*things[0]))))
    why = f"was in the incident {named(entry)}: {first}"[:_LONGEST_REASON]
    for thing, id_ in things[1:]:
        desk.append(stop_draft(thing, id_, why, cites=[entry]))
    for pack in released:
        why = f"may have been in the incident {named(entry)}: it was released for a flight"
        desk.append(stop_draft(PACK, pack, why, cites=[entry]))
    for part in more:
        desk.append(part_draft(entry, part))
    return entry


def _refuse_no_ids(things: Sequence[tuple[str, str]]) -> None:
    if not things:
        raise UsageError("of what?", where="incident", fix="Give --aircraft or --pack.")
    for thing, id_ in things:
        problem = ident().problem(id_)
        if problem:
            raise UsageError(
                f"{id_[:40]!r} {problem}", where=f"--{thing}", fix="Give the id of its file."
            )


def released_packs(desk: Desk, aircraft: str) -> tuple[str, ...]:
    """Give the packs with which an aircraft was released within the time that a release lasts."""
    ledger = desk.ledger
    return tuple(
        dict.fromkeys(
            release.body.content["pack"]
            for release in ledger.of(RELEASE, aircraft=aircraft)
            if ledger.now - ledger.when(release) < LASTS
        )
    )


def restricted_by(desk: Desk, incident: Entry) -> tuple[str, ...]:
    """Give what an incident put out of service, like "pack:pack-a"."""
    entries = (incident, *desk.ledger.naming(incident, CITES, OUT_OF_SERVICE))
    effects = (entry.body.effect for entry in entries)
    return tuple(dict.fromkeys(effect.on for effect in effects if effect is not None))


def facts_in_parts(facts: str) -> list[str]:
    """Cut a text into parts that an entry can hold, at least one."""
    # A name of a file may hold what is no text; it is kept by its bytes all the same.
    whole = facts.encode("utf-8", "replace").decode("utf-8").strip() or NOT_DESCRIBED
    return [whole[i : i + _LONGEST_PART] for i in range(0, len(whole), _LONGEST_PART)]


def part_draft(
    incident: Entry,
    facts: str,
    attachments: Sequence[Attachment] = (),
    signers: Sequence[Signer] = (),
) -> Draft:
    """Draft a further entry of an incident: more facts, or files that were kept."""
    said = incident.body.content
    content = {"facts": facts, "packs": list(said["packs"])}
    if AIRCRAFT in said:
        content[AIRCRAFT] = said[AIRCRAFT]
    relations = [Relation(CITES, incident.hash)]
    return Draft(INCIDENT, content, list(signers), list(attachments), relations)


def statement_draft(incident: Entry, facts: str, key: str) -> Draft:
    """Draft facts that a person puts a name to (public key).

    Raises
    ------
    UsageError
        If the text is longer than an entry holds.
    """
    first, *more = facts_in_parts(facts)
    if more:
        raise UsageError(
            f"has {len(facts)} characters, and one statement at most {_LONGEST_PART}",
            where="--facts",
            fix="Make several statements of it.",
        )
    return part_draft(incident, first, signers=[Signer(key, "stated")])


def opinion_draft(incident: Entry, text: str, key: str) -> Draft:
    """Draft what a person thinks about an incident; it stands apart from the facts."""
    relations = [Relation(CITES, incident.hash)]
    return Draft(REMARK, {"text": text}, [Signer(key, "stated")], relations=relations)


def unknown(desk: Desk, things: Sequence[tuple[str, str]]) -> list[str]:
    """Say which things the record does not know; a restriction on those stops nothing else."""
    found = []
    for thing, id_ in things:
        if desk.versions.in_force(thing, id_) is None:
            known = desk.versions.ids(thing)
            hint = near_miss(id_, known) or (f"Known: {', '.join(known)}." if known else "")
            found.append(f"the record knows no {thing} {id_!r}. {hint}".strip())
    return found


# --- what belongs to an incident


def incident_of(desk: Desk, entry: Entry) -> Entry:
    """Give the incident that an entry is, or is a part of.

    Raises
    ------
    UsageError
        If it is none.
    """
    if entry.body.kind != INCIDENT or content_problem(entry.body):
        raise UsageError(
            f"is a {entry.body.kind}, no incident",
            where=named(entry),
            fix="'flightlog incident list' shows them.",
        )
    whole = desk.ledger.named(entry, CITES, INCIDENT)
    return whole[0] if whole else entry


def incidents(desk: Desk) -> tuple[Entry, ...]:
    """Give all incidents, the oldest first, without their parts."""
    return tuple(
        entry
        for entry in desk.ledger.order
        if entry.body.kind == INCIDENT
        and content_problem(entry.body) is None
        and not desk.ledger.named(entry, CITES, INCIDENT)
    )


def happened(incident: Entry) -> datetime | None:
    """Give when an incident happened, as it was entered; None where nobody said."""
    said = incident.body.content.get("at")
    return datetime.fromisoformat(str(said).replace("Z", "+00:00")) if said else None


def parts_of(desk: Desk, incident: Entry) -> tuple[Entry, ...]:
    """Give the entries of an incident: its own, and those that add facts or files to it."""
    return (incident, *desk.ledger.naming(incident, CITES, INCIDENT))


def sources_of(desk: Desk, incident: Entry) -> tuple[Attachment, ...]:
    """Give all files that were kept of an incident, in the order in which they were kept."""
    found: dict[str, Attachment] = {}
    for entry in parts_of(desk, incident):
        for attachment in entry.body.attachments:
            found.setdefault(attachment.sha256, attachment)
    return tuple(found.values())


def opinions_of(desk: Desk, incident: Entry) -> tuple[Entry, ...]:
    """Give the remarks that cite an incident or a part of it."""
    parts = parts_of(desk, incident)
    found = {remark for part in parts for remark in desk.ledger.naming(part, CITES, REMARK)}
    return tuple(entry for entry in desk.ledger.order if entry in found)
