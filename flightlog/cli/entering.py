"""What the commands that enter something share: times, persons, several entries in one go."""

from __future__ import annotations

import json
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import ExitStack
from datetime import UTC, datetime, timedelta
from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from flightlog.cli.console import out
from flightlog.cli.signing import Hands, a_path, say_added
from flightlog.errors import UsageError

if TYPE_CHECKING:
    from flightlog.logbook.book import Draft
    from flightlog.logbook.entry import Attachment, Entry
    from flightlog.logbook.unlocking import Unlocked
    from flightlog.operations.desk import Desk

ByOption = Annotated[
    list[str],
    typer.Option("--by", metavar="WHO", help="Who signs: name or fingerprint; repeatable."),
]
OneOption = Annotated[
    str, typer.Option("--by", metavar="WHO", help="Who signs: name or fingerprint.")
]
AnyOption = Annotated[
    list[str] | None,
    typer.Option("--by", metavar="WHO", help="Who signs; without it, unsigned. Repeatable."),
]
AircraftOption = Annotated[
    str, typer.Option("--aircraft", metavar="ID", help="Which aircraft, by the id of its file.")
]
AboutAircraft = Annotated[
    str | None, typer.Option("--aircraft", metavar="ID", help="Which aircraft.")
]
AboutPack = Annotated[str | None, typer.Option("--pack", metavar="ID", help="Which pack.")]
AboutComponent = Annotated[
    str | None, typer.Option("--component", metavar="ID", help="Which component.")
]
PhotoOption = Annotated[
    list[Path] | None,
    typer.Option(
        "--photo",
        metavar="FILE",
        parser=a_path,
        help="A photo; where it was taken is left out of what is kept. Repeatable.",
    ),
]
OccurredOption = Annotated[
    str | None,
    typer.Option(
        "--occurred",
        metavar="UTC",
        help="When it happened, for what is written down late, like 2027-03-02T09:14:05Z.",
    ),
]
ReasonOption = Annotated[
    str | None, typer.Option("--reason", metavar="TEXT", help="Why it is written down late.")
]


def utc_of(text: str, where: str) -> datetime:
    """Read a time in UTC, or a day, which then means its end.

    Raises
    ------
    UsageError
        If it is neither.
    """
    for form in ("%Y-%m-%dT%H:%M:%SZ", "%Y-%m-%dT%H:%MZ"):
        try:
            return datetime.strptime(text, form).replace(tzinfo=UTC)
        except ValueError:
            continue
    try:
        day = datetime.strptime(text, "%Y-%m-%d").replace(tzinfo=UTC)
    except ValueError as error:
        raise UsageError(
            f"{text[:40]!r} is no time in UTC",
            where=where,
            fix="Like 2027-03-02T09:14:05Z, or a day like 2027-03-02.",
        ) from error
    return day + timedelta(hours=23, minutes=59, seconds=59)


def late(occurred: str | None, reason: str | None) -> tuple[datetime | None, str]:
    """Read when something happened that is written down late.

    Raises
    ------
    UsageError
        If one of the two is missing.
    """
    if (occurred is None) != (reason is None):
        raise UsageError("belongs with --reason", where="--occurred", fix="Give both, or none.")
    return (utc_of(occurred, "--occurred") if occurred else None), reason or ""


def json_lines(path: Path, largest: int) -> Iterator[tuple[str, object]]:
    """Read a file of one JSON value a line; gives where each stands, and what it says.

    Parameters
    ----------
    path : Path
        The file; empty lines are passed over.
    largest : int
        Most bytes of it.

    Raises
    ------
    UsageError
        If it is larger, can't be read, or a line is no JSON.
    """
    try:
        if path.stat().st_size > largest:
            raise UsageError("is too large", where=str(path), fix="Name the right file.")
        lines = path.read_text(encoding="utf-8-sig").splitlines()
    except (OSError, UnicodeDecodeError) as error:
        raise UsageError(f"can't be read ({error})", where=str(path), fix="Check it.") from error
    for number, line in enumerate(lines, start=1):
        if line.strip():
            where = f"{path}:{number}"
            try:
                said = json.loads(line)
            except (ValueError, RecursionError) as error:
                raise UsageError("is no JSON", where=where, fix="Correct it.") from error
            yield where, said


def photos(desk: Desk, paths: Iterable[Path] | None) -> list[Attachment]:
    """Keep photos, without where they were taken."""
    from flightlog.operations.photos import attach_photo

    return [attach_photo(desk.book, path) for path in paths or ()]


def keys_of(desk: Desk, by: Sequence[str] | None) -> list[str]:
    """Give the present keys of persons as they were named."""
    return [desk.crew.present_key(who) for who in by or ()]


def two_of(desk: Desk, by: Sequence[str], first: str, second: str) -> tuple[str, str]:
    """Give the keys of two persons, the one who holds the first role first.

    Raises
    ------
    UsageError
        If they are not two different persons who hold the two roles between them.
    """
    keys = keys_of(desk, by)
    people = desk.book.people
    if len(keys) == 2 and keys[0] != keys[1]:
        for one, other in (keys, keys[::-1]):
            a, b = people.person_of(one), people.person_of(other)
            if a and b and people.holds(a.id, first) and people.holds(b.id, second):
                return one, other
    raise UsageError(
        f"two persons sign, one as {first} and another as {second}",
        where="--by",
        fix="Give --by twice; 'flightlog team crew list' shows who holds which role.",
    )


def enter(desk: Desk, draft: Draft, hands: Hands) -> Entry:
    """Show a draft, have it signed by its signers, add it, say where it stands."""
    return enter_all(desk, [lambda: draft], hands)[0]


def enter_all(
    desk: Desk, drafts: Sequence[Callable[[], Draft]], hands: Hands, list_name: str = ""
) -> list[Entry]:
    """Enter several drafts; each person types the passphrase once.

    Each draft is made when its turn comes, so that it sees the entries before it.
    """
    console, entries = out(), []
    unlocked: dict[str, Unlocked] = {}
    with ExitStack() as held:
        for make in drafts:
            draft = make()
            shown = None
            if draft.signers:
                shown = desk.book.show(draft, desk.names)
                console.line("To be signed:")
                console.lines(f"  {line}" for line in shown.lines)
            for signer in draft.signers:
                if signer.key not in unlocked:
                    who = desk.crew.label_of_key(signer.key)
                    unlocked[signer.key] = held.enter_context(
                        hands.unlock(signer.key, who, list_name)
                    )
            keys = tuple(unlocked[signer.key] for signer in draft.signers)
            entry = desk.append(draft, keys, shown=shown, list_name=list_name)
            say_added(entry)
            entries.append(entry)
    return entries


def hands_of(desk: Desk, keys: Sequence[Path] | None, passphrase_fd: int | None) -> Hands:
    """Give the hands that unlock keys for this desk."""
    return Hands(keys, passphrase_fd, desk.folder.path)
