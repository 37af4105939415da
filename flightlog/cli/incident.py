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
from flightlog.cli.entering import AboutAircraft, OneOption, enter, hands_of, utc_of
from flightlog.cli.signing import (
    KeysOption,
    PassphraseOption,
    TeamOption,
    a_path,
    say_added,
)

if TYPE_CHECKING:
    from flightlog.logbook.entry import Attachment, Entry
    from flightlog.operations.desk import Desk

incident_app = typer.Typer(
    name="incident", help="After something went wrong: restrict, keep, look.", no_args_is_help=True
)
EntryArgument = Annotated[str, typer.Argument(metavar="ENTRY", help="The incident.")]


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
    facts: Annotated[
        str, typer.Option("--facts", metavar="TEXT", help="What was seen, without causes.")
    ] = "not described yet",
    at: Annotated[
        str | None, typer.Option("--at", metavar="UTC", help="When, like 2027-03-15T10:20:00Z.")
    ] = None,
    place: Annotated[str | None, typer.Option("--place", metavar="TEXT", help="Where.")] = None,
    html: Annotated[
        Path | None, typer.Option("--html", metavar="FILE", parser=a_path, help="The sheet too.")
    ] = None,
    team: TeamOption = None,
) -> int:
    """Put aircraft and packs out of service, and keep every source by its hash.

    Nobody has to sign. Sources are only read. First the restriction is written, then the files
    are kept, and last the logs are looked at.

    Example: flightlog incident report card --aircraft pannier --pack pack-a
    --facts "struck the ground beyond the strip"
    """
    from flightlog.reports.cautions import LITHIUM, PEOPLE, PROPELLER

    console = out()
    console.lines([f"FIRST: {LITHIUM}", PROPELLER, PEOPLE, ""])
    with desk_of(team) as desk:
        from flightlog.operations.incident import keep, restrict, sources_of

        when = utc_of(at, "--at") if at else None
        entry = restrict(desk, aircraft or "", pack or [], facts, at=when, place=place or "")
        say_added(entry)
        out_of = [aircraft or "", *(pack or [])]
        console.line(f"Out of service: {', '.join(filter(None, out_of))}")
        kept = keep(desk, entry, sources or [], lambda text: err().line(text))
        for one in kept:
            if one.attachment is not None:
                console.line(f"Kept: {one.path.name}, SHA-256 {one.attachment.sha256}")
            if one.why_not:
                console.line(f"{one.path}: {one.why_not}")
        _look(desk, entry, sources_of(desk, entry), when, html, None)
        lost = any(one.attachment is None for one in kept)
        return wall.FILE_AT_FAULT if lost else wall.DONE


def _look(
    desk: Desk,
    entry: Entry,
    attachments: Sequence[Attachment],
    at: datetime | None,
    html: Path | None,
    csv: Path | None,
) -> None:
    from flightlog.operations.incident import around, timeline
    from flightlog.reports.incident_sheet import DUTIES, incident_sheet, timeline_table

    found = timeline(desk, attachments, at)
    out().line(f"The last minute: {len(found.channels)} channels")
    out().lines(f"  {note}" for note in found.notes)
    if html is not None:
        sheet = incident_sheet(desk, entry, attachments, found, around(desk, entry))
        write_new(html, sheet)
    if csv is not None:
        write_new(csv, timeline_table(found))
    out().line(DUTIES)


@incident_app.command()
def sheet(
    entry: EntryArgument,
    html: Annotated[
        Path | None, typer.Option("--html", metavar="FILE", parser=a_path, help="As a page.")
    ] = None,
    csv: Annotated[
        Path | None,
        typer.Option("--csv", metavar="FILE", parser=a_path, help="The last minute as a table."),
    ] = None,
    at: Annotated[
        str | None, typer.Option("--at", metavar="UTC", help="Where the minute ends.")
    ] = None,
    team: TeamOption = None,
) -> None:
    """Lay the last minute of all logs on one axis, with who signed what and what changed last.

    Example: flightlog incident sheet 61.H3MED --html incident.html --csv last-minute.csv
    """
    from flightlog.operations.incident import sources_of

    with desk_of(team, read_only=True) as desk:
        found = desk.book.find(entry)
        when = utc_of(at, "--at") if at else None
        _look(desk, found, sources_of(desk, found), when, html, csv)


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
        draft = opinion_draft(desk.book.find(entry), text, desk.crew.present_key(by))
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))
