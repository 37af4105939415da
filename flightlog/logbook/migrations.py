"""How the tables came to be: a list of steps that is only added to.

Each step is one transaction together with its own mark: after a crash there are both or neither.
A file whose marks are not known here was written by a newer program, and is refused. So is a
file in which anything hangs on our tables, such as a trigger, that none of the steps made: it was
made by somebody else, and would be run by reading or writing. Other tables in it are left alone.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from dataclasses import dataclass
from functools import lru_cache

from flightlog.errors import FlightlogError
from flightlog.logbook.database import Database


@dataclass(frozen=True, slots=True)
class Step:
    """One step: its name, which is its mark, and its statements."""

    name: str
    statements: tuple[str, ...]


_MARKS = "CREATE TABLE marks (number INTEGER PRIMARY KEY, step TEXT NOT NULL UNIQUE) STRICT"

# One statement each; a step that was released is never changed, only followed by another.
RECORD_STEPS: tuple[Step, ...] = (
    Step(
        "entries",
        (
            """CREATE TABLE entries (
    received INTEGER PRIMARY KEY,
    hash TEXT NOT NULL UNIQUE CHECK (length(hash) = 64),
    device TEXT NOT NULL CHECK (length(device) = 64),
    number INTEGER NOT NULL CHECK (number >= 1),
    previous TEXT CHECK ((previous IS NULL) = (number = 1)),
    data BLOB NOT NULL CHECK (length(data) <= 262144),
    device_signature BLOB NOT NULL CHECK (length(device_signature) = 64),
    people_signatures BLOB NOT NULL CHECK (length(people_signatures) % 64 = 0)
) STRICT""",
        ),
    ),
    Step(
        "entries are only added",
        (
            """CREATE TRIGGER entries_are_not_changed BEFORE UPDATE ON entries
BEGIN SELECT RAISE(ABORT, 'entries are only added, never changed'); END""",
            """CREATE TRIGGER entries_are_not_deleted BEFORE DELETE ON entries
BEGIN SELECT RAISE(ABORT, 'entries are only added, never deleted'); END""",
            """CREATE TRIGGER entries_are_not_replaced BEFORE INSERT ON entries
WHEN EXISTS (SELECT 1 FROM entries WHERE hash = NEW.hash OR received = NEW.received)
BEGIN SELECT RAISE(ABORT, 'entries are only added, never replaced'); END""",
            "CREATE INDEX entries_by_device ON entries (device, number)",
        ),
    ),
)
"""The record of a team, ``record.sqlite``."""

DEVICE_STEPS: tuple[Step, ...] = (
    Step(
        "devices",
        (
            """CREATE TABLE devices (
    made INTEGER PRIMARY KEY,
    device TEXT NOT NULL UNIQUE,
    team TEXT NOT NULL,
    private_key BLOB NOT NULL CHECK (length(private_key) = 32),
    folder TEXT NOT NULL,
    before_number INTEGER,
    before_hash TEXT,
    last_number INTEGER NOT NULL,
    last_hash TEXT NOT NULL,
    done INTEGER NOT NULL,
    forked INTEGER NOT NULL DEFAULT 0
) STRICT""",
        ),
    ),
)
"""The memory of a device, ``device.sqlite``."""


def to_do(database: Database, steps: Sequence[Step]) -> tuple[Step, ...]:
    """Look at the marks and tables of a file, and give the steps that it has not had.

    Raises
    ------
    FlightlogError
        ``database.label.foreign`` if the file is of a newer program, is something else, or
        holds tables or triggers that no step made.
    """
    if not _objects(database):
        return tuple(steps)
    done = _marks(database)
    names = [step.name for step in steps]
    strange = [name for name in done if name not in names]
    if strange:
        raise _foreign(
            database,
            f"it was written by a newer flightlog (its step {strange[0][:60]!r} is not known here)",
            "Use the newer version; nothing was changed.",
        )
    if done != names[: len(done)]:
        raise _foreign(database, "its steps were not done in order", _OTHER_COPY)
    _refuse_foreign(database, tuple(steps[: len(done)]))
    return tuple(steps[len(done) :])


def migrate(database: Database, steps: Sequence[Step]) -> None:
    """Do all steps that a file has not had, each together with its mark.

    Raises
    ------
    FlightlogError
        As ``to_do`` says; NotWritableError if the file can't be written.
    """
    missing = to_do(database, steps)
    database.write_by_journal()
    for step in missing:
        with database.transaction():
            # Another process may have been faster, between the look and the lock.
            if step in to_do(database, steps):
                _do(database, step)


def begin(database: Database, steps: Sequence[Step]) -> None:
    """Do the first step in an empty file, inside of the caller's transaction."""
    _do(database, steps[0])


def _do(database: Database, step: Step) -> None:
    if not _objects(database):
        database.execute(_MARKS)
    for statement in step.statements:
        database.execute(statement)
    database.execute("INSERT INTO marks (step) VALUES (?)", (step.name,))


def is_empty(database: Database) -> bool:
    """Whether there is no table at all in a file."""
    return not _objects(database)


def _objects(database: Database) -> list[tuple[str, str, str | None]]:
    return [(kind, name, sql) for kind, name, sql in database.execute(_SCHEMA)]


def _marks(database: Database) -> list[str]:
    if not any(kind == "table" and name == "marks" for kind, name, _ in _objects(database)):
        raise _foreign(database, f"the SQLite file is no {database.label.noun}", "")
    return [str(name) for (name,) in database.execute("SELECT step FROM marks ORDER BY number")]


def _refuse_foreign(database: Database, done: tuple[Step, ...]) -> None:
    ours = _made_by(done)
    names = {name for _, name, _ in ours}
    there = {
        (kind, name, sql)
        for kind, name, sql in _objects(database)
        if name in names or (kind in ("trigger", "index") and sql is not None)
    }
    odd = sorted(name for _, name, _ in ours ^ there)
    if odd:
        raise _foreign(
            database,
            f"its tables are not as this program makes them (look at {odd[0][:60]!r})",
            _OTHER_COPY,
        )


@lru_cache(maxsize=16)
def _made_by(done: tuple[Step, ...]) -> frozenset[tuple[str, str, str | None]]:
    """What the steps leave behind, from doing them in memory."""
    connection = sqlite3.connect(":memory:", isolation_level=None)
    try:
        for statement in (_MARKS, *(s for step in done for s in step.statements)):
            connection.execute(statement)
        return frozenset(connection.execute(_SCHEMA).fetchall())
    finally:
        connection.close()


def _foreign(database: Database, found: str, fix: str) -> FlightlogError:
    return database.label.foreign(found, where=database.label.where, fix=fix)


_SCHEMA = "SELECT type, name, sql FROM sqlite_master"
_OTHER_COPY = "Another program changed the file; go on with a copy that it did not."
