import hashlib
import re
import sqlite3
import subprocess
import sys
from contextlib import closing
from pathlib import Path

import pytest

from flightlog.errors import LogbookError, NotWritableError, TeamFolderError
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
    "heads that were whole": "c64842cab404d273",
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
    assert hashes[-1].startswith("ba5e1136218b890a")
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
    with pytest.raises(LogbookError, match="its steps were not done in order"):
        Store(old)


@pytest.mark.parametrize("options", [{}, {"read_only": True}])
@pytest.mark.parametrize(
    ("statements", "named"),
    [
        (["CREATE TRIGGER extra AFTER INSERT ON entries BEGIN SELECT 1; END"], "extra"),
        (["CREATE TABLE other (a)", "CREATE INDEX more ON other (a)"], "more"),
        (["DROP TRIGGER entries_are_not_deleted"], "entries_are_not_deleted' is missing"),
        (["ALTER TABLE entries ADD COLUMN note TEXT"], "entries' was changed"),
        (["ALTER TABLE entries RENAME TO kept"], "entries' is missing"),
        (["DROP TABLE marks"], "marks' is missing"),
        (["ALTER TABLE marks ADD COLUMN note TEXT"], "marks' was changed"),
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
    before = old.read_bytes()
    with pytest.raises(LogbookError, match=rf"not as this program makes them .*'{named}"):
        Store(old, **options)

    assert before == old.read_bytes()


BESIDE = [
    ["CREATE TRIGGER extra AFTER INSERT ON entries BEGIN DELETE FROM entries; END"],
    ["DROP TRIGGER entries_are_not_deleted", "DROP TRIGGER entries_are_not_changed"],
    ["CREATE INDEX more ON entries (hash)", "DROP INDEX entries_by_device"],
    ["DROP TABLE marks"],
    ["DELETE FROM marks WHERE number = 2"],
    ["DROP TABLE marks", "CREATE TABLE marks (step TEXT)"],
]


@pytest.mark.parametrize("options", [{}, {"read_only": True}])
@pytest.mark.parametrize("statements", BESIDE)
def test_what_another_program_changed_beside_the_entries_can_still_be_read(
    old, options, statements
):
    with Store(old) as store:
        rows = list(store.rows())
    for statement in statements:
        sql(old, statement)
    before = old.read_bytes()
    with Store(old, changed_too=True, **options) as store:
        read, damage = list(store.rows()), store.damage()
        with pytest.raises(LogbookError, match="not as this program makes them"), store.writing():
            pass

    assert rows == read
    assert re.match(r"its tables are not as this program makes them \('[a-z_]+' ", damage[0])
    assert 1 == len(damage)
    assert before == old.read_bytes()


def test_steps_out_of_order_can_still_be_read(old):
    sql(old, "UPDATE marks SET step = 'entries are only added'")
    with Store(old, changed_too=True, read_only=True) as store:
        assert 5 == len(list(store.rows()))
        assert ["its steps were not done in order"] == store.damage()


@pytest.mark.parametrize("options", [{}, {"read_only": True}])
@pytest.mark.parametrize(
    "statements",
    [
        ["ALTER TABLE entries ADD COLUMN note TEXT"],
        ["ALTER TABLE entries ADD COLUMN note TEXT AS (hex(data)) VIRTUAL"],
        ["ALTER TABLE entries RENAME COLUMN data TO bytes"],
        ["ALTER TABLE entries RENAME TO kept", "CREATE VIEW entries AS SELECT * FROM kept"],
        ["ALTER TABLE entries RENAME TO kept", "CREATE TABLE entries AS SELECT * FROM kept"],
        ["DROP TABLE entries", "CREATE VIRTUAL TABLE entries USING fts5(received, hash, data)"],
    ],
)
def test_entries_that_are_no_plain_table_of_ours_are_never_read(old, options, statements):
    Store(old).close()
    for statement in statements:
        sql(old, statement)
    said = []
    connect = watched(said.append)
    with pytest.raises(
        LogbookError, match=r"not as this program makes them .*'entries' was changed"
    ):
        Store(old, changed_too=True, connect=connect, **options)

    assert any("sqlite_master" in statement for statement in said)
    assert not any("FROM entries" in statement for statement in said)


def test_of_very_many_changes_some_are_named(old):
    for number in range(9):
        sql(old, f"CREATE INDEX more_{number} ON entries (hash)")
    with pytest.raises(
        LogbookError, match=r"\('more_0' was added, .*'more_3' was .*, and 5 more\)"
    ):
        Store(old)


def test_a_file_of_a_newer_program_is_not_read_as_a_changed_one(old):
    Store(old).close()
    sql(old, "DROP TRIGGER entries_are_not_deleted")
    sql(old, "INSERT INTO marks (step) VALUES ('witnesses')")
    with pytest.raises(TeamFolderError, match="written by a newer flightlog"):
        Store(old, changed_too=True)


def test_a_file_that_is_as_ours_is_opened_as_usual_and_brought_up_to_date(old):
    with Store(old, changed_too=True) as store:
        assert "" == store.changed
        assert [] == store.damage()

    assert MARKS == marks(old)


def test_a_table_of_somebody_else_beside_ours_is_left_alone(old):
    sql(old, "CREATE TABLE birds (name TEXT)")
    with Store(old) as store:
        assert 5 == store.latest()
