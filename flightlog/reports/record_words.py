"""Tables of what the record holds: crew, aircraft and parts, files, incidents, ground tests."""

from __future__ import annotations

from collections.abc import Iterable

from flightlog.errors import FlightlogError
from flightlog.logbook.entry import Entry
from flightlog.logbook.people import Person
from flightlog.logbook.words import entry_lines
from flightlog.operations.desk import Desk
from flightlog.operations.ground_record import Measured
from flightlog.operations.incident import opinions_of, parts_of, sources_of
from flightlog.operations.incident_record import around, signers_of
from flightlog.operations.positions import named
from flightlog.operations.service import stops
from flightlog.operations.upkeep import LATER, Due, due_of
from flightlog.operations.usage import usage_of, where_fitted
from flightlog.operations.working_copies import SAME, WorkingCopy
from flightlog.reports.numbers import digits
from flightlog.team.ledger import AIRCRAFT, COMPONENT, PACK

Row = tuple[str, ...]

CREW_HEAD = ("Who", "Roles", "Key", "In the record since")
THING_HEAD = {
    AIRCRAFT: ("Aircraft", "Serial", "Hours", "Landings", "Flights", "Due or soon", "Service"),
    PACK: ("Pack", "Serial", "Hours", "Landings", "Cycles", "Due or soon", "Service"),
    COMPONENT: (
        "Component",
        "Serial",
        "Fitted in",
        "Hours",
        "Landings",
        "Flights",
        "Due or soon",
        "Service",
    ),
}
FILE_HEAD = ("Kind", "File", "State in the folder", "In force by", "Entered, UTC", "To know")
INCIDENT_HEAD = ("Incident", "Entered, UTC", "On", "Facts", "Files kept", "Signed by")
GROUND_HEAD = ("Of", "Serial", "What was found", "Date UTC", "Entry", "Signed by")


# --- crew


def crew_rows(desk: Desk) -> list[Row]:
    """Give the persons of the record as rows of `CREW_HEAD`."""
    return [_person(desk, person) for person in desk.book.people.persons]


def _person(desk: Desk, person: Person) -> Row:
    count = len(person.valid)
    key = "counts" if count == 1 else f"{count} keys count" if count else "NO KEY THAT COUNTS"
    since = desk.book.order.get(person.since)
    when = f"{named(since)}, {since.body.time.utc:%Y-%m-%d}" if since is not None else ""
    return (desk.crew.label(person.id), ", ".join(person.roles) or "no role", key, when)


# --- aircraft, packs, components


def thing_rows(desk: Desk, thing: str) -> list[Row]:
    """Give all aircraft, packs or components with a file in force, as rows of `THING_HEAD`."""
    return [_thing(desk, thing, id_) for id_ in desk.versions.ids(thing)]


def _thing(desk: Desk, thing: str, id_: str) -> Row:
    try:
        used, every = usage_of(desk, thing, id_), due_of(desk, thing, id_)
        serial = _serial(desk, thing, id_)
    except FlightlogError as error:
        blank = len(THING_HEAD[thing]) - 2
        return (id_, *[""] * (blank - 1), f"its file can't be read: {error.found}", "")
    place = [_place(desk, id_)] if thing == COMPONENT else []
    least = "at least " if used.is_least else ""
    return (
        id_,
        serial or "none told",
        *place,
        f"{least}{digits(used.hours, 2)}",
        str(used.landings),
        str(used.cycles if thing == PACK else len(used.sorties)),
        due_text(every),
        service_text(desk, thing, id_),
    )


def _serial(desk: Desk, thing: str, id_: str) -> str:
    if thing == AIRCRAFT:
        return desk.aircraft(id_).serial or ""
    return (desk.pack(id_).serial if thing == PACK else desk.component(id_).serial) or ""


def _place(desk: Desk, component: str) -> str:
    found = where_fitted(desk, component)
    return " and ".join(f"{p.aircraft}, {p.position}" for p in found) or "not fitted"


def due_text(every: Iterable[Due]) -> str:
    """Write what is overdue, due or soon of one thing."""
    near = [f"{d.state}: {d.title}" for d in every if d.state != LATER]
    return "; ".join(near) or "nothing"


def service_text(desk: Desk, thing: str, id_: str) -> str:
    """Say whether something is out of service, and by what."""
    found = stops(desk, thing, id_)
    return f"OUT OF SERVICE, {', '.join(map(named, found))}" if found else "in service"


# --- files


def file_rows(desk: Desk, copies: Iterable[WorkingCopy]) -> list[Row]:
    """Give the files of the folder beside those in force, what differs first."""
    listed = sorted(copies, key=lambda copy: copy.state == SAME)
    return [_file(desk, copy) for copy in listed]


def _file(desk: Desk, copy: WorkingCopy) -> Row:
    entry = copy.version.entry if copy.version is not None else None
    changed = f"{len(copy.changes)} changes" if copy.version and copy.changes else ""
    two = "two persons sign it" if copy.needs_two and copy.state != SAME else ""
    return (
        copy.kind,
        copy.id,
        copy.state,
        named(entry) if entry is not None else "none",
        f"{desk.ledger.when(entry):%Y-%m-%d %H:%M}" if entry is not None else "",
        "; ".join(filter(None, (copy.why, changed, two))),
    )


# --- incidents


def incident_rows(desk: Desk, found: Iterable[Entry]) -> list[Row]:
    """Give incidents as rows of `INCIDENT_HEAD`, the newest first."""
    return [_incident(desk, entry) for entry in reversed(list(found))]


def _incident(desk: Desk, entry: Entry) -> Row:
    said = entry.body.content
    on = [f"aircraft {said[AIRCRAFT]}"] if AIRCRAFT in said else []
    on += [f"pack {pack}" for pack in said["packs"]]
    return (
        named(entry),
        f"{entry.body.time.utc:%Y-%m-%d %H:%M}",
        ", ".join(on),
        str(said["facts"]),
        str(len(sources_of(desk, entry))),
        signers_of(desk, entry),
    )


def incident_lines(desk: Desk, entry: Entry) -> list[str]:
    """Give what was entered about an incident: facts and files first, opinions apart."""
    people, lines = desk.book.people, ["FACTS"]
    for part in parts_of(desk, entry):
        lines += ["", *entry_lines(part.body, desk.names, people)]
    lines += ["", f"When it was entered: {around(desk, entry).release_says}", ""]
    opinions = opinions_of(desk, entry)
    lines.append("OPINIONS, no part of the facts" if opinions else "No opinion was entered.")
    for opinion in opinions:
        lines += ["", *entry_lines(opinion.body, desk.names, people)]
    return lines


# --- measured on the ground


def ground_rows(desk: Desk, found: Iterable[Measured]) -> list[Row]:
    """Give what was measured on the ground as rows of `GROUND_HEAD`."""
    return [
        (
            f"{one.thing} {one.id}",
            one.serial or "none told",
            one.says,
            f"{one.when:%Y-%m-%d %H:%M}",
            named(one.entry),
            ", ".join(map(desk.crew.label, one.persons)) or "no signature that counts",
        )
        for one in found
    ]
