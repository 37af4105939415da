import hashlib
import re
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from flightlog.errors import NotWritableError, TeamFolderError
from flightlog.logbook.database import sqlite_connect
from flightlog.logbook.migrations import DEVICE_STEPS, RECORD_STEPS
from flightlog.logbook.store import Store
from tests.logbook.made import Maker
from tests.logbook.writer import watched

ROOT = Path(__file__).parents[2]
OLD = Path(__file__).parent / "old"
MARKS = ["entries", "entries are only added"]


def sql(path, statement, parameters=()):
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        return connection.execute(statement, parameters).fetchall()


def make_old(path):
    with closing(sqlite3.connect(path)) as connection:
        connection.executescript((OLD / "record-1.sql").read_text(encoding="utf-8"))


def marks(path):
    return [step for (step,) in sql(path, "SELECT step FROM marks ORDER BY number")]


def things(path):
    return {name for (name,) in sql(path, "SELECT name FROM sqlite_master WHERE type != 'table'")}


GUARDS = {"entries_are_not_changed", "entries_are_not_deleted", "entries_are_not_replaced"}


@pytest.fixture
def old(tmp_path):
    path = tmp_path / "record.sqlite"
    make_old(path)
    return path


def test_released_steps_are_never_changed():
    """Only ever add a line: files out there were made with exactly these statements."""
    digests = {
        step.name: hashlib.sha256("\0".join(step.statements).encode()).hexdigest()[:16]
        for step in (*RECORD_STEPS, *DEVICE_STEPS)
    }

    assert RELEASED == digests


RELEASED = {
    "entries": "a16637426c1f0eba",
    "entries are only added": "9813854c7d39fd53",
    "devices": "b440be0e3fdf2887",
}


def test_an_old_file_keeps_its_entries_and_gets_all_marks(old):
    before = sql(old, "SELECT * FROM entries ORDER BY received")
    # Independent of the program: the hash of an entry is that of its bytes and signatures.
    hashes = [hashlib.sha256(b"".join(row[5:8])).hexdigest() for row in before]

    with Store(old) as store:
        entries = [row.entry() for row in store.rows()]
        damage = store.damage()

    assert 5 == len(entries)
    assert hashes == [entry.hash for entry in entries]
    assert hashes[-1].startswith("45d1a5a75c6bfc92")
    assert before == sql(old, "SELECT * FROM entries ORDER BY received")
    assert MARKS == marks(old)
    assert things(old) > GUARDS
    assert [] == damage
    for entry in entries:
        entry.verify()


def test_an_old_file_can_be_added_to(old):
    entry = Maker().add("new laptop", "remark")
    with Store(old) as store, store.writing() as writing:
        assert writing.add(entry)

    assert [(6,)] == sql(old, "SELECT count(*) FROM entries")


def test_an_old_file_that_is_only_read_is_read_as_it_is(old):
    before = old.read_bytes()
    with Store(old, read_only=True) as store:
        assert 5 == len([row.entry() for row in store.rows()])
        assert [] == store.damage()

    assert before == old.read_bytes()
    assert [old] == list(old.parent.iterdir())


def test_an_old_file_that_can_not_be_written_says_so(old):
    with pytest.raises(NotWritableError, match="is read-only"):
        Store(old, connect=lambda path, mode: sqlite_connect(path, "ro"))

    assert MARKS[:1] == marks(old)


def test_opening_again_changes_nothing(old):
    Store(old).close()
    before = old.read_bytes()
    Store(old).close()

    assert before == old.read_bytes()


class PulledOutError(Exception):
    pass


def pull_out_before(pattern):
    def before(statement):
        if re.match(pattern, statement):
            raise PulledOutError

    return watched(before)


@pytest.mark.parametrize(
    "pattern",
    ["INSERT INTO marks", "CREATE INDEX", "CREATE TRIGGER entries_are_not_d", "COMMIT", "BEGIN"],
)
def test_an_interruption_between_a_step_and_its_mark_leaves_neither(old, pattern):
    with pytest.raises(PulledOutError):
        Store(old, connect=pull_out_before(pattern))

    assert MARKS[:1] == marks(old)
    assert {"sqlite_autoindex_entries_1", "sqlite_autoindex_marks_1"} == things(old)
    with Store(old) as store:
        assert 5 == store.latest()
    assert MARKS == marks(old)


def test_a_process_that_dies_between_a_step_and_its_mark_leaves_neither(old):
    command = [sys.executable, "-m", "tests.logbook.writer", "dies", str(old)]
    done = subprocess.run(command, cwd=ROOT, capture_output=True, timeout=60)

    assert (77, b"") == (done.returncode, done.stderr)
    assert MARKS[:1] == marks(old)
    assert not things(old) & GUARDS
    with Store(old) as store:
        assert 5 == store.latest()
    assert MARKS == marks(old)


def test_another_process_that_was_faster_is_noticed_under_the_lock(old):
    raced = []

    def before(statement):
        if statement == "BEGIN IMMEDIATE" and not raced:
            raced.append(True)
            Store(old).close()

    with Store(old, connect=watched(before)) as store:
        assert 5 == store.latest()

    assert raced
    assert MARKS == marks(old)


@pytest.mark.parametrize("options", [{}, {"read_only": True}])
def test_a_file_of_a_newer_program_is_refused_and_left_alone(old, options):
    Store(old).close()
    sql(old, "CREATE TABLE witnesses (name TEXT)")
    sql(old, "INSERT INTO marks (step) VALUES ('witnesses')")
    before = old.read_bytes()
    with pytest.raises(
        TeamFolderError, match=r"written by a newer flightlog \(its step 'witnesses'.*newer version"
    ):
        Store(old, **options)

    assert before == old.read_bytes()


def test_marks_without_their_predecessors_are_refused(old):
    sql(old, "UPDATE marks SET step = 'entries are only added'")
    with pytest.raises(TeamFolderError, match="its steps were not done in order"):
        Store(old)


@pytest.mark.parametrize("options", [{}, {"read_only": True}])
@pytest.mark.parametrize(
    ("statements", "named"),
    [
        (["CREATE TRIGGER extra AFTER INSERT ON entries BEGIN SELECT 1; END"], "extra"),
        (["CREATE TABLE other (a)", "CREATE INDEX more ON other (a)"], "more"),
        (["DROP TRIGGER entries_are_not_deleted"], "entries_are_not_deleted"),
        (["ALTER TABLE entries ADD COLUMN note TEXT"], "entries"),
        (
            [
                "DROP TABLE entries",
                "CREATE VIEW entries AS WITH RECURSIVE r(n) AS (SELECT 1 UNION ALL SELECT n + 1 "
                "FROM r) SELECT n AS received FROM r",
            ],
            "entries",
        ),
    ],
)
def test_tables_that_somebody_else_changed_are_refused(old, options, statements, named):
    Store(old).close()
    for statement in statements:
        sql(old, statement)
    with pytest.raises(TeamFolderError, match=rf"not as this program makes them .*'{named}"):
        Store(old, **options)


def test_a_table_of_somebody_else_beside_ours_is_left_alone(old):
    sql(old, "CREATE TABLE birds (name TEXT)")
    with Store(old) as store:
        assert 5 == store.latest()
