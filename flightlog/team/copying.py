"""A second copy of the team folder, on a stick or another disk, verified after it was made.

Attachments come first, by their hash, then the record, put in place in one go, then the other
files. Whenever it is interrupted, what was there before is whole. A copy that holds entries which
are not here is not written over: it is merged first.
"""

from __future__ import annotations

import hashlib
import os
import shutil
from collections.abc import Callable, Iterator
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from flightlog.errors import LogbookError, NotWritableError, RefusedError
from flightlog.logbook.attachments import AttachmentStore
from flightlog.logbook.book import Logbook
from flightlog.logbook.checking import check, read_rows
from flightlog.logbook.entry import Entry
from flightlog.logbook.flying_kinds import COPY
from flightlog.logbook.layout import ATTACHMENTS, RECORD
from flightlog.logbook.store import Store
from flightlog.team.files import FOLDERS
from flightlog.team.folder import LOGBOOK, TEAM_FILE, TeamFolder
from flightlog.team.ledger import Ledger

Progress = Callable[[float, str], None]
_NEW = ".copying"
_MOST_FILES = 20_000


@dataclass(frozen=True, slots=True)
class Copied:
    """What a copy holds: entries, files, and how many of these were written now."""

    to: Path
    entries: int
    files: int
    written: int


def copy_team(
    folder: TeamFolder, book: Logbook, to: Path, progress: Progress | None = None
) -> Copied:
    """Copy a team folder, or bring a copy up to date, and verify the result.

    Parameters
    ----------
    folder : TeamFolder
        What is copied.
    book : Logbook
        Its record, open.
    to : Path
        A new or empty folder, or an earlier copy.
    progress : callable, optional
        Told how much is done, 0 to 1.

    Raises
    ------
    RefusedError
        If the place holds another team's record, or entries that are not here.
    NotWritableError
        If it can't be written; an earlier copy is as it was.
    LogbookError
        If the copy does not hold what it should: it is not to be relied on.
    """
    tell = progress or (lambda _done, _what: None)
    to = to.absolute()
    _refuse_place(folder, book, to)
    entries = list(book.order)
    try:
        (to / LOGBOOK).mkdir(parents=True, exist_ok=True)
        written = _attachments(book, entries, to, tell)
        written += _record(entries, to / LOGBOOK)
        written += _files(folder.path, to)
    except OSError as error:
        raise NotWritableError(
            f"can't be written ({error.strerror})",
            where=str(to),
            fix="Free some space, or name another place. An earlier copy is as it was.",
        ) from error
    tell(0.9, "verifying")
    files = _verify(folder, book, entries, to)
    tell(1.0, "done")
    return Copied(to, len(entries), files, written)


def _refuse_place(folder: TeamFolder, book: Logbook, to: Path) -> None:
    if to == folder.path or folder.path in to.parents or to in folder.path.parents:
        raise RefusedError(
            "it lies within the team folder, or holds it",
            where=str(to),
            fix="Name a place on another disk.",
        )
    record = to / LOGBOOK / RECORD
    if not record.is_file():
        if to.is_dir() and any(p.name != LOGBOOK for p in to.iterdir()):
            raise RefusedError("the folder is not empty", where=str(to), fix="Name a new one.")
        return
    for row in read_rows(to / LOGBOOK)[0]:
        entry = row.entry()
        if entry.body.team != book.team:
            raise RefusedError("it holds another team's record", where=str(to), fix="Name another.")
        if entry.hash not in book.order:
            raise RefusedError(
                f"it holds an entry that is not here ({entry.name})",
                where=str(to),
                fix="Merge it first: 'flightlog logbook merge'.",
            )


def _attachments(book: Logbook, entries: list[Entry], to: Path, tell: Progress) -> int:
    """Copy attachments that the copy lacks; each is whole or not there."""
    ours = book.attachments
    theirs = AttachmentStore(to / LOGBOOK / ATTACHMENTS)
    wanted = {a.sha256: a for entry in entries for a in entry.body.attachments}
    written = 0
    for done, attachment in enumerate(wanted.values()):
        tell(0.8 * done / len(wanted), "copying files")
        source, place = ours.path(attachment.sha256), theirs.path(attachment.sha256)
        if place.is_file() and place.stat().st_size == attachment.size:
            continue
        if source.is_file():  # one that is missing here is told by the check of the record
            theirs.put(source, attachment.name)
            written += 1
    return written


def _record(entries: list[Entry], to: Path) -> int:
    """Write the record anew beside the old one, and put it in its place in one go."""
    place, new = to / RECORD, to / f"{RECORD}{_NEW}"
    if place.is_file():
        held = {row.hash for row in read_rows(to)[0]}
        if held == {entry.hash for entry in entries}:
            return 0
    _remove(new)
    with Store.create(new) as store, store.writing() as writing:
        for entry in entries:
            writing.add(entry)
    os.replace(new, place)
    return 1


def _remove(path: Path) -> None:
    for beside in (
        path,
        *(path.with_name(path.name + end) for end in ("-wal", "-shm", "-journal")),
    ):
        with suppress(FileNotFoundError):
            beside.unlink()


def _others(folder: Path) -> Iterator[Path]:
    """Give the team's own files: the team file, the files that it edits, names of persons."""
    yield folder / TEAM_FILE
    names = folder / LOGBOOK / "names.json"
    if names.is_file():
        yield names
    for name in FOLDERS.values():
        place = folder / name
        if place.is_dir():
            yield from sorted(p for p in place.iterdir() if p.is_file())[:_MOST_FILES]


def _files(folder: Path, to: Path) -> int:
    written = 0
    for source in _others(folder):
        place = to / source.relative_to(folder)
        if place.is_file() and _sha256(place) == _sha256(source):
            continue
        place.parent.mkdir(parents=True, exist_ok=True)
        new = place.with_name(place.name + _NEW)
        shutil.copyfile(source, new)
        os.replace(new, place)
        written += 1
    return written


def _sha256(path: Path) -> str:
    with path.open("rb") as file:
        return hashlib.file_digest(file, "sha256").hexdigest()


def _verify(folder: TeamFolder, book: Logbook, entries: list[Entry], to: Path) -> int:
    """Read the copy again; it has to be whole, and the same."""
    report = check(to / LOGBOOK)
    ours = check(folder.logbook) if not report.ok else report
    if not report.ok and (report.breaks != ours.breaks or report.entries != ours.entries):
        why = report.first_break.line() if report.first_break else "the check found a break"
        raise LogbookError(f"the copy is not whole: {why}", where=str(to), fix="Copy it anew.")
    if report.entries != len(entries):
        raise LogbookError("the copy lacks entries", where=str(to), fix="Copy it anew.")
    files = 0
    for source in _others(folder.path):
        place = to / source.relative_to(folder.path)
        if not place.is_file() or _sha256(place) != _sha256(source):
            raise LogbookError(
                f"{source.name} is not in the copy as it is here",
                where=str(to),
                fix="Copy it anew.",
            )
        files += 1
    return files + len({a.sha256 for e in entries for a in e.body.attachments})


def last_copy(ledger: Ledger) -> tuple[Entry | None, int]:
    """Give when the folder was copied last, and how many entries came after that."""
    entry = ledger.last(COPY)
    if entry is None:
        return None, len(ledger.order)
    since = sum(not ledger.has_seen(entry, e) for e in ledger.order if e is not entry)
    return entry, since
