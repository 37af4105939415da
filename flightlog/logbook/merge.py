"""The union with another copy of the team folder.

The other folder may be anybody's: damaged, made up, changed on purpose. It is only read, and that
from a copy of its record which was bounded before; each entry, signature and link in it is checked
before anything is written here. Then come first the attachments, by hash, and when they are on the
disk the entries, all in one transaction. What is united is sets of entries, so any order and any
number of merges give the same record; nothing of the merge itself is written.

Entries whose kind is not known here are kept. Both branches of a fork are kept. What counts after
the union follows from the entries alone: see ``people`` and ``standing``.
"""

from __future__ import annotations

import stat
import tempfile
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass
from pathlib import Path

from flightlog.errors import LogbookError, TeamFolderError
from flightlog.logbook.attachments import AttachmentStore
from flightlog.logbook.book import Logbook
from flightlog.logbook.entry import Attachment, Entry
from flightlog.logbook.kinds import ABOUT_PEOPLE
from flightlog.logbook.layout import ATTACHMENTS, NAMES, RECORD
from flightlog.logbook.links import check_links
from flightlog.logbook.names import Names
from flightlog.logbook.order import Order
from flightlog.logbook.store import Row, Store
from flightlog.logbook.stored import check_stored

MOST_RECORD_BYTES = 256 * 1024 * 1024
"""Largest record that is taken from another folder [bytes]."""
MOST_ENTRIES = 200_000
"""Most entries that are taken from another folder."""
MOST_ABOUT_PEOPLE = 5_000
"""Most entries about people: each is weighed against the others."""
MOST_ATTACHED_BYTES = 64 * 1024 * 1024 * 1024
"""Most bytes of attachments that one merge copies."""

_JOURNAL = RECORD + "-journal"
_CHUNK = 1024 * 1024
_FIX = "Nothing was written here."

Progress = Callable[[float, str], None]


@dataclass(frozen=True, slots=True)
class Merged:
    """What a merge brought.

    Parameters
    ----------
    added : tuple of Entry
        Entries that were not here.
    known : int
        How many of the other folder's entries were here already.
    attachments : int
        How many files were copied.
    missing : tuple of Attachment
        Files that entries name and that neither folder has whole.
    notes : tuple of str
        What else there is to say.
    """

    added: tuple[Entry, ...]
    known: int
    attachments: int
    missing: tuple[Attachment, ...]
    notes: tuple[str, ...]


def merge(book: Logbook, other: Path, *, progress: Progress | None = None) -> Merged:
    """Take over all that another logbook folder has.

    Parameters
    ----------
    book : Logbook
        Ours, open for writing.
    other : Path
        The other logbook's own folder. It is only read.
    progress : callable, optional
        Called with the fraction done (0 to 1) and what is being done.

    Raises
    ------
    TeamFolderError
        If there is no logbook in the other folder, it is of another team, of a newer program,
        or larger than any team's.
    LogbookError
        If an entry of the other folder is broken or missing: the first one is named, and nothing
        is written.
    NotWritableError
        If ours can't be written.
    """
    tell = progress or (lambda _fraction, _what: None)
    tell(0.0, "reading the other record")
    entries = read_other(other, lambda share: tell(0.6 * share, "checking the other record"))
    if entries and entries[0].body.team != book.team:
        raise TeamFolderError("it is of another team", where=str(other), fix=_FIX)
    book.refresh()
    new = [entry for entry in entries if entry.hash not in book.order]
    Order([*book.order, *new])  # bounded as a whole, too
    files = _Files(book.attachments, AttachmentStore(other / ATTACHMENTS))
    for index, entry in enumerate(entries):
        tell(0.6 + 0.3 * index / len(entries), "copying attachments")
        files.copy(entry.body.attachments)
    tell(0.9, "writing")
    added = book.adopt(new)
    notes = _unite_names(book.folder / NAMES, other / NAMES)
    return Merged(
        tuple(added), len(entries) - len(added), files.copied, tuple(files.missing), notes
    )


def merged_lines(merged: Merged) -> list[str]:
    """Say what a merge brought."""
    lines = [
        f"{len(merged.added)} new entries, {merged.known} were here already; "
        f"{merged.attachments} attachments copied."
    ]
    lines += [
        f"Missing in both folders: attachment {file.name!r}, SHA-256 {file.sha256}"
        for file in merged.missing
    ]
    return [*lines, *merged.notes]


# --- the other record


def read_other(folder: Path, tell: Callable[[float], None] | None = None) -> list[Entry]:
    """Read and check the whole record of another folder.

    Parameters
    ----------
    folder : Path
        The other logbook's own folder. It is only read.
    tell : callable, optional
        Called with the fraction done (0 to 1).

    Returns
    -------
    list of Entry
        Each after all that it has seen.

    Raises
    ------
    TeamFolderError, LogbookError
        As ``merge`` says.
    """
    with tempfile.TemporaryDirectory(prefix="flightlog-merge-") as copied:
        _copy_record(folder, Path(copied))
        # A copy of our own: it may be rolled back and brought up to date without touching theirs.
        with Store(Path(copied) / RECORD) as store:
            _refuse_damage(store, folder)
            rows = list(_bounded(store, folder))
    checked = check_stored(rows, tell=lambda done: tell(done / len(rows)) if tell else None)
    links = check_links(checked)
    if links.breaks:
        first = links.breaks[0]
        others = f"; {len(links.breaks) - 1} more" if len(links.breaks) > 1 else ""
        raise LogbookError(
            f"{first.name}: {first.found}{others}",
            where=str(folder),
            fix=f"{_FIX} 'flightlog logbook check' in that folder tells more.",
        )
    entries = list(links.entries.values())
    about_people = sum(entry.body.kind in ABOUT_PEOPLE for entry in entries)
    if about_people > MOST_ABOUT_PEOPLE:
        raise _too_much(folder, f"{about_people} entries about people", MOST_ABOUT_PEOPLE)
    return list(Order(entries))


def _copy_record(folder: Path, to: Path) -> None:
    """Copy a record, and what is needed to undo a write that was interrupted."""
    for name in (RECORD, _JOURNAL):
        source = folder / name
        try:
            size = _plain_size(source)
            if size is None and name == _JOURNAL:
                continue
            if size is None:
                raise TeamFolderError(
                    "there is no logbook here", where=str(folder), fix="Name the team folder."
                )
            if size > MOST_RECORD_BYTES:
                raise _too_much(folder, f"a record of {size} bytes", MOST_RECORD_BYTES)
            with source.open("rb") as stream, (to / name).open("xb") as copy:
                # No more than was there at first: it may grow while it is read.
                _copy(stream.read, copy.write, size)
        except OSError as error:
            raise TeamFolderError(
                f"can't be read ({error.strerror})", where=str(source), fix=_FIX
            ) from error


def _copy(read: Callable[[int], bytes], write: Callable[[bytes], int], size: int) -> None:
    while size > 0 and (chunk := read(min(_CHUNK, size))):
        write(chunk)
        size -= len(chunk)


def _plain_size(path: Path) -> int | None:
    """Size of a plain file [bytes], None where there is nothing."""
    try:
        info = path.lstat()
    except FileNotFoundError:
        return None
    if not stat.S_ISREG(info.st_mode):
        raise TeamFolderError("is no plain file", where=str(path), fix=_FIX)
    return info.st_size


def _refuse_damage(store: Store, folder: Path) -> None:
    damage = store.damage()
    if damage:
        raise LogbookError(f"the file is damaged: {damage[0][:200]}", where=str(folder), fix=_FIX)


def _bounded(store: Store, folder: Path) -> Iterator[Row]:
    for count, row in enumerate(store.rows(), start=1):
        if count > MOST_ENTRIES:
            raise _too_much(folder, "more entries", MOST_ENTRIES)
        yield row


def _too_much(folder: Path, found: str, most: int) -> TeamFolderError:
    return TeamFolderError(
        f"it holds {found}; {most} are the most that is taken over", where=str(folder), fix=_FIX
    )


# --- attachments and names


class _Files:
    """Copies what entries name and is not here, each file once."""

    def __init__(self, ours: AttachmentStore, theirs: AttachmentStore) -> None:
        self._ours = ours
        self._theirs = theirs
        self._done: set[str] = set()
        self._bytes = 0
        self.copied = 0
        self.missing: list[Attachment] = []

    def copy(self, attachments: Sequence[Attachment]) -> None:
        for attachment in attachments:
            if attachment.sha256 not in self._done:
                self._done.add(attachment.sha256)
                self._copy(attachment)

    def _copy(self, attachment: Attachment) -> None:
        try:
            # What stands under its hash was hashed when it was put there; the check looks again.
            if _plain_size(self._ours.path(attachment.sha256)) == attachment.size:
                return
        except OSError:
            pass  # as good as not there
        # Looked at before it is opened: a link or a pipe is never read, and the size is known.
        if self._theirs.problem(attachment) is not None:
            self.missing.append(attachment)
            return
        self._bytes += attachment.size
        if self._bytes > MOST_ATTACHED_BYTES:
            raise _too_much(self._theirs.folder, "more bytes of attachments", MOST_ATTACHED_BYTES)
        kept = self._ours.put(self._theirs.path(attachment.sha256), attachment.name)
        if kept.sha256 == attachment.sha256:
            self.copied += 1
        else:
            self.missing.append(attachment)  # it changed while it was read


def _unite_names(ours: Path, theirs: Path) -> tuple[str, ...]:
    """Unite the side files with names; a damaged one of theirs is left out."""
    try:
        other = Names.read(theirs)
    except TeamFolderError as error:
        return (f"The names of the other folder were left out: {error.found}.",)
    try:
        mine = Names.read(ours)
        united = mine.merged(other)
        if united != mine:
            united.write(ours)
    except TeamFolderError as error:
        return (f"The names were not united: {error.found}.",)
    return ()
