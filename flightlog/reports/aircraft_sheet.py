"""The airworthiness record of an aircraft on paper: its state, and what that rests on.

It says what the record holds on a day, and never that the aircraft is safe.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence

from flightlog.inputs import Component
from flightlog.logbook.flying_kinds import BASELINE
from flightlog.operations.defect_states import DefectState, defects
from flightlog.operations.desk import Desk
from flightlog.operations.fitness import FitnessState, fitness_state
from flightlog.operations.positions import heads_of, named
from flightlog.operations.release import ReleaseState, release_state
from flightlog.operations.upkeep import LIFE, Due, due, due_of
from flightlog.operations.usage import contradictions, fitted, usage_of
from flightlog.reports.cautions import CAUTIONS
from flightlog.reports.hangar import restriction_lines, used_text
from flightlog.reports.numbers import bound_text, digits
from flightlog.reports.release_words import last_release_lines, signature_lines
from flightlog.reports.sheet_content import (
    Band,
    Block,
    Facts,
    Notice,
    SheetContent,
    Table,
    Words,
    beside,
    wide,
)
from flightlog.rules.book import Limit, aircraft_limits
from flightlog.team.files import Version
from flightlog.team.ledger import AIRCRAFT, COMPONENT

_HASH_DIGITS = 12
_CLOSED = "closed"
_WORSE_FIRST = ("open", "deferral over", "put right, not closed", "deferred", _CLOSED)


def aircraft_sheet(desk: Desk, aircraft: str) -> SheetContent:
    """Give the airworthiness record of an aircraft.

    Parameters
    ----------
    desk : Desk
        The record.
    aircraft : str
        Id of its file.

    Raises
    ------
    UsageError
        If the record holds no file of it.
    TeamFileError
        If a file in force can't be read.
    """
    file = desk.aircraft(aircraft)
    fitness, release = fitness_state(desk, aircraft), release_state(desk, aircraft)
    serial = f"serial {file.serial}" if file.serial else "no serial"
    configuration = f"configuration {file.configuration or 'not named'}"
    return SheetContent(
        title=f"Aircraft {aircraft}",
        subtitle=f"Airworthiness record, {serial}, {configuration}",
        team=desk.folder.name,
        headline="",
        top=(
            Notice(release.word, _release_says(desk, release)),
            Notice(f"fitness: {fitness.word}", fitness.says),
        ),
        parts=(tuple(_bands(desk, aircraft, fitness)),),
        notes=CAUTIONS,
        heads=heads_of(desk.ledger),
        made=desk.ledger.now,
    )


def _release_says(desk: Desk, state: ReleaseState) -> str:
    return " ".join(last_release_lines(desk, state))


def _bands(desk: Desk, aircraft: str, fitness: FitnessState) -> Iterator[Band]:
    yield beside([_used(desk, aircraft)], list(_statement(desk, fitness)))
    stopping = tuple(restriction_lines(desk, AIRCRAFT, aircraft))
    yield wide(
        Words("Restricted by", stopping, "Nothing restricts it, or holds it out of service.")
    )
    yield wide(_components(desk, aircraft))
    yield wide(_due(desk, aircraft))
    yield wide(_defects(desk, aircraft))
    yield wide(*_limits(desk, aircraft))
    against = tuple(t for t in contradictions(desk) if aircraft in t.replace(",", " ").split())
    if against:
        yield wide(Words("Contradictions", against))


# --- use and fitness


def _used(desk: Desk, aircraft: str) -> Facts:
    used = usage_of(desk, AIRCRAFT, aircraft)
    least = "at least " if used.is_least else ""
    version = desk.version(AIRCRAFT, aircraft)
    baseline = desk.ledger.last(BASELINE, aircraft=aircraft)
    setup = "none is in the record"
    if baseline is not None:
        said = baseline.body.content
        setup = f"{named(baseline)}: {said['firmware']}, {said['count']} parameters"
    rows = [
        ("flown", f"{least}{digits(used.hours, 2)} h"),
        ("landings", str(used.landings)),
        ("flights in this record", str(len(used.sorties))),
        ("in use for", f"{digits(used.days, 0)} days" if used.days is not None else "not known"),
        ("file in force", _version_text(desk, version)),
        ("baseline", setup),
    ]
    if used.untimed:
        rows.insert(1, ("no time known of", ", ".join(named(f.entry) for f in used.untimed)))
    if used.cut:
        rows.insert(1, ("log not of all of", ", ".join(named(f.entry) for f in used.cut)))
    return Facts("Use and configuration", tuple(rows))


def _version_text(desk: Desk, version: Version) -> str:
    when = desk.ledger.when(version.entry)
    return f"{named(version.entry)}, {when:%Y-%m-%d %H:%M} UTC, SHA-256 {version.sha256}"


def _statement(desk: Desk, state: FitnessState) -> Iterator[Block]:
    if state.entry is None:
        yield Words("Fitness statement", (), "None is in the record.")
        return
    said = state.entry.body.content
    lines = str(said.get("statement", said["work"])).split("\n")
    signed = signature_lines(desk, state.entry)
    yield Words(f"Fitness statement {named(state.entry)}", (*lines, *signed))


# --- components, inspections, defects


def _components(desk: Desk, aircraft: str) -> Table:
    rows = []
    for part in fitted(desk, aircraft):
        known = desk.versions.in_force(COMPONENT, part.component) is not None
        file: Component | None = desk.component(part.component) if known else None
        every = due_of(desk, COMPONENT, part.component)
        life = ", ".join(left.text for d in every if d.name == LIFE for left in d.left)
        serial = (file.serial or "none") if file is not None else "no file in force"
        used = used_text(COMPONENT, usage_of(desk, COMPONENT, part.component)) if known else "-"
        title = file.title if file is not None else ""
        rows.append((part.component, title, serial, part.position, used, life or "not limited"))
    return Table(
        "Components",
        ("component", "what", "serial", "where", "used", "life"),
        tuple(rows),
        (0, 1, 0, 0.7, 1.8, 0.8),
        none="The record holds none that is fitted.",
    )


def _due(desk: Desk, aircraft: str) -> Table:
    return Table(
        "Inspections and lives",
        ("state", "of", "what", "how it stands"),
        tuple(_due_row(item) for item in due(desk, aircraft)),
        (0, 0, 1, 1.5),
        states=(0,),
        none="Its files name none.",
    )


def _due_row(item: Due) -> tuple[str, ...]:
    name = "" if item.name == item.title else f" [{item.name}]"
    return item.state, item.id, f"{item.title}{name}", item.details or "no end"


def _defects(desk: Desk, aircraft: str) -> Table:
    every = sorted(defects(desk, aircraft), key=lambda d: _WORSE_FIRST.index(d.state))
    return Table(
        "Defects, open, deferred and closed",
        ("state", "defect", "severity", "part and what is wrong", "within, and next step"),
        tuple(map(_defect_row, every)),
        (0, 0, 0, 1, 1.2),
        states=(0,),
        none="None was ever reported.",
    )


def _defect_row(defect: DefectState) -> tuple[str, ...]:
    said = defect.entry.body.content
    ignored = [f"not closed by what is there: {text}" for text in defect.ignored]
    then = f"waits for {defect.waits_for}" if defect.waits_for else ""
    rest = "; ".join(filter(None, [defect.limitation, defect.left, then, *ignored]))
    what = f"{said['part']}, {defect.group}: {said['text']}"
    return defect.state, named(defect.entry), defect.severity, what, rest or "-"


# --- limits in force


def _limits(desk: Desk, aircraft: str) -> Iterator[Table]:
    """Give a table for each file in force that sets limits."""
    own = aircraft_limits(desk.aircraft(aircraft))
    yield _limit_table(desk.version(AIRCRAFT, aircraft), "aircraft file", own)
    for id_ in desk.versions.ids("rules"):
        book = desk.rules(id_)
        name = f"rule book, version {book.version}"
        yield _limit_table(desk.version("rules", id_), name, book.limits)


def _limit_table(version: Version, what: str, limits: Sequence[Limit]) -> Table:
    digest = f"SHA-256 {version.sha256[:_HASH_DIGITS]}…"
    return Table(
        f"Limits in force: {what} {version.id} {named(version.entry)}, {digest}",
        ("limit", "figure", "bound", "p needed", "clause"),
        tuple(map(_limit_row, limits)),
        (1.2, 1.3, 1.2, 0.5, 1.3),
        none="It sets none.",
    )


def _limit_row(limit: Limit) -> tuple[str, ...]:
    own = ", by its own definition" if limit.definition is not None else ""
    bound = f"{bound_text(limit.bound)}{own}"
    clause = limit.source if limit.kind == "rule" else "aircraft file"
    return limit.id, limit.figure, bound, f"{limit.shown_at:g}", clause
