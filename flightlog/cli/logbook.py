"""``flightlog logbook``: look at the record, check it, hand it out, unite it, write into it."""

from __future__ import annotations

import json
from dataclasses import dataclass
from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from flightlog.cli import wall
from flightlog.cli.console import out, progress
from flightlog.cli.signing import (
    Hands,
    KeysOption,
    PassphraseOption,
    TeamOption,
    a_path,
    crew_of,
    given_text,
    opened,
    say_added,
    sign_and_add,
    warn_of_older_copy,
)
from flightlog.errors import UsageError

if TYPE_CHECKING:
    from flightlog.logbook.book import Logbook
    from flightlog.logbook.entry import Entry, Relation
    from flightlog.team.crew import Crew

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

    Example: flightlog logbook check --head 120.KWP9Y-B4Z5J-FJS7S-CKWP9-YB4Z5-CF
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
    memory.note_heads(report.team, report.tips)
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
        warn_of_older_copy(book)
        count = len(book.order)
        out().line(f"{folder.name}, {count} {'entry' if count == 1 else 'entries'}")
        for tip in book.order.tips():
            out().line(
                f"{head_code(tip.body.number, tip.hash)}  device "
                f"{device_name(tip.body.device)}, {write_utc(tip.body.time.utc)}"
            )


@logbook_app.command()
def show(
    entry: Annotated[
        str | None,
        typer.Argument(metavar="[ENTRY]", help="One entry in full, as 4.H3MED."),
    ] = None,
    last: Annotated[
        int, typer.Option("--last", metavar="N", min=1, help="How many of the latest entries.")
    ] = 20,
    full: Annotated[bool, typer.Option("--full", help="All that each entry says.")] = False,
    team: TeamOption = None,
) -> None:
    """List entries: when, who signed, what they say, whether they count.

    Example: flightlog logbook show --last 5
    """
    with opened(team, read_only=True) as (folder, book):
        crew = crew_of(folder, book)
        if entry is not None:
            _show_in_full(book, crew, book.find(entry))
            return
        for one in list(book.order)[-last:]:
            if full:
                _show_in_full(book, crew, one)
            else:
                out().line(_in_short(book, crew, one))


def _show_in_full(book: Logbook, crew: Crew, entry: Entry) -> None:
    from flightlog.logbook.codes import head_code
    from flightlog.logbook.words import entry_lines

    console = out()
    console.line(f"--- {head_code(entry.body.number, entry.hash)}, {entry.name}")
    console.lines(entry_lines(entry.body, names=crew.names, people=book.people))
    console.line(f"  hash: {entry.hash}")
    console.lines(f"  does not count: {text}" for text in book.standing.problems(entry))
    console.lines(f"  note: {text}" for text in book.standing.notes(entry))
    for attachment in entry.body.attachments:
        problem = book.attachments.problem(attachment)
        where = problem or book.attachments.path(attachment.sha256)
        console.line(f"  {attachment.name}: {where}")
    console.line()


def _in_short(book: Logbook, crew: Crew, entry: Entry) -> str:
    from flightlog.logbook.codes import entry_code
    from flightlog.logbook.entry import write_utc
    from flightlog.logbook.words import entry_line

    marks = "" if book.standing.counts(entry) else " [DOES NOT COUNT]"
    marks += "".join(f" [{note}]" for note in book.standing.notes(entry))
    named = entry_code(entry.body.number, entry.hash)
    when = write_utc(entry.body.time.utc)[:16].replace("T", " ")
    text = entry_line(entry.body, names=crew.names, people=book.people)
    return f"{named:10} {when} UTC  {text}{marks}"


@logbook_app.command()
def remark(
    text: Annotated[str, typer.Argument(metavar="TEXT", help="What is to be kept.")],
    by: Annotated[
        list[str] | None, typer.Option("--by", metavar="WHO", help="Who signs; repeatable.")
    ] = None,
    unsigned: Annotated[
        bool,
        typer.Option("--unsigned", help="By nobody: only this laptop vouches for it."),
    ] = False,
    attach: Annotated[
        list[Path] | None,
        typer.Option(
            "--attach", metavar="FILE", parser=a_path, help="A file to keep with it; repeatable."
        ),
    ] = None,
    corrects: Annotated[
        str | None,
        typer.Option(
            "--corrects",
            metavar="ENTRY",
            help="The entry, as 4.H3MED, that this one puts right; both stay.",
        ),
    ] = None,
    cites: Annotated[
        list[str] | None,
        typer.Option("--cites", metavar="ENTRY", help="An entry that this rests on; repeatable."),
    ] = None,
    explains: Annotated[
        list[str] | None,
        typer.Option(
            "--explains",
            metavar="ENTRY",
            help="An entry of a fork that 'check' names; give all of them, and two persons.",
        ),
    ] = None,
    occurred: Annotated[
        str | None,
        typer.Option(
            "--occurred", metavar="UTC", help="When it happened, like 2027-03-02T09:14:05Z."
        ),
    ] = None,
    reason: Annotated[
        str | None, typer.Option("--reason", metavar="TEXT", help="Why it is written down late.")
    ] = None,
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
    from flightlog.logbook.entry import Signer

    if bool(by) == unsigned:
        raise UsageError("say who signs", where="remark", fix="Give --by WHO, or --unsigned.")
    if (reason is None) != (occurred is None):
        raise UsageError(
            "--occurred and --reason belong together", where="remark", fix="Give both, or none."
        )
    with opened(team) as (folder, book):
        crew = crew_of(folder, book)
        draft = Draft(
            "remark" if corrects is None else "correction",
            {"text": given_text(text, "TEXT")},
            [Signer(crew.present_key(who), "stated") for who in by or ()],
            [book.attach(path) for path in attach or ()],
            _relations(book, corrects, cites or [], explains or [], len(by or ())),
            occurred=None if occurred is None else _utc(occurred),
            late_reason=given_text(reason, "--reason"),
        )
        if draft.signers:
            sign_and_add(book, draft, Hands(keys, passphrase_fd, folder.path), crew)
        else:
            say_added(book.append(draft))


def _relations(
    book: Logbook, corrects: str | None, cites: list[str], explains: list[str], persons: int
) -> list[Relation]:
    from flightlog.logbook.entry import CITES, CORRECTS, EXPLAINS, Relation

    explained = {book.find(text).hash for text in explains}
    if explained:
        forks = [{entry.hash for entry in fork.entries} for fork in book.order.forks()]
        if not any(fork <= explained for fork in forks):
            raise UsageError(
                "these are not all the entries of a fork",
                where="--explains",
                fix="'flightlog logbook check' names the entries of each fork.",
            )
        if persons < 2:
            raise UsageError(
                "a fork is explained by two persons", where="--by", fix="Give --by twice."
            )
    named = [(CORRECTS, corrects)] if corrects is not None else []
    relations = [Relation(word, book.find(text).hash) for word, text in named]
    relations += [Relation(CITES, book.find(text).hash) for text in cites]
    return relations + [Relation(EXPLAINS, digest) for digest in sorted(explained)]


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
        Path,
        typer.Argument(
            metavar="OTHER", parser=a_path, help="The other team folder, as on a memory stick."
        ),
    ],
    strangers: Annotated[
        bool,
        typer.Option(
            "--strangers", help="Also take over many entries of devices with no known person."
        ),
    ] = False,
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
        if _same_folder(folder.path, other):
            raise UsageError("is this team folder itself", where=str(other), fix="Name the other.")
        before = _Worth.of(book)
        with progress("merge") as line:
            merged = merge(book, other / LOGBOOK, progress=line, strangers=strangers)
        out().lines(merged_lines(merged))
        news = before.changed(book)
        if news:
            out().line("To look at, after this merge:")
            out().lines(f"  {text}" for text in news)
        book.note_heads()


def _same_folder(one: Path, other: Path) -> bool:
    try:
        return one.samefile(other)
    except OSError:
        return False  # the merge says what is wrong with it


@dataclass(frozen=True, slots=True)
class _Worth:
    """What a record was worth before a merge, to say what a merge changed."""

    counted: frozenset[str]
    contradictions: frozenset[str]
    forks: int

    @classmethod
    def of(cls, book: Logbook) -> _Worth:
        standing = book.standing
        return cls(
            frozenset(e.hash for e in book.order if standing.counts(e)),
            frozenset(c.text for c in standing.contradictions),
            len(standing.unexplained_forks),
        )

    def changed(self, book: Logbook) -> list[str]:
        """Say what no longer counts, what contradicts now, and new forks."""
        standing = book.standing
        news = [
            f"contradiction: {c.text}"
            for c in standing.contradictions
            if c.text not in self.contradictions
        ]
        news += [
            f"{entry.name} ({entry.body.kind}) counted before and no longer does: "
            f"{'; '.join(standing.problems(entry)) or 'what it rests on fell'}"
            for entry in book.order
            if entry.hash in self.counted and not standing.counts(entry)
        ]
        if len(standing.unexplained_forks) > self.forks:
            news.append("a fork: a device has two entries after one and the same; see 'check'")
        return news


@logbook_app.command()
def export(
    to: Annotated[
        Path, typer.Argument(metavar="DIR", parser=a_path, help="A new or empty folder.")
    ],
    with_names: Annotated[
        bool, typer.Option("--with-names", help="With the names of persons of the side file.")
    ] = False,
    team: TeamOption = None,
) -> int:
    """Write a copy of the record that anybody can check without this program.

    Text, the exact bytes, signatures, public keys, attachments, and how to check them. A broken
    record is exported too, and says so; the exit code is 6 then.

    Example: flightlog logbook export for-the-inspector
    """
    from flightlog.logbook.device import DeviceMemory, default_profile
    from flightlog.logbook.export import export, exported_lines
    from flightlog.team.folder import TeamFolder

    folder = TeamFolder.find(team)
    memory = DeviceMemory(default_profile())
    with progress("export") as line:
        exported = export(
            folder.logbook,
            to,
            with_names=with_names,
            remembered=memory.remembered,
            progress=line,
        )
    out().lines(exported_lines(exported))
    memory.note_heads(exported.report.team, exported.report.tips)
    return wall.DONE if exported.report.ok else wall.BROKEN
