"""``flightlog incident``: after something went wrong."""

from __future__ import annotations

from collections.abc import Sequence
from datetime import datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from flightlog.cli import wall
from flightlog.cli.checks import write_new
from flightlog.cli.console import err, out
from flightlog.cli.desk import desk_of
from flightlog.cli.entering import AboutAircraft, AnyOption, OneOption, enter, hands_of, utc_of
from flightlog.cli.signing import (
    Hands,
    KeysOption,
    PassphraseOption,
    TeamOption,
    a_path,
    given_text,
    say_added,
)
from flightlog.errors import UsageError

if TYPE_CHECKING:
    from flightlog.logbook.entry import Entry
    from flightlog.operations.desk import Desk
    from flightlog.operations.evidence import Kept
    from flightlog.operations.last_minute import Timeline

incident_app = typer.Typer(
    name="incident", help="After something went wrong: restrict, keep, look.", no_args_is_help=True
)
EntryArgument = Annotated[
    str, typer.Argument(metavar="ENTRY", help="The incident, like 61.H3MED, or a part of it.")
]
AtOption = Annotated[
    str | None,
    typer.Option(
        "--at", metavar="UTC", help="Where zero of the axis is, like 2027-03-15T10:20:00Z."
    ),
]
ReferenceOption = Annotated[
    str,
    typer.Option(
        "--reference", metavar="FILE", help="Whose clock is the axis, by the end of its name."
    ),
]


@incident_app.command()
def report(
    sources: Annotated[
        list[Path] | None,
        typer.Argument(metavar="SOURCE...", parser=a_path, help="Logs, photos, whole cards."),
    ] = None,
    aircraft: AboutAircraft = None,
    pack: Annotated[
        list[str] | None, typer.Option("--pack", metavar="ID", help="Which pack; repeatable.")
    ] = None,
    component: Annotated[
        list[str] | None,
        typer.Option(
            "--component", metavar="ID", help="Also out of service by itself; repeatable."
        ),
    ] = None,
    facts: Annotated[
        str, typer.Option("--facts", metavar="TEXT", help="What was seen, without causes.")
    ] = "",
    at: Annotated[
        str | None, typer.Option("--at", metavar="UTC", help="When, like 2027-03-15T10:20:00Z.")
    ] = None,
    place: Annotated[str, typer.Option("--place", metavar="TEXT", help="Where.")] = "",
    html: Annotated[
        Path | None, typer.Option("--html", metavar="FILE", parser=a_path, help="The sheet too.")
    ] = None,
    by: AnyOption = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> int:
    """Put aircraft and packs out of service, and keep every source by its hash.

    Nobody has to sign. Sources are only read. First the restriction is written, then the files
    are kept, and last the logs are looked at. With --by those persons sign the facts at the end.

    Example: flightlog incident report card --aircraft pannier --pack pack-a
    --facts "struck the ground beyond the strip"
    """
    from flightlog.reports.cautions import LITHIUM, PEOPLE, PROPELLER

    out().lines([f"FIRST: {LITHIUM}", PROPELLER, PEOPLE, ""])
    with desk_of(team) as desk:
        entry, when, slip = _restrict(desk, aircraft, pack, component, facts, at, place)
        kept = _keep(desk, entry, sources)
        _sheet(desk, entry, _look(desk, entry, when, ""), html, None)
        if by:
            _state(desk, entry, facts, by, hands_of(desk, keys, passphrase_fd))
        if slip is not None:
            raise slip
        whole = all(one.attachment is not None and not one.why_not for one in kept)
        return wall.DONE if whole else wall.FILE_AT_FAULT


def _restrict(
    desk: Desk,
    aircraft: str | None,
    packs: Sequence[str] | None,
    components: Sequence[str] | None,
    facts: str,
    at: str | None,
    place: str,
) -> tuple[Entry, datetime | None, UsageError | None]:
    """Restrict, whatever else was typed wrong; gives that slip for the end."""
    from flightlog.operations.incident import restrict, restricted_by, unknown

    when, slip = None, None
    try:
        when = utc_of(at, "--at") if at else None
    except UsageError as error:
        slip, facts = error, f"{facts}\nTime as it was typed: {at}"
    entry = restrict(
        desk,
        aircraft or "",
        packs or (),
        facts,
        components=components or (),
        at=when,
        place=place,
    )
    say_added(entry)
    things = [("aircraft", aircraft)] if aircraft else []
    things += [("pack", id_) for id_ in packs or ()]
    things += [("component", id_) for id_ in components or ()]
    out_of = ", ".join(one.replace(":", " ", 1) for one in restricted_by(desk, entry))
    out().line(f"Out of service: {out_of}")
    for line in unknown(desk, things):
        err().line(
            f"flightlog: {line} It is restricted under this id alone: 'flightlog service stop' "
            "restricts the right one."
        )
    return entry, when, slip


def _state(desk: Desk, entry: Entry, facts: str, by: Sequence[str], hands: Hands) -> None:
    """Let persons put their names to the facts, after everything that can't wait."""
    from flightlog.operations.incident import statement_draft

    given_text(facts or " ", "--facts")
    for who in by:
        enter(desk, statement_draft(entry, facts, desk.crew.present_key(who)), hands)


def _keep(desk: Desk, entry: Entry, sources: Sequence[Path] | None) -> list[Kept]:
    from flightlog.operations.evidence import keep

    kept = keep(desk, entry, sources or [], lambda text: err().line(text))
    console = out()
    for one in kept:
        if one.attachment is not None:
            console.line(f"Kept: {one.attachment.name}, SHA-256 {one.attachment.sha256}")
        if one.why_not:
            console.line(f"{one.path}: {one.why_not}")
    if not sources:
        console.line("No source was named: 'flightlog incident add' keeps some later.")
    return kept


def _look(desk: Desk, entry: Entry, at: datetime | None, reference: str) -> Timeline:
    from flightlog.operations.incident import sources_of
    from flightlog.operations.last_minute import timeline

    found = timeline(
        desk,
        sources_of(desk, entry),
        at,
        reference=reference,
        tell=lambda text: err().line(text),
    )
    console = out()
    console.line(f"The last minute: {len(found.channels)} channels")
    console.lines(f"  {note}" for note in found.notes)
    return found


def _sheet(desk: Desk, entry: Entry, found: Timeline, html: Path | None, csv: Path | None) -> None:
    from flightlog.operations.incident import sources_of
    from flightlog.operations.incident_record import around
    from flightlog.reports.incident_sheet import DUTIES, incident_sheet, timeline_table

    if html is not None:
        sources = sources_of(desk, entry)
        write_new(html, incident_sheet(desk, entry, sources, found, around(desk, entry)))
    if csv is not None:
        write_new(csv, timeline_table(found))
    out().line(DUTIES)


def _meant(desk: Desk, entry: str) -> Entry:
    from flightlog.operations.incident import incident_of

    return incident_of(desk, desk.book.find(entry))


def _when(entry: Entry, at: str | None) -> datetime | None:
    """Give where zero is to be: as typed now, else as the incident has it."""
    from flightlog.operations.incident import happened

    return utc_of(at, "--at") if at else happened(entry)


@incident_app.command()
def add(
    entry: EntryArgument,
    sources: Annotated[
        list[Path], typer.Argument(metavar="SOURCE...", parser=a_path, help="Logs, photos, cards.")
    ],
    team: TeamOption = None,
) -> int:
    """Keep more sources of an incident, by their hash.

    Example: flightlog incident add 61.H3MED transmitter-card
    """
    with desk_of(team) as desk:
        kept = _keep(desk, _meant(desk, entry), sources)
        whole = all(one.attachment is not None and not one.why_not for one in kept)
        return wall.DONE if whole else wall.FILE_AT_FAULT


@incident_app.command("list")
def list_(team: TeamOption = None) -> None:
    """List all incidents.

    Example: flightlog incident list
    """
    from flightlog.logbook.words import entry_line
    from flightlog.operations.incident import incidents, sources_of
    from flightlog.operations.positions import named

    with desk_of(team, read_only=True) as desk:
        found = [
            f"{named(e)} {e.body.time.utc:%Y-%m-%d %H:%M} UTC: "
            f"{entry_line(e.body, desk.names, desk.book.people)}; "
            f"{len(sources_of(desk, e))} files kept"
            for e in incidents(desk)
        ]
        out().lines(found or ["None."])


@incident_app.command()
def show(entry: EntryArgument, team: TeamOption = None) -> None:
    """Show what was entered about an incident: facts and files first, opinions apart.

    Example: flightlog incident show 61.H3MED
    """
    from flightlog.reports.record_words import incident_lines

    with desk_of(team, read_only=True) as desk:
        out().lines(incident_lines(desk, _meant(desk, entry)))


@incident_app.command()
def timeline(
    entry: EntryArgument,
    csv: Annotated[
        Path, typer.Option("--csv", metavar="FILE", parser=a_path, help="Where the table goes.")
    ],
    at: AtOption = None,
    reference: ReferenceOption = "",
    team: TeamOption = None,
) -> None:
    """Lay the last minute of all channels of all logs on one axis, as a table.

    Example: flightlog incident timeline 61.H3MED --csv last-minute.csv
    """
    with desk_of(team, read_only=True) as desk:
        found = _meant(desk, entry)
        _sheet(desk, found, _look(desk, found, _when(found, at), reference), None, csv)


@incident_app.command()
def sheet(
    entry: EntryArgument,
    html: Annotated[
        Path, typer.Option("--html", metavar="FILE", parser=a_path, help="Where the page goes.")
    ],
    csv: Annotated[
        Path | None,
        typer.Option("--csv", metavar="FILE", parser=a_path, help="The last minute as a table."),
    ] = None,
    at: AtOption = None,
    reference: ReferenceOption = "",
    team: TeamOption = None,
) -> None:
    """Make the sheet: facts, sources, who signed what, last changes, last minute, opinions.

    Example: flightlog incident sheet 61.H3MED --html incident.html
    """
    with desk_of(team, read_only=True) as desk:
        found = _meant(desk, entry)
        _sheet(desk, found, _look(desk, found, _when(found, at), reference), html, csv)


@incident_app.command()
def opinion(
    entry: EntryArgument,
    text: Annotated[str, typer.Argument(metavar="TEXT", help="What you think.")],
    by: OneOption,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Enter what you think about an incident; it stands apart from the facts.

    Example: flightlog incident opinion 61.H3MED "the elevator did not answer" --by pilot
    """
    from flightlog.operations.incident import opinion_draft

    with desk_of(team) as desk:
        given_text(text, "TEXT")
        draft = opinion_draft(_meant(desk, entry), text, desk.crew.present_key(by))
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))
