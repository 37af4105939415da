"""How the tables came to be: a list of steps that is only added to.

Each step is one transaction together with its own mark: after a crash there are both or neither.
A file whose marks are not known here was written by a newer program, and is refused. So is, as
broken, a file in which one of our tables, triggers or indexes is missing, is another, or has
company that none of the steps made: somebody changed it, and what was added would be run by
writing. Other tables in it are left alone. ``look`` tells this without refusing, for a check that
still reads the rows of a table that is exactly ours.
"""

from __future__ import annotations

import sqlite3
from collections.abc import Sequence
from contextlib import closing
from dataclasses import dataclass
from functools import lru_cache
from typing import TypeAlias

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
    Step(
        "heads that were whole",
        (
            """CREATE TABLE heads (
    team TEXT NOT NULL,
    device TEXT NOT NULL CHECK (length(device) = 64),
    number INTEGER NOT NULL CHECK (number >= 1),
    hash TEXT NOT NULL CHECK (length(hash) = 64),
    PRIMARY KEY (team, device)
) STRICT""",
        ),
    ),
)
"""The memory of a device, ``device.sqlite``."""


@dataclass(frozen=True, slots=True)
class Look:
    """What a look at the marks and tables of a file tells.

    Parameters
    ----------
    missing : tuple of Step
        Steps that it has not had; of no use where the form was changed.
    changed : str
        How its form differs from what the steps make; empty if it does not.
    """

    missing: tuple[Step, ...]
    changed: str = ""


def look(database: Database, steps: Sequence[Step]) -> Look:
    """Look at the marks and tables of a file; nothing is read that is not made as ours.

    Raises
    ------
    FlightlogError
        ``database.label.foreign`` if the file is of a newer program, or is something else.
    """
    there = _objects(database)
    if not there:
        return Look(tuple(steps))
    if _MARKS_MADE not in there:
        if not any(one in there for one in _made_by(tuple(steps)) if one[0] == "table"):
            raise _foreign(database, f"the SQLite file is no {database.label.noun}", "")
        return Look((), _difference(tuple(steps), there))
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
        return Look((), "its steps were not done in order")
    return Look(tuple(steps[len(done) :]), _difference(tuple(steps[: len(done)]), there))


def to_do(database: Database, steps: Sequence[Step]) -> tuple[Step, ...]:
    """Give the steps that a file has not had.

    Raises
    ------
    FlightlogError
        As ``look`` says; ``database.label.damaged`` if the form of the file was changed.
    """
    looked = look(database, steps)
    if looked.changed:
        raise database.label.damaged(looked.changed, where=database.label.where, fix=_OTHER_COPY)
    return looked.missing


def company(database: Database, steps: Sequence[Step]) -> list[str]:
    """Name what is in a file that has had all steps, and that no step made; at most ten."""
    ours = _made_by(tuple(steps))
    odd = [name for kind, name, sql in _objects(database) if (kind, name, sql) not in ours]
    return sorted(str(name)[:60] for name in odd)[:10]


def is_made(database: Database, steps: Sequence[Step], name: str) -> bool:
    """Whether a table in a file is a plain one, made by exactly the statement of a step."""
    made = [one for one in _made_by(tuple(steps)) if one[:2] == ("table", name)]
    if not made or made[0] not in _objects(database):
        return False
    with closing(_in_memory(tuple(steps))) as memory:
        columns = memory.execute(_COLUMNS, (name,)).fetchall()
    return database.execute(_COLUMNS, (name,)) == columns


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


def _objects(database: Database) -> list[_Object]:
    return [(kind, name, sql) for kind, name, sql in database.execute(_SCHEMA)]


def _marks(database: Database) -> list[str]:
    # Bounded: a file from elsewhere may hold any number of them, of any length.
    return [str(name) for (name,) in database.execute(_MARKS_READ)]


def _difference(done: tuple[Step, ...], there: Sequence[_Object]) -> str:
    """Say how the form of a file differs from what steps make; empty if it does not."""
    ours = _made_by(done)
    names = {name for _, name, _ in ours}
    found = {
        (kind, name, sql)
        for kind, name, sql in there
        if name in names or (kind in ("trigger", "index") and sql is not None)
    }
    found_names = {name for _, name, _ in found}
    odd = []
    for name in sorted({name for _, name, _ in ours ^ found}):
        word = "was changed" if name in found_names else "is missing"
        odd.append(f"{name[:60]!r} {word if name in names else 'was added'}")
    if not odd:
        return ""
    more = f", and {len(odd) - _MOST_NAMED} more" if len(odd) > _MOST_NAMED else ""
    return f"its tables are not as this program makes them ({', '.join(odd[:_MOST_NAMED])}{more})"


@lru_cache(maxsize=16)
def _made_by(done: tuple[Step, ...]) -> frozenset[_Object]:
    """What the steps leave behind, from doing them in memory."""
    with closing(_in_memory(done)) as connection:
        return frozenset(connection.execute(_SCHEMA).fetchall())


def _in_memory(done: tuple[Step, ...]) -> sqlite3.Connection:
    connection = sqlite3.connect(":memory:", isolation_level=None)
    for statement in (_MARKS, *(s for step in done for s in step.statements)):
        connection.execute(statement)
    return connection


def _foreign(database: Database, found: str, fix: str) -> FlightlogError:
    return database.label.foreign(found, where=database.label.where, fix=fix)


_Object: TypeAlias = tuple[str, str, str | None]
"""Kind, name and statement of what is in a file."""
_MARKS_MADE: _Object = ("table", "marks", _MARKS)
_MOST_NAMED = 4
_MARKS_READ = "SELECT substr(step, 1, 100) FROM marks ORDER BY number LIMIT 1000"
_SCHEMA = "SELECT type, name, sql FROM sqlite_master"
_COLUMNS = 'SELECT name, type, "notnull", dflt_value, pk, hidden FROM pragma_table_xinfo(?)'
_OTHER_COPY = "Another program changed the file; go on with a copy that it did not."
