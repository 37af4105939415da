"""The entries on disk: added, read, never changed.

One SQLite file. What ``writing`` acknowledged by ending without an error survives the end of the
process, of the system and of the power; ``database`` says how. Entries are kept in the order in
which they were received, both branches of a fork too: what counts is judged elsewhere. Triggers
in the file refuse changes by accident; changes on purpose show in the hashes and signatures.

The exact bytes that were signed are stored, and beside them columns for searching. A row whose
columns say anything else than its bytes is broken.
"""

from __future__ import annotations

from collections.abc import Iterator
from contextlib import contextmanager
from dataclasses import dataclass
from pathlib import Path
from types import TracebackType
from typing import Any, Self

from flightlog.errors import LogbookError, SignatureError, TeamFolderError
from flightlog.logbook.canonical import LARGEST_INTEGER
from flightlog.logbook.database import (
    PATIENCE_S,
    Connect,
    Database,
    Label,
    Mode,
    sqlite_connect,
)
from flightlog.logbook.entry import Entry
from flightlog.logbook.migrations import (
    RECORD_STEPS,
    begin,
    company,
    is_empty,
    is_made,
    look,
    migrate,
    to_do,
)
from flightlog.logbook.signatures import SIGNATURE_BYTES, split_signatures

_BATCH = 100
_LOST = (
    "If the team had a record, copy the folder from another laptop that has it; make no new one."
)
_COLUMNS = (
    "received, hash, device, number, previous, data, device_signature, people_signatures"  # as Row
)


@dataclass(frozen=True, slots=True)
class Row:
    """One row as it is stored; in a damaged file the values may be of any kind.

    Parameters
    ----------
    received : int
        Place in the order of receiving, from 1; of this copy of the folder only.
    hash, device, number, previous
        What the entry says, for searching.
    data : bytes
        The body, exactly as it was signed.
    device_signature : bytes
        64 bytes.
    people_signatures : bytes
        64 bytes for each signer, one after the other.
    """

    received: int
    hash: str
    device: str
    number: int
    previous: str | None
    data: bytes
    device_signature: bytes
    people_signatures: bytes

    def entry(self) -> Entry:
        """Give the entry of this row; its signatures are not checked.

        Raises
        ------
        LogbookError
            If the bytes are no entry, or the columns say something else.
        """
        if not 1 <= self.received <= LARGEST_INTEGER:
            raise LogbookError(
                "its place in the order received is one that no program gives", where=self.place
            )
        blobs = (self.data, self.device_signature, self.people_signatures)
        if not all(isinstance(blob, bytes) for blob in blobs):
            raise LogbookError("a column holds something else than bytes", where=self.place)
        if len(self.people_signatures) % SIGNATURE_BYTES:
            raise SignatureError("a person's signature is not whole", where=self.place)
        try:
            entry = Entry(
                self.data, self.device_signature, split_signatures(self.people_signatures)
            )
        except LogbookError as error:
            raise type(error)(
                f"{error.found} ({error.where})" if error.where else error.found,
                where=self.place,
                fix=error.fix,
            ) from error
        self._compare(entry)
        return entry

    def _compare(self, entry: Entry) -> None:
        body = entry.body
        for column, told, stored in (
            ("hash", entry.hash, self.hash),
            ("device", body.device, self.device),
            ("number", body.number, self.number),
            ("previous", body.previous, self.previous),
        ):
            if told != stored or type(told) is not type(stored):
                raise LogbookError(
                    f"its bytes and the column {column!r} disagree: {str(told)[:80]}, "
                    f"{str(stored)[:80]}",
                    where=f"{self.place} ({entry.name})",
                )

    @property
    def place(self) -> str:
        """The row as messages call it."""
        return f"row {self.received}"


class Writing:
    """What can be done while a store is locked for writing; of no use after."""

    def __init__(self, database: Database) -> None:
        self._database = database

    def add(self, entry: Entry) -> bool:
        """Add an entry.

        Only the entry before it in its chain has to be there; the rules of the record are kept
        elsewhere.

        Returns
        -------
        bool
            False if it was there already, which changes nothing.

        Raises
        ------
        LogbookError
            If the entry before it is not there.
        NotWritableError
            If the disk is full or read-only.
        """
        body = entry.body
        if self.holds(entry.hash):
            return False
        if body.previous is not None and not self.holds(body.previous):
            raise LogbookError(
                f"it follows an entry that is not here ({body.previous[:12]}…)", where=entry.name
            )
        self._database.execute(
            "INSERT INTO entries (hash, device, number, previous, data, device_signature, "
            "people_signatures) VALUES (?, ?, ?, ?, ?, ?, ?)",
            (
                *(entry.hash, body.device, body.number, body.previous, entry.data),
                *(entry.device_signature, b"".join(entry.people_signatures)),
            ),
        )
        return True

    def holds(self, digest: str) -> bool:
        """Whether an entry with this hash is there."""
        return bool(self._database.execute("SELECT 1 FROM entries WHERE hash = ?", (digest,)))


class Store:
    """The entries of a team folder, open.

    Parameters
    ----------
    path : Path
        ``record.sqlite``. Opening for writing brings an older file up to date first.
    read_only : bool
        Never write: an older file is read as it is.
    changed_too : bool
        Read also a file whose form another program changed, if the table of entries itself is
        exactly ours; ``damage`` then tells of it, and nothing can be written.
    patience_s : float
        How long to wait for another program that is writing [s].
    connect : callable
        How the file is opened.

    Attributes
    ----------
    changed : str
        How the form of the file was changed; empty if it was not.

    Raises
    ------
    TeamFolderError
        If there is no such file, it is no logbook, or a newer program's.
    LogbookError
        If the file is damaged, or another program changed its form.
    NotWritableError
        If another program is writing for longer than our patience, or the last write was
        interrupted and can't be undone, because the folder is read-only or is to be read only.
    """

    def __init__(
        self,
        path: Path,
        *,
        read_only: bool = False,
        changed_too: bool = False,
        patience_s: float = PATIENCE_S,
        connect: Connect = sqlite_connect,
    ) -> None:
        self.path = path
        self.read_only = read_only
        self.changed = ""
        self._database = _open(path, "ro" if read_only else "rw", patience_s, connect)
        try:
            if is_empty(self._database):
                raise TeamFolderError(
                    "the record is empty: its making was interrupted, or it was lost",
                    where=str(path),
                    fix=_LOST,
                )
            if changed_too and is_made(self._database, RECORD_STEPS, "entries"):
                self.changed = look(self._database, RECORD_STEPS).changed
            if self.changed:
                self.read_only = True
            elif read_only:
                to_do(self._database, RECORD_STEPS)
            else:
                migrate(self._database, RECORD_STEPS)
        except BaseException:
            self._database.close()
            raise

    @classmethod
    def create(
        cls, path: Path, *, patience_s: float = PATIENCE_S, connect: Connect = sqlite_connect
    ) -> Store:
        """Make an empty store, and open it.

        The folder has to be there, and flushed (``Files.make_folder``). A file that an
        interrupted making left behind is used.

        Raises
        ------
        TeamFolderError
            If there is a logbook already, or another file of that name.
        LogbookError
            If that file is a damaged one.
        NotWritableError
            If it can't be made.
        """
        database = _open(path, "rwc", patience_s, connect)
        try:
            if is_empty(database):
                database.write_by_journal()
            with database.transaction():
                if not is_empty(database):
                    raise TeamFolderError("there is a logbook already", where=str(path))
                begin(database, RECORD_STEPS)
        finally:
            database.close()
        return cls(path, patience_s=patience_s, connect=connect)

    def rows(self, after: int = 0) -> Iterator[Row]:
        """Give the rows in the order of receiving, from the one after ``after``.

        No lock is held in between: what is added meanwhile comes too.

        Parameters
        ----------
        after : int
            Place of the last one that is not wanted. With 0 all are given, also those whose place
            is one that no program gives: they are broken, and not to be overlooked.

        Raises
        ------
        LogbookError
            If the file is damaged there; the rows before are given.
        """
        batch, last = _BATCH, after if after > 0 else None
        while True:
            try:
                found = self._batch(last, batch)
            except LogbookError as error:
                if batch > 1:
                    batch = 1
                    continue
                raise LogbookError(
                    f"{error.found} (after row {last or 0})", where=error.where, fix=error.fix
                ) from error
            if not found:
                return
            for values in found:
                # Pages that lead in a circle would be read for ever.
                if last is not None and values[0] <= last:
                    raise LogbookError(
                        f"the record is damaged: after row {last} comes row {values[0]}",
                        where=str(self.path),
                        fix="Keep the file as it is, and go on with a copy that is whole.",
                    )
                last = values[0]
                yield Row(*values)

    def _batch(self, last: int | None, most: int) -> list[Any]:
        """Give the columns of some rows: the first ones, or those after one."""
        # By the table alone: what an index says, another program may have made up.
        given = f"SELECT {_COLUMNS} FROM entries NOT INDEXED"
        if last is None:
            return self._database.execute(f"{given} ORDER BY received LIMIT ?", (most,))
        return self._database.execute(
            f"{given} WHERE received > ? ORDER BY received LIMIT ?", (last, most)
        )

    def latest(self) -> int:
        """Give the place of the entry that was received last; 0 where there is none."""
        return int(self._database.execute("SELECT coalesce(max(received), 0) FROM entries")[0][0])

    @contextmanager
    def writing(self) -> Iterator[Writing]:
        """Lock the store for writing; what is added stands on the disk when this ends.

        After an error inside nothing of it is kept.

        Raises
        ------
        NotWritableError
            If another program is writing for longer than our patience, the disk is full, or
            read-only.
        LogbookError
            If the form of the file was changed: what was added would be run.
        """
        if self.changed:
            raise LogbookError(self.changed, where=str(self.path))
        with self._database.transaction():
            yield Writing(self._database)

    def damage(self) -> list[str]:
        """Say what is wrong with the file as such; nothing is said of the entries.

        Returns
        -------
        list of str
            Empty if pages, indexes and columns fit together, and the form is ours.
        """
        # What somebody put beside our tables is not even looked at: its rules would be worked out.
        tables = ("entries",) if self.changed else ("entries", "marks", "sqlite_schema")
        found = [self.changed] if self.changed else []
        try:
            for table in tables:
                told = self._database.execute(f"PRAGMA integrity_check({table})")
                found += [str(text) for (text,) in told if text != "ok"]
        except LogbookError as error:
            found.append(error.found)
        return found

    def company(self) -> list[str]:
        """Name what is in the file beside our own tables, triggers and indexes; at most ten."""
        return company(self._database, RECORD_STEPS)

    def close(self) -> None:
        """Close the file."""
        self._database.close()

    def __enter__(self) -> Self:
        return self

    def __exit__(
        self,
        kind: type[BaseException] | None,
        error: BaseException | None,
        trace: TracebackType | None,
    ) -> None:
        self.close()


def _open(path: Path, mode: Mode, patience_s: float, connect: Connect) -> Database:
    label = Label("logbook", str(path), TeamFolderError, LogbookError, _LOST)
    return Database(path, label, mode=mode, patience_s=patience_s, connect=connect)
