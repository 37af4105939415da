"""A second copy of the team folder: the whole of it, read back before it takes its name.

The copy is a team folder like the first: to restore, copy it back. Its record holds the very
entries of this one; of a copy that is there already only what is new is written. What was copied
is read again from where it was written: all entries, signatures and links, all attachments and
files by their hashes. Only then does it stand under its name.

The entry that tells of the copy is added afterwards, to the copy too, so that a team that loses
its folder goes on from the copy as if nothing had happened.
"""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from pathlib import Path

from flightlog.errors import (
    FlightlogError,
    LogbookError,
    NotWritableError,
    RefusedError,
    TeamFolderError,
)
from flightlog.logbook.attachments import AttachmentStore, Files
from flightlog.logbook.book import Draft
from flightlog.logbook.check_report import count
from flightlog.logbook.checking import check_rows, read_rows
from flightlog.logbook.codes import entry_code
from flightlog.logbook.entry import Attachment, Entry
from flightlog.logbook.flying_kinds import COPY
from flightlog.logbook.kinds import CHAIN_START
from flightlog.logbook.layout import ATTACHMENTS, RECORD
from flightlog.logbook.merge import read_other
from flightlog.logbook.order import Order
from flightlog.logbook.store import Store
from flightlog.logbook.stored import Known
from flightlog.logbook.words import duration, safe
from flightlog.team.copy_place import Staging, inside_of, joined, place_of, sha256_of
from flightlog.team.folder import LOGBOOK, TABLES, TEAM_FILE, TeamFolder
from flightlog.team.ledger import Ledger

Progress = Callable[[float, str], None]
_LONGEST_PLACE = 200
_RECORD = f"{LOGBOOK}/{RECORD}"


@dataclass(frozen=True, slots=True)
class Copied:
    """What was copied.

    Attributes
    ----------
    place : Path
        Where the copy is.
    entries : tuple of Entry
        What its record holds, each after all that it has seen.
    files : int
        Attachments, files and the record in it.
    written : int
        How many of them were written now.
    missing : tuple of str
        Attachments that neither folder has whole.
    notes : tuple of str
        What else there is to say.
    """

    place: Path
    entries: tuple[Entry, ...]
    files: int
    written: int
    missing: tuple[str, ...] = ()
    notes: tuple[str, ...] = ()


def copy_team(
    folder: TeamFolder,
    to: Path,
    *,
    files: Files | None = None,
    progress: Progress | None = None,
) -> Copied:
    """Copy a team folder, and read the copy back.

    Parameters
    ----------
    folder : TeamFolder
        The team's folder; its logbook should not be open in this process.
    to : Path
        Where to; see ``copy_place.place_of``.
    files : Files, optional
        The file system of the copy.
    progress : callable, optional
        Told how much is done (0 to 1), and what is being done.

    Raises
    ------
    LogbookError
        If the record of the team folder is broken: a copy of before is worth more.
    RefusedError
        If the copy that is there holds entries that the team folder lacks.
    TeamFolderError
        If what is there is of another team, or can't be read.
    NotWritableError
        If it can't be written: disk full, read-only, or not the same when read back. A copy
        that was there before is as it was.
    """
    tell = progress or (lambda _done, _what: None)
    place = place_of(folder, to)
    known: Known = {}
    entries = _own_entries(folder, known, lambda done: tell(0.3 * done, "checking the record"))
    _refuse_other(place, entries)
    staging = Staging(place, files or Files())
    try:
        work = _Work(folder, staging, entries, known, tell)
        copied = work.done()
        staging.commit()
    except BaseException:
        staging.discard()
        raise
    tell(1.0, "done")
    return copied


class _Work:
    """One copy on its way."""

    def __init__(
        self,
        folder: TeamFolder,
        staging: Staging,
        entries: tuple[Entry, ...],
        known: Known,
        tell: Progress,
    ) -> None:
        self._folder = folder
        self._staging = staging
        self._entries = entries
        self._known = known
        self._tell = tell
        self._ours = AttachmentStore(folder.logbook / ATTACHMENTS)
        staging.make_folder(LOGBOOK)
        self._theirs = AttachmentStore(staging.attachments, staging.files)
        self._written = 0
        self._missing: dict[str, str] = {}

    def done(self) -> Copied:
        """Copy, read back, and say what was copied."""
        attachments = _attachments(self._entries)
        for index, attachment in enumerate(attachments):
            self._tell(0.3 + 0.4 * index / len(attachments), "copying attachments")
            if not _has_size(self._theirs, attachment):
                self._attach(attachment)
        hashes, left_out = self._take_files()
        self._write_record()
        self._read_back(hashes)
        stale = self._stale(hashes)
        notes = [f"Left out, since links are not followed: {joined(left_out)}"] if left_out else []
        if self._folder.tables.exists():
            notes.append(f"Left out, since it is made anew from the record: {TABLES}/")
        notes += [f"In the copy, and no longer here: {joined(stale)}"] if stale else []
        return Copied(
            place=self._staging.place,
            entries=self._entries,
            files=len(attachments) - len(self._missing) + len(hashes) + 1,
            written=self._written + len(self._staging.staged),
            missing=tuple(self._missing.values()),
            notes=tuple(notes),
        )

    def _attach(self, attachment: Attachment) -> None:
        """Copy an attachment; note it where ours is not whole."""
        problem = self._ours.problem(attachment)
        if problem is None:
            self._theirs.put(self._ours.path(attachment.sha256), attachment.name)
            self._written += 1
        else:
            self._missing[attachment.sha256] = f"{safe(attachment.name)}: {problem}"

    def _take_files(self) -> tuple[dict[str, str], list[str]]:
        try:
            inside = inside_of(self._folder.path)
        except OSError as error:
            raise TeamFolderError(
                f"can't be read ({error.strerror})", where=str(error.filename or self._folder.path)
            ) from error
        for name in inside.folders:
            self._staging.take_folder(name)
        hashes = {}
        for index, name in enumerate(inside.files):
            self._tell(0.7 + 0.1 * index / len(inside.files), "copying files")
            hashes[name] = self._staging.take(self._folder.path / name, name)
        return hashes, inside.left_out

    def _write_record(self) -> None:
        """Write the entries into a record of their own, unless the same are there."""
        if not self._staging.first:
            there = {row.hash for row in read_rows(self._staging.place / LOGBOOK)[0]}
            if there == {entry.hash for entry in self._entries}:
                return
        self._tell(0.8, "writing the record")
        path = self._staging.record / RECORD
        with Store.create(path) as store, store.writing() as writing:
            for entry in self._entries:
                writing.add(entry)
        self._staging.staged.append(_RECORD)

    def _read_back(self, hashes: dict[str, str]) -> None:
        """Read everything again from where it was written."""
        rows, damage = read_rows(self._staging.where(_RECORD).parent)
        report = check_rows(
            rows,
            damage=damage,
            attachment_problem=self._problem,
            known=self._known,
            progress=lambda done, _what: self._tell(0.85 + 0.1 * done, "reading back"),
        )
        wrong = [report.first_break.line()] if report.first_break is not None else []
        if {row.hash for row in rows} != {entry.hash for entry in self._entries}:
            wrong.append("its record does not hold the same entries")
        for name, digest in hashes.items():
            try:
                if sha256_of(self._staging.where(name)) != digest:
                    wrong.append(f"{name} is not what was written")
            except OSError as error:
                wrong.append(f"{name} can't be read again ({error.strerror})")
        if wrong:
            raise NotWritableError(
                f"what was written is not what is read back: {'; '.join(wrong[:3])}",
                where=str(self._staging.place),
                fix="Don't trust this disk. What was copied before is as it was.",
            )

    def _problem(self, attachment: Attachment) -> str | None:
        """Say what is wrong with an attachment of the copy; one of before is renewed first."""
        problem = self._theirs.problem(attachment)
        if problem is not None and attachment.sha256 not in self._missing:
            self._attach(attachment)
            problem = self._theirs.problem(attachment)
        if problem is not None and attachment.sha256 in self._missing:
            return None  # told by itself: it is the same here
        return problem

    def _stale(self, hashes: dict[str, str]) -> list[str]:
        if self._staging.first:
            return []
        try:
            return sorted(set(inside_of(self._staging.place).files) - hashes.keys())
        except OSError:
            return []


def _own_entries(
    folder: TeamFolder, known: Known, tell: Callable[[float], None]
) -> tuple[Entry, ...]:
    rows, damage = read_rows(folder.logbook)
    report = check_rows(rows, damage=damage, known=known, progress=lambda done, _what: tell(done))
    if report.first_break is not None:
        raise LogbookError(
            f"the record of this folder is broken: {report.first_break.line()}",
            where=str(folder.path),
            fix="Nothing was copied, so that an earlier copy stays whole. "
            "'flightlog logbook check' tells more.",
        )
    return tuple(Order(row.entry() for row in rows))


def _refuse_other(place: Path, entries: Iterable[Entry]) -> None:
    """Refuse to write over what is no earlier copy of this record."""
    if not (place / TEAM_FILE).is_file():
        return
    ours = {entry.hash: entry for entry in entries}
    theirs = read_other(place / LOGBOOK)
    team = next(iter(ours.values())).body.team
    if any(entry.body.team != team for entry in theirs):
        raise TeamFolderError(
            "it holds the record of another team", where=str(place), fix="Name another place."
        )
    foreign = [entry for entry in theirs if entry.hash not in ours]
    if foreign:
        raise RefusedError(
            f"it holds {len(foreign)} entries that are not here, {foreign[0].name} first",
            where=str(place),
            fix=f"Merge first: 'flightlog logbook merge {place}'. Nothing was copied.",
        )
    # Undoes a write that was interrupted there: its rest would spoil the record put in its place.
    Store(place / LOGBOOK / RECORD).close()


def _attachments(entries: Iterable[Entry]) -> list[Attachment]:
    once = {a.sha256: a for entry in entries for a in entry.body.attachments}
    return list(once.values())


def _has_size(store: AttachmentStore, attachment: Attachment) -> bool:
    try:
        return store.path(attachment.sha256).lstat().st_size == attachment.size
    except OSError:
        return False


# --- telling of it


def copied_lines(copied: Copied) -> list[str]:
    """Say what was copied."""
    lines = [
        f"{copied.place}: {count(len(copied.entries), 'entry', 'entries')}, "
        f"{count(copied.files, 'file', 'files')}, {copied.written} of them written now. All was "
        "read back and is the same as here."
    ]
    if copied.missing:
        lines.append(
            "But attachments are missing here, and in the copy too. Another copy may have them: "
            "'flightlog logbook merge OTHER' takes them over."
        )
        lines += [f"  {text}" for text in copied.missing]
    return [*lines, *copied.notes]


def copy_draft(copied: Copied) -> Draft:
    """Draft the entry that tells of a copy; the device alone signs it.

    Raises
    ------
    RefusedError
        If something is missing in the copy.
    """
    if copied.missing:
        raise RefusedError(
            f"{len(copied.missing)} attachments are missing in the copy", where=str(copied.place)
        )
    place = str(copied.place).encode("utf-8", "replace").decode("utf-8")
    content = {
        "to": place[-_LONGEST_PLACE:],
        "entries": len(copied.entries),
        "files": copied.files,
        "head": Order(copied.entries).tips()[-1].hash,
    }
    return Draft(COPY, content)


def complete(copied: Copied, order: Order, entry: Entry) -> str:
    """Add the entry that tells of a copy to the copy itself.

    Parameters
    ----------
    copied : Copied
        From ``copy_team``.
    order : Order
        The record as it is now.
    entry : Entry
        The one from ``copy_draft``, as it was added to it.

    Returns
    -------
    str
        Why the copy lacks it, empty where it holds it; the copy is whole either way.
    """
    there = {one.hash for one in copied.entries}
    new = [
        one
        for one in order
        if one.hash not in there and (one.hash == entry.hash or order.has_seen(entry, one))
    ]
    if any(one.body.attachments for one in new):
        return "others entered more while it was made; copy once more"
    try:
        store = Store(copied.place / LOGBOOK / RECORD)
        with store, store.writing() as writing:
            for one in new:
                writing.add(one)
    except FlightlogError as error:
        return error.found
    return ""


def last_copy(ledger: Ledger) -> tuple[Entry | None, int]:
    """Give the entry of the last second copy, and how many entries came since.

    Returns
    -------
    entry : Entry or None
        None where none was ever made.
    since : int
        Entries that are not in that copy; all of them where there is none.
    """
    entry = ledger.last(COPY)
    every = list(ledger.order)
    if entry is None:
        return None, len(every)
    seen = [e for e in every if e is not entry and ledger.has_seen(entry, e)]
    unseen = len(every) - len(seen) - 1
    # A chain that begins with the copy's own entry came after it was made, and went along.
    begun = sum(e.hash == entry.body.previous and e.body.kind == CHAIN_START for e in seen)
    between = len(seen) - begun - int(entry.body.content["entries"])
    return entry, unseen + max(0, between)


def copy_line(ledger: Ledger) -> str:
    """Say how old the last second copy is, in one line."""
    entry, since = last_copy(ledger)
    if entry is None:
        return "Second copy: NONE YET. 'flightlog team copy DEST' makes one, as on a stick."
    minutes = max(0, int((ledger.now - ledger.when(entry)).total_seconds()) // 60)
    age = duration(minutes * 60) if minutes else "just now"
    ago = f"{age} ago" if minutes else age
    name = entry_code(entry.body.number, entry.hash)
    place = safe(entry.body.content["to"])
    return f"Second copy: {ago}, {count(since, 'entry', 'entries')} since ({name}, to {place})"
