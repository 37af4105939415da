"""``flightlog logbook``: look at the record, check it, hand it out, unite it, write into it."""

from __future__ import annotations

import json
from datetime import UTC, datetime
from pathlib import Path
from typing import Annotated

import typer

from flightlog.cli import wall
from flightlog.cli.console import err, out, progress
from flightlog.cli.signing import (
    Hands,
    KeysOption,
    PassphraseOption,
    TeamOption,
    crew_of,
    opened,
    say_added,
    sign_and_add,
)
from flightlog.errors import UsageError

logbook_app = typer.Typer(
    name="logbook", help="The signed record of the team.", no_args_is_help=True
)


@logbook_app.command()
def check(
    head: Annotated[
        list[str] | None,
        typer.Option(
            "--head", metavar="CODE", help="A head noted elsewhere, as on paper; repeatable."
        ),
    ] = None,
    team: TeamOption = None,
    as_json: Annotated[
        bool, typer.Option("--json", help="Print one JSON object, for programs.")
    ] = False,
) -> int:
    """Check the whole record: bytes, chain, signatures, attachments, heads.

    Names the first broken entry and what is wrong with it, and says what no check can know.
    Exit code 6 if anything is broken.

    Example: flightlog logbook check --head 120.7XK4M-9QW2T-0ABCD-EFGHJ-KMNPQ-RS
    """
    from flightlog.logbook.checking import check, report_json, report_lines
    from flightlog.logbook.codes import read_head
    from flightlog.logbook.device import DeviceMemory, default_profile
    from flightlog.team.folder import TeamFolder

    folder = TeamFolder.find(team)
    heads = [read_head(text) for text in head or ()]
    with progress("check") as line:
        memory = DeviceMemory(default_profile())
        report = check(folder.logbook, heads, remembered=memory.remembered, progress=line)
    if as_json:
        out().json(json.dumps(report_json(report), ensure_ascii=False, indent=2))
    else:
        out().lines(report_lines(report))
    return wall.DONE if report.ok else wall.BROKEN


@logbook_app.command(name="head")
def head_(team: TeamOption = None) -> None:
    """Print the heads to note elsewhere: on paper, on another laptop, in a message.

    Whoever holds a head can tell later whether the entries up to there are still the same.

    Example: flightlog logbook head
    """
    from flightlog.logbook.codes import head_code
    from flightlog.logbook.entry import device_name, write_utc

    with opened(team, read_only=True) as (folder, book):
        out().line(f"{folder.name}, {len(book.order)} entries")
        for tip in book.order.tips():
            out().line(
                f"{head_code(tip.body.number, tip.hash)}  device "
                f"{device_name(tip.body.device)}, {write_utc(tip.body.time.utc)}"
            )


@logbook_app.command()
def show(
    entry: Annotated[
        str, typer.Argument(metavar="[ENTRY]", help="One entry: 8 or more digits of its hash.")
    ] = "",
    last: Annotated[
        int, typer.Option("--last", metavar="N", min=1, help="How many of the latest entries.")
    ] = 20,
    team: TeamOption = None,
) -> None:
    """Show entries as text: what they say, who signed, what counts.

    Example: flightlog logbook show --last 5
    """
    from flightlog.logbook.entry import write_utc
    from flightlog.logbook.words import entry_lines

    with opened(team, read_only=True) as (folder, book):
        crew = crew_of(folder, book)
        chosen = [book.find(entry)] if entry else list(book.order)[-last:]
        for one in chosen:
            console = out()
            console.line(f"--- {one.name}, {write_utc(one.body.time.utc)}")
            console.lines(entry_lines(one.body, names=crew.names, people=book.people))
            console.line(f"  hash: {one.hash}")
            console.lines(f"  does not count: {text}" for text in book.standing.problems(one))
            console.lines(f"  note: {text}" for text in book.standing.notes(one))
            console.line()


@logbook_app.command()
def remark(
    text: Annotated[str, typer.Argument(metavar="TEXT", help="What is to be kept.")],
    by: Annotated[
        list[str] | None, typer.Option("--by", metavar="WHO", help="Who signs; repeatable.")
    ] = None,
    attach: Annotated[
        list[Path] | None,
        typer.Option("--attach", metavar="FILE", help="A file to keep with it; repeatable."),
    ] = None,
    corrects: Annotated[
        str,
        typer.Option(
            "--corrects", metavar="ENTRY", help="The entry that this one puts right; both stay."
        ),
    ] = "",
    explains: Annotated[
        list[str] | None,
        typer.Option(
            "--explains",
            metavar="ENTRY",
            help="An entry of a fork; give all of them, and two persons.",
        ),
    ] = None,
    occurred: Annotated[
        str,
        typer.Option(
            "--occurred", metavar="UTC", help="When it happened, like 2027-03-02T09:14:05Z."
        ),
    ] = "",
    reason: Annotated[
        str, typer.Option("--reason", metavar="TEXT", help="Why it is written down late.")
    ] = "",
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Write a remark into the record, signed by one or more persons.

    Nothing is ever changed or taken away: a correction names what it corrects.

    Example: flightlog logbook remark "Left aileron horn glued anew" --by mechanic
    --attach horn.jpg
    """
    from flightlog.logbook.book import Draft
    from flightlog.logbook.entry import CORRECTS, EXPLAINS, Relation, Signer

    with opened(team) as (folder, book):
        crew = crew_of(folder, book)
        relations = [Relation(EXPLAINS, book.find(other).hash) for other in explains or ()]
        if corrects:
            relations.append(Relation(CORRECTS, book.find(corrects).hash))
        draft = Draft(
            "correction" if corrects else "remark",
            {"text": text},
            [Signer(crew.present_key(who), "stated") for who in by or ()],
            [book.attach(path) for path in attach or ()],
            relations,
            occurred=_utc(occurred) if occurred else None,
            late_reason=reason,
        )
        if draft.signers:
            sign_and_add(book, draft, Hands(keys, passphrase_fd, folder.path), crew)
        else:
            say_added(book.append(draft))


def _utc(text: str) -> datetime:
    try:
        return datetime.strptime(text, "%Y-%m-%dT%H:%M:%SZ").replace(tzinfo=UTC)
    except ValueError as error:
        raise UsageError(
            f"{text!r} is no time in UTC", where="--occurred", fix="Like 2027-03-02T09:14:05Z."
        ) from error


@logbook_app.command()
def merge(
    other: Annotated[
        Path, typer.Argument(metavar="OTHER", help="The other team folder, as on a memory stick.")
    ],
    team: TeamOption = None,
) -> None:
    """Take over all entries that another copy of the team folder has.

    The other folder is only read. Everything in it is checked before anything is written. Do it
    in both directions to have both alike.

    Example: flightlog logbook merge /media/stick/pannier-team
    """
    from flightlog.logbook.merge import merge, merged_lines
    from flightlog.team.folder import LOGBOOK

    with opened(team) as (folder, book):
        before = book.standing.contradictions
        with progress("merge") as line:
            merged = merge(book, other / LOGBOOK, progress=line)
        out().lines(merged_lines(merged))
        crew_of(folder, book)
        for contradiction in book.standing.contradictions:
            if contradiction not in before:
                err().line(f"flightlog: contradiction: {contradiction.text}")


@logbook_app.command()
def export(
    to: Annotated[Path, typer.Argument(metavar="DIR", help="A new or empty folder.")],
    with_names: Annotated[
        bool, typer.Option("--with-names", help="With the names of persons of the side file.")
    ] = False,
    team: TeamOption = None,
) -> None:
    """Write a copy of the record that anybody can check without this program.

    Text, the exact bytes, signatures, public keys, attachments, and how to check them.

    Example: flightlog logbook export for-the-inspector
    """
    from flightlog.logbook.export import export, exported_lines
    from flightlog.team.folder import TeamFolder

    folder = TeamFolder.find(team)
    with progress("export") as line:
        exported = export(folder.logbook, to, with_names=with_names, progress=line)
    out().lines(exported_lines(exported))
