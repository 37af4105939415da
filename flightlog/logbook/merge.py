"""The union with another copy of the team folder.

The other folder may be anybody's: damaged, made up, changed on purpose. It is only read, and that
from a copy of its record which was bounded before; each entry, signature and link in it is checked
before anything is written here. Then come first the attachments, by hash, and when they are on the
disk the entries, all in one transaction. What is united is sets of entries, so any order and any
number of merges give the same record; nothing of the merge itself is written.

Entries whose kind is not known here are kept. Both branches of a fork are kept. What counts after
the union follows from the entries alone: see ``people`` and ``standing``.

Anybody can make up devices, and entries that no person signed. They count for nothing, but they
stay for ever and cost room and time, so only a few are taken over unasked (*strangers*); and what
is united never reaches the bounds of what can be read, so that the team can always go on writing.
"""

from __future__ import annotations

import os
import shutil
import sqlite3
import stat
import tempfile
import time
from collections import Counter
from collections.abc import Callable, Iterable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path

from flightlog.errors import FlightlogError, LogbookError, TeamFolderError
from flightlog.logbook.attachments import AttachmentStore
from flightlog.logbook.book import Logbook
from flightlog.logbook.database import Mode, sqlite_connect
from flightlog.logbook.entry import Attachment, Entry, device_name
from flightlog.logbook.layout import ATTACHMENTS, NAMES, RECORD
from flightlog.logbook.links import check_links
from flightlog.logbook.names import Names
from flightlog.logbook.order import Order, count_strands
from flightlog.logbook.people import People
from flightlog.logbook.rulings import candidates
from flightlog.logbook.store import Row, Store
from flightlog.logbook.stored import check_stored

MOST_RECORD_BYTES = 256 * 1024 * 1024
"""Largest record that is taken from another folder [bytes]."""
MOST_ENTRIES = 200_000
"""Most entries that are taken from another folder."""
MOST_ABOUT_PEOPLE = 5_000
"""Most entries about people that persons of the record signed: each is weighed against others."""
MOST_MERGED_STRANDS = 256
"""Most chains and branches after a merge; half of what can be read, so that there is room."""
MOST_STRANGE_CHAINS = 16
"""Most new chains and branches of strangers that are taken over unasked."""
MOST_STRANGE_ENTRIES = 2_000
"""Most new entries of strangers that are taken over unasked."""
MOST_ATTACHED_BYTES = 64 * 1024 * 1024 * 1024
"""Most bytes of attachments that one merge copies."""
MOST_WORK_S = 60.0
"""Most time that the processor works at reading another folder's file [s]."""
OLD_S = 24 * 3600.0
"""Age from which a copy that a merge left behind is removed [s]."""

_JOURNAL = RECORD + "-journal"
_COPIED = "flightlog-merge-"
_CHUNK = 1024 * 1024
_STEPS = 100_000
_MOST_NAMED = 5
_INNER_PAGE = b"\x05"  # of a table of which not all rows fit on its first page
_LARGEST_PAGE = 65536
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


def merge(
    book: Logbook, other: Path, *, strangers: bool = False, progress: Progress | None = None
) -> Merged:
    """Take over all that another logbook folder has.

    Parameters
    ----------
    book : Logbook
        Ours, open for writing.
    other : Path
        The other logbook's own folder. It is only read.
    strangers : bool
        Take over any number of entries of strangers: devices with which no person of the record
        ever signed so that it counts.
    progress : callable, optional
        Called with the fraction done (0 to 1) and what is being done.

    Raises
    ------
    TeamFolderError
        If there is no logbook in the other folder, it is of another team, of a newer program,
        or larger than any team's; or if it brings more of strangers than is taken over unasked.
    LogbookError
        If an entry of the other folder is broken or missing: the first one is named, and nothing
        is written. Or if another program changed the form of its record.
    NotWritableError
        If ours can't be written.

    Notes
    -----
    What restricts what is kept as one bit for each pair of an entry and a restriction, which grows
    with the square of their number. The bounds on what strangers bring keep that small.
    """
    tell = progress or (lambda _fraction, _what: None)
    tell(0.0, "reading the other record")
    entries = read_other(other, lambda share: tell(0.6 * share, "checking the other record"))
    if entries and entries[0].body.team != book.team:
        raise TeamFolderError("it is of another team", where=str(other), fix=_FIX)
    book.refresh()
    new = [entry for entry in entries if entry.hash not in book.order]
    # Everything that can be refused is refused before anything is written.
    notes = _refuse_united(book, new, other, strangers=strangers)
    files = _Files(book.attachments, AttachmentStore(other / ATTACHMENTS))
    wanted = files.wanted(a for entry in entries for a in entry.body.attachments)
    for index, attachment in enumerate(wanted):
        tell(0.6 + 0.3 * index / len(wanted), "copying attachments")
        files.copy(attachment)
    tell(0.9, "writing")
    added = book.adopt(new)
    notes += _unite_names(book, other / NAMES)
    return Merged(
        tuple(added), len(entries) - len(added), files.copied, tuple(files.missing), tuple(notes)
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


# --- both records together


def _refuse_united(
    book: Logbook, new: Sequence[Entry], folder: Path, *, strangers: bool
) -> list[str]:
    """Refuse what would spoil the united record; say what comes from strangers."""
    if any(not entry.parents for entry in new):
        raise TeamFolderError(
            "it has another founding than ours, of the same content",
            where=str(folder),
            fix=f"Somebody made it up. {_FIX}",
        )
    ours = list(book.order)
    strands = count_strands([*ours, *new])
    # A record that is beyond the bound already may still get what adds nothing to it.
    if strands > max(MOST_MERGED_STRANDS, count_strands(ours)):
        raise _too_much(folder, f"{strands} chains and branches with ours", MOST_MERGED_STRANDS)
    order = Order([*ours, *new])
    about_people = len(candidates(order, book.team))
    if about_people > max(MOST_ABOUT_PEOPLE, len(candidates(book.order, book.team))):
        raise _too_much(folder, f"{about_people} entries about people with ours", MOST_ABOUT_PEOPLE)
    if not new:
        return []
    return _refuse_strangers(order, new, folder, anyway=strangers)


def _refuse_strangers(
    order: Order, new: Sequence[Entry], folder: Path, *, anyway: bool
) -> list[str]:
    people = People.of(order)
    devices = {entry.body.device for entry in new}
    known = {
        entry.body.device
        for entry in order
        if entry.body.device in devices
        and any(signature.counts for signature in people.judged(entry))
    }
    strange = [entry for entry in new if entry.body.device not in known]
    if not strange:
        return []
    brought = {entry.hash for entry in strange}
    every = [entry for entry in order if entry.body.device in devices - known]
    before = [entry for entry in every if entry.hash not in brought]
    chains = count_strands(every) - count_strands(before)
    counted = Counter(entry.body.device for entry in strange)
    names = ", ".join(device_name(device) for device, _ in counted.most_common(_MOST_NAMED))
    more = f" and {len(counted) - _MOST_NAMED} more" if len(counted) > _MOST_NAMED else ""
    found = (
        f"{len(strange)} entries, {chains} new chains or branches, are of devices with which no "
        f"person of the record has signed so that it counts ({names}{more})"
    )
    if not anyway and (chains > MOST_STRANGE_CHAINS or len(strange) > MOST_STRANGE_ENTRIES):
        raise TeamFolderError(
            found,
            where=str(folder),
            fix=f"{_FIX} At most {MOST_STRANGE_ENTRIES} entries and {MOST_STRANGE_CHAINS} chains "
            "are taken over unasked; if you know these devices, merge with --strangers.",
        )
    return [f"Of what is new, {found}."]


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
    _remove_old_copies(Path(tempfile.gettempdir()))
    rows = _read_copy(folder)
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
    return list(Order(links.entries.values()))


def _read_copy(folder: Path) -> list[Row]:
    with tempfile.TemporaryDirectory(prefix=_COPIED) as copied:
        _copy_record(folder, Path(copied))
        record = Path(copied) / RECORD
        try:
            # A copy of our own: it may be rolled back and brought up to date, theirs is untouched.
            with Store(record, connect=_connect) as store:
                _refuse_company(store, folder)
                _refuse_damage(store, folder)
                return list(_bounded(store, folder))
        except FlightlogError as error:
            if error.where != str(record):
                raise
            raise type(error)(error.found, where=str(folder), fix=error.fix or _FIX) from error


def _connect(path: Path, mode: Mode) -> sqlite3.Connection:
    """Open the copy of a record from elsewhere, so that nothing in it takes long to read."""
    connection = sqlite_connect(path, mode)
    end = time.thread_time() + MOST_WORK_S
    connection.set_progress_handler(lambda: time.thread_time() > end, _STEPS)
    try:
        # Undoes an interrupted write, and does not yet read what tables there are: reading takes
        # the square of their number.
        connection.execute("PRAGMA schema_version").fetchall()
        with path.open("rb") as stream:
            kind = stream.read(101)[100:]
        if kind == _INNER_PAGE:
            raise LogbookError(
                "it holds more tables than this program makes", where=str(path), fix=_FIX
            )
    except BaseException:
        connection.close()
        raise
    return connection


def _remove_old_copies(folder: Path) -> None:
    """Remove what merges left behind that were ended from outside."""
    for path in folder.glob(f"{_COPIED}*"):
        with suppress(OSError):
            info = path.lstat()
            own = not hasattr(os, "getuid") or info.st_uid == os.getuid()
            if own and stat.S_ISDIR(info.st_mode) and time.time() - info.st_mtime > OLD_S:
                shutil.rmtree(path)


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
    _refuse_long_journal(to / _JOURNAL, folder)


def _refuse_long_journal(journal: Path, folder: Path) -> None:
    """Refuse a journal that would make the copy long when it is undone."""
    try:
        with journal.open("rb") as stream:
            head = stream.read(28)
    except FileNotFoundError:
        return
    # Pages that the file had, bytes of a sector, bytes of a page (sqlite.org/fileformat.html, 3).
    pages, page = int.from_bytes(head[16:20], "big"), int.from_bytes(head[24:28], "big")
    size = pages * (page or _LARGEST_PAGE)
    if size > MOST_RECORD_BYTES:
        raise _too_much(folder, f"an unfinished write of {size} bytes", MOST_RECORD_BYTES)


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


def _refuse_company(store: Store, folder: Path) -> None:
    company = store.company()
    if company:
        raise LogbookError(
            f"its tables are not as this program makes them ({company[0]!r} was added)",
            where=str(folder),
            fix=_FIX,
        )


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
        self.copied = 0
        self.missing: list[Attachment] = []

    def wanted(self, attachments: Iterable[Attachment]) -> list[Attachment]:
        """Give those that are to be copied; refuse all if they are too many bytes."""
        # What stands under its hash was hashed when it was put there; the check looks again.
        once = {attachment.sha256: attachment for attachment in attachments}
        wanted = [a for a in once.values() if not _has(self._ours, a)]
        if sum(a.size for a in wanted if _has(self._theirs, a)) > MOST_ATTACHED_BYTES:
            raise _too_much(self._theirs.folder, "more bytes of attachments", MOST_ATTACHED_BYTES)
        return wanted

    def copy(self, attachment: Attachment) -> None:
        # Looked at before it is opened: a link or a pipe is never read, and the size is known.
        if self._theirs.problem(attachment) is not None:
            self.missing.append(attachment)
            return
        kept = self._ours.put(self._theirs.path(attachment.sha256), attachment.name)
        if kept.sha256 == attachment.sha256:
            self.copied += 1
        else:
            self.missing.append(attachment)  # it changed while it was read


def _has(store: AttachmentStore, attachment: Attachment) -> bool:
    try:
        return _plain_size(store.path(attachment.sha256)) == attachment.size
    except (OSError, TeamFolderError):
        return False  # as good as not there


def _unite_names(book: Logbook, theirs: Path) -> list[str]:
    """Unite the side files with names; a damaged one of theirs is left out."""
    try:
        other = Names.read(theirs)
    except TeamFolderError as error:
        return [f"The names of the other folder were left out: {error.found}."]
    people = book.people

    def known(person: str) -> bool:
        return person in people.may_belong_to(person)

    try:
        mine = Names.read(book.folder / NAMES)
        taken, notes = mine.acceptable(other, known)
        united = mine.limited(known).merged(taken) if people.persons else mine
        if united != mine:
            united.write(book.folder / NAMES)
    except TeamFolderError as error:
        return [f"The names were not united: {error.found}."]
    return notes + mine.changes(united)
