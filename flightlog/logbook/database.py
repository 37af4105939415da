"""A SQLite file of ours: how it is opened, written, and what its errors mean in words.

Used for the record in the team folder and for the memory of a device. Every write is one
transaction that stands on the disk before it is acknowledged: a rollback journal
(``journal_mode=DELETE``) whose deletion is flushed as well (``synchronous=EXTRA``); on macOS past
the disk's own cache (``fullfsync``).

All errors of SQLite are put into words here and nowhere else.

This stops where the disk lies about having flushed, and on network drives that don't lock. While
a file is open here, no other code of the same process may open it by itself: closing it again
would drop SQLite's locks (POSIX advisory locks belong to the process).
"""

from __future__ import annotations

import os
import sqlite3
import stat
from collections.abc import Callable, Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any, Literal, Protocol, TypeAlias
from urllib.parse import quote

from flightlog.errors import FlightlogError, NotWritableError

PATIENCE_S = 10.0
"""How long to wait for another program that is writing [s]."""
OLDEST_SQLITE = (3, 37)
"""First version with STRICT tables."""
MOST_VALUE_BYTES = 1024 * 1024
"""Largest value and row that is read [bytes]: an entry is a quarter of it."""

Value: TypeAlias = "str | bytes | int | float | None"
Mode: TypeAlias = Literal["ro", "rw", "rwc"]
"""Reading only; reading and writing; the same, and make the file where there is none."""


class Answer(Protocol):
    """What a statement gives: rows, if it has any."""

    def fetchall(self) -> list[Any]:
        """Give all rows."""


class Connection(Protocol):
    """What is used of a connection, so that another binding of SQLite can stand in."""

    def execute(self, sql: str, parameters: Sequence[Value] = ..., /) -> Answer:
        """Run one statement; errors are ``sqlite3.Error`` with ``sqlite_errorcode``."""

    def close(self) -> None:
        """Close the file."""


Connect: TypeAlias = Callable[[Path, Mode], Connection]


@dataclass(frozen=True, slots=True)
class Label:
    """How messages speak of a file.

    Parameters
    ----------
    noun : str
        What it is, like "logbook".
    where : str
        Where it is, for the user.
    foreign : type of FlightlogError
        Raised if the file is something else, or of a newer program.
    damaged : type of FlightlogError
        Raised if the file is one of ours, but broken.
    lost : str
        What to do where there is no such file.
    """

    noun: str
    where: str
    foreign: type[FlightlogError]
    damaged: type[FlightlogError]
    lost: str = ""


def sqlite_connect(path: Path, mode: Mode) -> sqlite3.Connection:
    """Open a file with the SQLite of the standard library, without transactions of its own."""
    # A slash before a drive letter, two before the name of a server: without them SQLite takes
    # the first part of a path for the name of another computer.
    name = os.fsencode(path.absolute().as_posix())
    uri = f"file://{quote(name if name.startswith(b'/') else b'/' + name)}?mode={mode}"
    if mode == "ro":
        # A write-ahead log, which is not ours, can then not be read without having been there.
        uri += "&readonly_shm=1"
    # The screen's pages are drawn by one thread after another, each under the lock of its desk.
    connection = sqlite3.connect(uri, uri=True, isolation_level=None, check_same_thread=False)
    connection.setlimit(sqlite3.SQLITE_LIMIT_LENGTH, MOST_VALUE_BYTES)
    # Text that is damaged has to come out, so that the row that holds it can be named.
    connection.text_factory = _text
    return connection


def _text(data: bytes) -> str:
    return data.decode("utf-8", "replace")


class Database:
    """One of our SQLite files, open.

    Parameters
    ----------
    path : Path
        The file.
    label : Label
        How messages speak of it.
    mode : {"ro", "rw", "rwc"}
        See ``Mode``.
    patience_s : float
        How long to wait for another program [s].
    connect : callable
        Opens the file; ``sqlite_connect`` or a stand-in.

    Raises
    ------
    FlightlogError
        ``label.foreign`` if there is no such file, it is no SQLite file or this SQLite is too old;
        ``label.damaged`` if it is broken; NotWritableError if it is locked, can't be made, or has
        to be written before it can be read.
    """

    def __init__(
        self,
        path: Path,
        label: Label,
        *,
        mode: Mode = "rw",
        patience_s: float = PATIENCE_S,
        connect: Connect = sqlite_connect,
    ) -> None:
        self.path = path
        self.label = label
        self.mode = mode
        self.patience_s = patience_s
        self._refuse_strange_journal()
        try:
            self._connection = connect(path, mode)
        except _ERRORS as error:
            raise self._not_opened(error) from error
        try:
            self._settle()
        except BaseException:
            self._connection.close()
            raise

    def _settle(self) -> None:
        try:
            answer = self._connection.execute("SELECT sqlite_version()").fetchall()
            self._refuse_old(str(answer[0][0]))
            for setting in _settings(self.patience_s):
                self._connection.execute(setting).fetchall()
            # The file is looked at by the first statement that reads of it.
            self._connection.execute("SELECT count(*) FROM sqlite_master").fetchall()
            answer = self._connection.execute("PRAGMA journal_mode").fetchall()
        except _ERRORS as error:
            raise self._not_opened(error) from error
        if self.mode == "ro" and answer[0][0] != "delete":
            raise self._other_journal()

    def _refuse_strange_journal(self) -> None:
        """Refuse to undo a write that would remove a file elsewhere.

        An unfinished write that concerned several files names one more file, which SQLite removes
        after undoing it, wherever that is. We write one file at a time; such a journal is made up.
        """
        journal = self.path.with_name(self.path.name + "-journal")
        with suppress(OSError):
            if stat.S_ISREG(journal.lstat().st_mode):
                with journal.open("rb") as file:
                    file.seek(-len(_JOURNAL_MAGIC), os.SEEK_END)
                    if file.read() != _JOURNAL_MAGIC:
                        return
                raise self.label.foreign(
                    f"an unfinished write of the {self.label.noun} names another file, as none of "
                    "ours does",
                    where=self.label.where,
                    fix="Somebody made it up: don't use what came with it.",
                )

    def _refuse_old(self, version: str) -> None:
        if tuple(map(int, version.split(".")[:2])) < OLDEST_SQLITE:
            oldest = ".".join(map(str, OLDEST_SQLITE))
            raise self.label.foreign(
                f"the SQLite of this Python is {version}; the {self.label.noun} needs {oldest} "
                "or newer",
                where=self.label.where,
                fix="Install a newer Python.",
            )

    def write_by_journal(self) -> None:
        """Put the file back to our way of writing, if another program set another one.

        Only to be called once it is known that the file is one of ours.

        Raises
        ------
        NotWritableError
            If another program has it open in that other way.
        """
        if self.execute("PRAGMA journal_mode=DELETE")[0][0] != "delete":
            raise self._other_journal()

    def execute(self, sql: str, parameters: Sequence[Value] = ()) -> list[Any]:
        """Run one statement and give its rows.

        Raises
        ------
        FlightlogError
            As ``Database`` says; NotWritableError also if the disk is full or read-only.
        """
        try:
            return self._connection.execute(sql, parameters).fetchall()
        except _ERRORS as error:
            raise self._in_words(error) from error

    @contextmanager
    def transaction(self) -> Iterator[None]:
        """Write what is done inside as a whole, or nothing of it.

        When this ends without an error, it stands on the disk.

        Raises
        ------
        NotWritableError
            If another program is writing for longer than our patience, the disk is full, or
            read-only.
        """
        if self.mode == "ro":
            raise NotWritableError(
                f"the {self.label.noun} was opened for reading only", where=self.label.where
            )
        self.execute("BEGIN IMMEDIATE")
        try:
            yield
            self.execute("COMMIT")
        except BaseException:
            # SQLite may have rolled back already; if it could not, the next one to open it does.
            with suppress(sqlite3.Error):
                self._connection.execute("ROLLBACK").fetchall()
            raise

    def close(self) -> None:
        """Close the file."""
        self._connection.close()

    # --- errors in words

    def _not_opened(self, error: Exception) -> FlightlogError:
        noun, where = self.label.noun, self.label.where
        if self.path.exists() and not self.path.is_file():
            return self.label.foreign(f"where the {noun} should be is no file", where=where)
        if _family(error) != sqlite3.SQLITE_CANTOPEN:
            return self._in_words(error)
        if self.mode == "rwc":
            return NotWritableError(
                f"the {noun} can't be made here",
                where=where,
                fix="Look whether the folder is there and can be written.",
            )
        if not self.path.exists():
            return self.label.foreign(f"there is no {noun} here", where=where, fix=self.label.lost)
        if self._has_other_journal():
            return self._other_journal()
        return self.label.foreign(
            f"the {noun} can't be opened",
            where=where,
            fix="Look whether it is a file that you may read.",
        )

    def _has_other_journal(self) -> bool:
        """Whether the file says that it is written by a write-ahead log."""
        # Opened beside SQLite, which could not open it: there are no locks to be lost.
        with suppress(OSError), self.path.open("rb") as file:
            return file.read(20)[18:] in (b"\2\2", b"\2\1", b"\1\2")
        return False

    def _other_journal(self) -> FlightlogError:
        return NotWritableError(
            f"another program set the {self.label.noun} to another way of writing",
            where=self.label.where,
            fix="Open it once where it can be written, which puts it back.",
        )

    def _in_words(self, error: Exception) -> FlightlogError:
        code = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR)
        told = _told(error)
        words = _NOT_WRITABLE.get(code) or _NOT_WRITABLE.get(_family(error))
        if words and code not in _READING:
            found, fix = words
            found = found.format(error=told, patience_s=self.patience_s)
            return NotWritableError(found, where=self.label.where, fix=fix)
        if _family(error) == sqlite3.SQLITE_CONSTRAINT:
            return self.label.damaged(
                f"the {self.label.noun} does not take it ({told})", where=self.label.where
            )
        strange = not isinstance(error, sqlite3.Error)
        if strange or _family(error) in _BROKEN or code in _READING:
            return self.label.damaged(
                f"the {self.label.noun} is damaged: {_BROKEN.get(_family(error)) or told}",
                where=self.label.where,
                fix="Keep the file as it is, and go on with a copy that is whole.",
            )
        if _family(error) == sqlite3.SQLITE_NOTADB:
            return self.label.foreign(
                f"the file is no {self.label.noun}: it is no SQLite file", where=self.label.where
            )
        if _family(error) == sqlite3.SQLITE_INTERRUPT:
            return self.label.foreign(
                f"the {self.label.noun} takes too long to read", where=self.label.where
            )
        return self.label.foreign(
            f"the {self.label.noun} can't be used ({told})", where=self.label.where
        )


# The last eight bytes of a journal that names another file (sqlite.org/fileformat.html, 3).
_JOURNAL_MAGIC = bytes.fromhex("d9d505f920a163d7")


def _settings(patience_s: float) -> tuple[str, ...]:
    return (
        f"PRAGMA busy_timeout={round(patience_s * 1000):d}",
        "PRAGMA synchronous=EXTRA",
        "PRAGMA fullfsync=ON",
        # What a file from elsewhere brings along is not run, and not taken for sound.
        "PRAGMA trusted_schema=OFF",
        "PRAGMA cell_size_check=ON",
        # Without it INSERT OR REPLACE would delete without the trigger against deleting.
        "PRAGMA recursive_triggers=ON",
    )


# The last two come where SQLite gives what is no text, or no integer, for one.
_ERRORS = (sqlite3.Error, UnicodeDecodeError, OverflowError)
_MOST_TOLD = 200


def _told(error: Exception) -> str:
    """What an error says; a damaged file may have put anything into it."""
    if isinstance(error, UnicodeDecodeError):
        return "a text in it is no UTF-8"
    return "".join(sign if sign.isprintable() else "\ufffd" for sign in str(error))[:_MOST_TOLD]


def _family(error: Exception) -> int:
    code: int = getattr(error, "sqlite_errorcode", sqlite3.SQLITE_ERROR)
    return code & 0xFF


_BUSY = (
    "another program is writing (waited {patience_s:g} s)",
    "Close the other program, or try again.",
)
_UNDO_FIRST = (
    "its last write was interrupted and has to be undone before it can be read, which is writing",
    "Open it once where it can be written, or copy the whole folder and open the copy.",
)
_READ_ONLY = (
    "it can't be written: the file, its folder or the disk is read-only",
    "Look who may write there, or copy the whole folder to where you may.",
)
_NO_JOURNAL = (
    "it can't be written: no file can be made beside it",
    "Look who may write in its folder, and whether the disk is full.",
)
_REFUSED = (
    "the disk refuses ({error})",
    "Look after the disk; a copy of the whole folder on another one can be written.",
)

# By the code of an error, or its family (the last eight bits). What to find, what to do.
_NOT_WRITABLE: dict[int, tuple[str, str]] = {
    sqlite3.SQLITE_BUSY: _BUSY,
    sqlite3.SQLITE_LOCKED: _BUSY,
    sqlite3.SQLITE_FULL: ("the disk is full", "Make room; nothing of this was written."),
    sqlite3.SQLITE_READONLY: _READ_ONLY,
    sqlite3.SQLITE_READONLY_ROLLBACK: _UNDO_FIRST,
    sqlite3.SQLITE_READONLY_RECOVERY: _UNDO_FIRST,
    sqlite3.SQLITE_READONLY_CANTINIT: _UNDO_FIRST,
    sqlite3.SQLITE_PERM: _READ_ONLY,
    sqlite3.SQLITE_CANTOPEN: _NO_JOURNAL,
    sqlite3.SQLITE_IOERR: _REFUSED,
}
_BROKEN: dict[int, str] = {
    sqlite3.SQLITE_CORRUPT: "its pages don't fit together",
    sqlite3.SQLITE_FORMAT: "its pages don't fit together",
    sqlite3.SQLITE_TOOBIG: f"it holds a value of more than {MOST_VALUE_BYTES} bytes",
}
_READING = {
    sqlite3.SQLITE_IOERR_READ,
    sqlite3.SQLITE_IOERR_SHORT_READ,
    sqlite3.SQLITE_IOERR_CORRUPTFS,
}
