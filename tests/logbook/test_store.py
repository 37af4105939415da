import os
import random
import sqlite3
import subprocess
import sys
from contextlib import closing
from dataclasses import replace
from itertools import islice
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog.errors import LogbookError, NotWritableError, TeamFolderError
from flightlog.logbook.database import sqlite_connect
from flightlog.logbook.store import Row, Store
from tests.logbook.forgetful_disk import Disk, forgetful_connect
from tests.logbook.interrupted import interrupted_copy, name_another_file
from tests.logbook.made import Maker
from tests.logbook.writer import watched

ROOT = Path(__file__).parents[2]


def chain(length, *, device="laptop", text=""):
    maker = Maker()
    for number in range(length):
        maker.add(device, "remark", {"text": f"{number} {text}"})
    return maker.entries


def add_all(store, entries):
    with store.writing() as writing:
        return [writing.add(entry) for entry in entries]


@pytest.fixture
def record(tmp_path):
    return tmp_path / "record.sqlite"


@pytest.fixture
def filled(record):
    """A record of five entries, closed; the entries."""
    entries = chain(5)
    with Store.create(record) as store:
        add_all(store, entries)
    return entries


def entries_in(path, **options):
    with Store(path, **options) as store:
        return [row.entry() for row in store.rows()]


# --- adding and reading


def test_what_was_added_is_read_again_byte_by_byte_after_closing(record):
    maker = Maker()
    maker.found()
    maker.add("laptop", "remark", signers=[("pilot", "performed", "pilot")])
    with Store.create(record) as store:
        add_all(store, maker.entries)

    with Store(record) as store:
        rows = list(store.rows())

    assert maker.entries == [row.entry() for row in rows]
    assert [1, 2] == [row.received for row in rows]
    assert b"".join(maker.entries[0].people_signatures) == rows[0].people_signatures


def test_an_entry_that_is_there_is_not_added_again(record):
    (entry,) = chain(1)
    with Store.create(record) as store:
        assert [True, False] == add_all(store, [entry, entry])
        assert [False] == add_all(store, [entry])
        assert 1 == len(list(store.rows()))


def test_both_branches_of_a_fork_are_kept(record):
    maker = Maker()
    first = maker.add("laptop", "remark")
    second = maker.add("laptop", "remark")
    other = maker.add("laptop", "remark", {"text": "the copy"}, after=first)
    with Store.create(record) as store:
        add_all(store, maker.entries)

    assert 2 == second.body.number == other.body.number
    assert [first, second, other] == entries_in(record)


def test_an_entry_whose_predecessor_is_missing_is_refused(record):
    entries = chain(3)
    with Store.create(record) as store:
        add_all(store, entries[:1])
        with pytest.raises(LogbookError, match="follows an entry that is not here"):
            add_all(store, entries[2:])

    assert entries[:1] == entries_in(record)


def test_after_an_error_inside_nothing_is_kept(record):
    entries = chain(3)

    def interrupted(store):
        with store.writing() as writing:
            writing.add(entries[0])
            raise KeyboardInterrupt

    with Store.create(record) as store:
        with pytest.raises(KeyboardInterrupt):
            interrupted(store)
        assert [] == list(store.rows())
        assert [True] * 3 == add_all(store, entries)


def test_rows_after_a_place_and_the_latest_place(record):
    entries = chain(3)
    with Store.create(record) as store:
        assert 0 == store.latest()
        add_all(store, entries)

        assert [2, 3] == [row.received for row in store.rows(after=1)]
        assert [] == list(store.rows(after=3))
        assert 3 == store.latest()


def test_more_rows_than_are_read_at_once_come_in_order(record):
    entries = chain(230)
    with Store.create(record) as store:
        add_all(store, entries)
        read = [row.hash for row in store.rows()]

    assert [entry.hash for entry in entries] == read


def test_reading_half_of_the_rows_does_not_hold_up_a_writer(record):
    entries = chain(4)
    with Store.create(record) as store, Store(record, patience_s=0.01) as other:
        add_all(store, entries[:3])
        rows = store.rows()
        next(rows)
        add_all(other, entries[3:])

        assert 3 == len(list(rows))


def test_the_lock_shows_what_others_wrote_before(record):
    entries = chain(2)
    with Store.create(record) as one, Store(record) as other:
        add_all(one, entries[:1])
        with other.writing() as writing:
            assert writing.holds(entries[0].hash)
            assert not writing.holds(entries[1].hash)


def test_creating_where_a_logbook_is_changes_nothing(record, filled):
    before = record.read_bytes()
    with pytest.raises(TeamFolderError, match="there is a logbook already"):
        Store.create(record)

    assert before == record.read_bytes()


def test_an_interrupted_making_is_taken_up(record):
    record.touch()
    with pytest.raises(
        TeamFolderError, match=r"making was interrupted, or it was lost\..*copy the folder"
    ):
        Store(record)

    Store.create(record).close()
    assert [] == entries_in(record)


def test_what_is_shipped_asks_for_the_safest_way_of_writing(record):
    asked = []
    with Store.create(record, connect=watched(asked.append)) as store:
        answers = {
            name: store._database.execute(f"PRAGMA {name}")[0][0]
            for name in ("synchronous", "journal_mode", "fullfsync", "busy_timeout")
        }

    # 3 is EXTRA (sqlite.org/pragma.html).
    assert {
        "synchronous": 3,
        "journal_mode": "delete",
        "fullfsync": 1,
        "busy_timeout": 10_000,
    } == answers
    assert "BEGIN IMMEDIATE" in asked


# --- rows that say something else than their bytes


def row_of(entry, **changes):
    row = Row(
        *(1, entry.hash, entry.body.device, entry.body.number, entry.body.previous, entry.data),
        *(entry.device_signature, b"".join(entry.people_signatures)),
    )
    return replace(row, **changes)


ENTRY = chain(2)[1]


def test_a_whole_row_gives_its_entry():
    assert ENTRY == row_of(ENTRY).entry()


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("hash", "0" * 64),
        ("hash", None),
        ("device", "1" * 64),
        ("device", ENTRY.body.device.upper()),
        ("number", 3),
        ("number", True),
        ("number", 2.0),
        ("previous", None),
        ("previous", "2" * 64),
    ],
)
def test_a_column_that_differs_from_the_bytes_is_found(column, value):
    with pytest.raises(LogbookError, match=rf"row 1 .*the column '{column}' disagree"):
        row_of(ENTRY, **{column: value}).entry()


@pytest.mark.parametrize(
    ("changes", "found"),
    [
        ({"data": "text"}, "something else than bytes"),
        ({"people_signatures": None}, "something else than bytes"),
        ({"people_signatures": b"x"}, "a person's signature is not whole"),
        ({"people_signatures": bytes(64)}, "0 persons are named as signers, 1 signatures"),
        ({"device_signature": b""}, "has not 64 bytes"),
        ({"data": b"{}"}, "'content' is missing|schema is None"),
        ({"data": b"\xff"}, "not JSON"),
    ],
)
def test_a_row_whose_bytes_are_no_entry_is_named(changes, found):
    with pytest.raises(LogbookError, match=rf"row 1: .*({found})"):
        row_of(ENTRY, **changes).entry()


@given(st.data())
def test_every_changed_byte_of_a_row_is_found(data):
    column = data.draw(st.sampled_from(["data", "device_signature", "hash", "device", "previous"]))
    value = getattr(ENTRY.body if column in ("device", "previous") else ENTRY, column)
    raw = bytearray(value if isinstance(value, bytes) else value.encode())
    place = data.draw(st.integers(0, len(raw) - 1))
    raw[place] ^= data.draw(st.integers(1, 255))
    changed = bytes(raw) if isinstance(value, bytes) else raw.decode("utf-8", "replace")

    with pytest.raises(LogbookError):
        row_of(ENTRY, **{column: changed}).entry()


# --- damaged and strange files


def meddle(path, *statements):
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        for statement in statements:
            connection.execute(statement)


UNGUARD = (
    "PRAGMA ignore_check_constraints=ON",
    "PRAGMA writable_schema=ON",
    "CREATE TEMP TABLE kept AS SELECT * FROM sqlite_master WHERE type = 'trigger'",
    "DROP TRIGGER entries_are_not_changed",
    "DROP TRIGGER entries_are_not_deleted",
)
GUARD = ("INSERT INTO sqlite_master SELECT * FROM kept WHERE name != 'entries_are_not_replaced'",)


def meddle_unguarded(path, *statements):
    """Change rows as somebody would who takes the triggers away and puts them back."""
    meddle(path, *UNGUARD, *statements, *GUARD)


@pytest.mark.parametrize(
    "statement",
    [
        "UPDATE entries SET number = 7 WHERE received = 2",
        "DELETE FROM entries WHERE received = 5",
        "INSERT OR REPLACE INTO entries SELECT 9, hash, device, number, previous, data, "
        "device_signature, people_signatures FROM entries WHERE received = 1",
        "INSERT OR REPLACE INTO entries SELECT received, device, device, number, previous, data, "
        "device_signature, people_signatures FROM entries WHERE received = 1",
    ],
)
def test_the_file_itself_refuses_changes_by_other_programs(record, filled, statement):
    with pytest.raises(sqlite3.IntegrityError, match="entries are only added, never"):
        meddle(record, statement)

    assert filled == entries_in(record)


def test_text_that_is_not_utf8_comes_out_and_the_row_is_named(record, filled):
    meddle_unguarded(record, "UPDATE entries SET hash = CAST(x'ff' AS TEXT) WHERE received = 3")
    with Store(record) as store:
        rows = list(store.rows())

    assert 5 == len(rows)
    with pytest.raises(LogbookError, match="row 3 "):
        rows[2].entry()


def test_a_value_of_absurd_size_is_not_read(record, filled):
    meddle_unguarded(record, "UPDATE entries SET data = zeroblob(3000000) WHERE received = 4")
    with Store(record) as store:
        rows = store.rows()

        assert filled[:3] == [next(rows).entry() for _ in range(3)]
        with pytest.raises(LogbookError, match=r"more than 1048576 bytes \(after row 3\)"):
            next(rows)


def test_damage_by_other_programs_that_respects_the_pages_is_told(record, filled):
    meddle_unguarded(record, "UPDATE entries SET hash = 'short' WHERE received = 3")
    with Store(record) as store:
        assert any("CHECK constraint failed" in text for text in store.damage())


@pytest.mark.parametrize("place", [0, -1, -(2**63), 2**53, 2**63 - 1])
def test_a_row_at_a_place_that_no_program_gives_is_given_and_broken(record, filled, place):
    meddle_unguarded(record, f"UPDATE entries SET received = {place} WHERE received = 3")
    with Store(record) as store:
        rows = list(store.rows())

    assert sorted([1, 2, place, 4, 5]) == [row.received for row in rows]
    (odd,) = [row for row in rows if row.received == place]
    with pytest.raises(LogbookError, match=rf"row {place}: its place in the order received"):
        odd.entry()


def test_pages_that_lead_in_a_circle_are_read_once(record):
    with Store.create(record) as store:
        add_all(store, chain(60, text="long " * 100))
    with closing(sqlite3.connect(record)) as connection:
        (root,) = connection.execute(
            "SELECT rootpage FROM sqlite_master WHERE name = 'entries'"
        ).fetchone()
    data = bytearray(record.read_bytes())
    start = (root - 1) * 4096
    # An inner page of a table (sqlite.org/fileformat.html, 1.6): where each cell stands comes after
    # 12 bytes of header, and a cell begins with the number of its page. The third one leads to the
    # page of the first.
    assert 5 == data[start]
    cells = [int.from_bytes(data[start + 12 + 2 * n :][:2], "big") for n in range(3)]
    data[start + cells[2] : start + cells[2] + 4] = data[start + cells[0] : start + cells[0] + 4]
    record.write_bytes(data)
    with Store(record, read_only=True) as store:
        rows = store.rows()
        assert [1, 2, 3, 4, 5, 6] == [row.received for row in islice(rows, 6)]
        with pytest.raises(LogbookError, match=r"damaged: after row 6 comes row 1\b"):
            next(rows)
        assert store.damage()


def test_only_our_own_tables_are_looked_at_for_damage(record, filled):
    meddle(
        record,
        "PRAGMA ignore_check_constraints=ON",
        "CREATE TABLE birds (name TEXT CHECK (length(name) > 9))",
        "INSERT INTO birds VALUES ('owl')",
    )
    with Store(record) as store:
        assert [] == store.damage()
        assert ["birds"] == store.company()


def test_nothing_stands_beside_our_own_tables(record, filled):
    with Store(record) as store:
        assert [] == store.company()


def test_a_name_that_is_no_text_is_damage(record, filled):
    meddle(
        record,
        "PRAGMA writable_schema=ON",
        "UPDATE sqlite_master SET sql = 'CREATE nothing', name = CAST(x'ff' AS TEXT) "
        "WHERE name = 'entries_by_device'",
    )
    with pytest.raises(LogbookError, match=r"damaged: a text in it is no UTF-8"):
        Store(record)


def test_a_number_that_does_not_fit_is_damage(record, filled):
    def fail(sql):
        if sql.startswith("INSERT"):
            raise OverflowError("made up")

    with Store(record, connect=watched(fail)) as store:
        with pytest.raises(LogbookError, match="the logbook is damaged: made up"):
            add_all(store, chain(1, device="other"))
        assert filled == [row.entry() for row in store.rows()]


def test_what_sqlite_says_of_a_file_can_not_steer_the_screen(record, filled):
    def fail(sql):
        if sql.startswith("INSERT"):
            raise sqlite3.OperationalError("near \x1b[2J\u202egone" + "x" * 1000)

    with Store(record, connect=watched(fail)) as store:
        with pytest.raises(TeamFolderError, match=r"near .*gone") as caught:
            add_all(store, chain(1, device="other"))

    assert caught.value.found.isprintable()
    assert 300 > len(caught.value.found)


def test_more_marks_than_there_are_steps_cost_no_room(record, filled):
    meddle(
        record,
        "WITH RECURSIVE n(i) AS (SELECT 10 UNION ALL SELECT i + 1 FROM n WHERE i < 5000) "
        "INSERT INTO marks SELECT i, i || hex(zeroblob(500)) FROM n",
    )
    asked = []
    with pytest.raises(TeamFolderError, match="newer flightlog"):
        Store(record, connect=watched(asked.append))

    (marks,) = {sql for sql in asked if "FROM marks" in sql}
    rows = sql(record, marks)
    assert 1000 == len(rows)
    assert 100 >= max(len(text) for (text,) in rows)


def test_a_whole_file_has_no_damage(record, filled):
    with Store(record) as store:
        assert [] == store.damage()


def test_rubbish_in_any_page_is_told_and_never_a_crash(record, filled):
    whole, told = record.read_bytes(), 0
    rng = random.Random(3)
    pages = len(whole) // 4096
    for page in range(pages):
        broken = bytearray(whole)
        start = page * 4096 + (100 if page == 0 else 0)
        broken[start : start + 8] = rng.randbytes(8)
        record.write_bytes(broken)
        try:
            with Store(record) as store:
                damage = store.damage()
                assert damage or filled != [row.entry() for row in store.rows()]
        except (LogbookError, TeamFolderError):
            pass
        told += 1

    assert pages == told > 5


@pytest.mark.parametrize("options", [{}, {"read_only": True}])
@pytest.mark.parametrize(
    ("content", "found"),
    [
        (None, r"there is no logbook here\. If the team had a record, copy .* make no new one"),
        (b"Field notes of the hill farm\n" * 40, "is no logbook: it is no SQLite file"),
        (
            b"",
            r"record is empty: .* or it was lost\. If the team had a record, copy .* make no new",
        ),
    ],
)
def test_what_is_no_logbook_is_refused_in_words(record, options, content, found):
    if content is not None:
        record.write_bytes(content)
    with pytest.raises(TeamFolderError, match=found) as caught:
        Store(record, **options)

    assert str(record) == caught.value.where
    assert content == (record.read_bytes() if record.exists() else None)


def test_a_folder_is_no_logbook(tmp_path):
    with pytest.raises(TeamFolderError, match="where the logbook should be is no file"):
        Store(tmp_path)


def test_another_sqlite_file_is_no_logbook(record):
    meddle(record, "CREATE TABLE birds (name TEXT)")
    with pytest.raises(TeamFolderError, match="the SQLite file is no logbook"):
        Store(record)
    with pytest.raises(TeamFolderError, match="there is a logbook already"):
        Store.create(record)


def test_a_folder_that_is_missing_can_not_be_written(tmp_path):
    with pytest.raises(NotWritableError, match="the logbook can't be made here"):
        Store.create(tmp_path / "none" / "record.sqlite")


def test_a_path_with_signs_that_mean_something_in_addresses_is_a_path(tmp_path):
    folder = tmp_path / "50% #1 hill é"
    folder.mkdir()
    Store.create(folder / "record.sqlite").close()

    assert [folder] == list(tmp_path.iterdir())
    assert [] == entries_in(folder / "record.sqlite", read_only=True)


def test_an_sqlite_that_is_too_old_is_named(record, filled):
    class Old:
        def execute(self, sql, parameters=()):
            return self

        def fetchall(self):
            return [("3.36.0",)]

        def close(self):
            pass

    with pytest.raises(TeamFolderError, match=r"SQLite of this Python is 3\.36\.0; .* needs 3\.37"):
        Store(record, connect=lambda path, mode: Old())


# --- reading only


def image(folder):
    return {path.name: path.read_bytes() for path in folder.iterdir()}


def test_reading_only_writes_nothing(record, filled):
    before = image(record.parent)
    with Store(record, read_only=True) as store:
        assert filled == [row.entry() for row in store.rows()]
        assert [] == store.damage()
        with pytest.raises(NotWritableError, match="opened for reading only"):
            add_all(store, chain(1, device="other"))

    assert before == image(record.parent)


def test_a_file_that_only_opens_for_reading_can_still_not_be_written(record, filled):
    # As on a read-only disk, where SQLite quietly opens the file for reading.
    def connect(path, mode):
        return sqlite_connect(path, "ro")

    with Store(record, connect=connect) as store:
        assert filled == [row.entry() for row in store.rows()]
        with pytest.raises(NotWritableError, match="the file, its folder or the disk is read-only"):
            add_all(store, chain(1, device="other"))


def _may_do_everything():
    return os.name == "nt" or os.geteuid() == 0


@pytest.mark.skipif(_may_do_everything(), reason="file modes don't hold this user back")
def test_a_file_that_may_not_be_written_can_be_read(record, filled):
    record.chmod(0o444)
    with Store(record) as store:
        assert filled == [row.entry() for row in store.rows()]
        with pytest.raises(NotWritableError, match="is read-only"):
            add_all(store, chain(1, device="other"))


@pytest.mark.skipif(_may_do_everything(), reason="file modes don't hold this user back")
def test_a_folder_that_may_not_be_written_can_be_read(record, filled):
    record.parent.chmod(0o555)
    try:
        with Store(record) as store:
            assert filled == [row.entry() for row in store.rows()]
            with pytest.raises(NotWritableError, match="it can't be written: "):
                add_all(store, chain(1, device="other"))
    finally:
        record.parent.chmod(0o755)


@pytest.mark.skipif(_may_do_everything(), reason="file modes don't hold this user back")
def test_a_file_that_may_not_be_read_is_refused(record, filled):
    record.chmod(0o000)
    with pytest.raises(TeamFolderError, match="the logbook can't be opened"):
        Store(record)


def test_an_interrupted_write_is_not_undone_by_reading_only(record, filled):
    interrupted = interrupted_copy(record, record.parent / "interrupted")
    before = image(interrupted.parent)

    with pytest.raises(NotWritableError, match=r"last write was interrupted .* copy the whole"):
        Store(interrupted, read_only=True)
    assert before == image(interrupted.parent)

    assert filled == entries_in(interrupted)
    assert ["record.sqlite"] == list(image(interrupted.parent))
    assert filled == entries_in(interrupted, read_only=True)


@pytest.mark.parametrize("options", [{}, {"read_only": True}])
def test_a_made_up_journal_does_not_remove_a_file_elsewhere(record, filled, tmp_path, options):
    """SQLite removes the file that a journal of several files names (fileformat.html, 3)."""
    interrupted = interrupted_copy(record, tmp_path / "interrupted")
    mine = tmp_path / "mine.txt"
    mine.write_bytes(b"mine")
    name_another_file(interrupted, mine)
    before = image(interrupted.parent)
    with pytest.raises(TeamFolderError, match=r"names another file.*don't use what came"):
        Store(interrupted, **options)

    assert b"mine" == mine.read_bytes()
    assert before == image(interrupted.parent)
    # That it is no empty threat:
    sql(interrupted, "SELECT count(*) FROM sqlite_master")
    assert not mine.exists()


def sql(path, statement):
    with closing(sqlite3.connect(path, isolation_level=None)) as connection:
        return connection.execute(statement).fetchall()


def test_a_foreign_file_that_is_refused_keeps_its_way_of_writing(record):
    meddle(record, "CREATE TABLE birds (name TEXT)", "PRAGMA journal_mode=WAL")
    with pytest.raises(TeamFolderError, match="the SQLite file is no logbook"):
        Store(record)
    with pytest.raises(TeamFolderError, match="there is a logbook already"):
        Store.create(record)

    assert [("wal",)] == sql(record, "PRAGMA journal_mode")


def test_another_way_of_writing_is_put_back_when_opened_for_writing(record, filled):
    meddle(record, "PRAGMA journal_mode=WAL")
    with pytest.raises(NotWritableError, match="another way of writing"):
        Store(record, read_only=True)

    assert filled == entries_in(record)
    assert filled == entries_in(record, read_only=True)


def test_another_way_of_writing_that_is_in_use_is_not_put_back(record, filled):
    with closing(sqlite3.connect(record, isolation_level=None)) as other:
        other.execute("PRAGMA journal_mode=WAL")
        other.execute("SELECT count(*) FROM entries").fetchall()
        with pytest.raises(NotWritableError, match="another program"):
            Store(record, patience_s=0.02)


# --- locks, full disks, errors in words


def test_two_processes_lose_nothing(record):
    Store.create(record).close()
    commands = [
        [sys.executable, "-m", "tests.logbook.writer", "entries", str(record), name, "50"]
        for name in ("laptop", "stick")
    ]
    running = [subprocess.Popen(c, cwd=ROOT, stderr=subprocess.PIPE) for c in commands]
    ends = [process.communicate(timeout=60)[1] for process in running]

    assert [(0, b""), (0, b"")] == [
        (process.returncode, end) for process, end in zip(running, ends, strict=True)
    ]
    expected = {e.hash for name in ("laptop", "stick") for e in chain_of_writer(name)}
    with Store(record) as store:
        assert expected == {row.entry().hash for row in store.rows()}
        assert 100 == store.latest()
        assert [] == store.damage()


def chain_of_writer(name):
    maker = Maker()
    return [maker.add(name, "remark") for _ in range(50)]


def test_patience_with_another_writer_ends_in_words(record, filled):
    with Store(record) as one, Store(record, patience_s=0.02) as other, one.writing():
        with pytest.raises(NotWritableError, match=r"another program is writing \(waited 0\.02 s"):
            add_all(other, chain(1, device="other"))
        assert filled == [row.entry() for row in other.rows()]


def test_a_reader_that_does_not_end_holds_up_the_end_of_a_write_and_nothing_is_kept(record, filled):
    reading = sqlite3.connect(record, isolation_level=None)
    reading.execute("BEGIN")
    reading.execute("SELECT * FROM entries").fetchall()
    try:
        with Store(record, patience_s=0.02) as store:
            with pytest.raises(NotWritableError, match="another program is writing"):
                add_all(store, chain(1, device="other"))
            reading.execute("COMMIT")

            assert filled == [row.entry() for row in store.rows()]
            assert [True] == add_all(store, chain(1, device="other"))
    finally:
        reading.close()


def test_a_full_disk_is_named_and_keeps_what_was_there(record, filled):
    pages = record.stat().st_size // 4096

    def connect(path, mode):
        connection = sqlite_connect(path, mode)
        connection.execute(f"PRAGMA max_page_count={pages + 2}")
        return connection

    new = chain(8, device="other", text="long " * 400)
    with Store(record, connect=connect) as store:
        with pytest.raises(NotWritableError, match="the disk is full"):
            add_all(store, new)
        assert filled == [row.entry() for row in store.rows()]
        assert [] == store.damage()

    with Store(record) as store:
        assert [True] * 8 == add_all(store, new)


@pytest.mark.parametrize("room", range(0, 60_000, 4_000))
def test_a_disk_that_fills_up_anywhere_in_a_write_keeps_what_was_there(room):
    disk, path = Disk(), Path("/team/logbook/record.sqlite")
    entries = chain(12, text="long " * 400)
    with Store.create(path, connect=forgetful_connect(disk)) as store:
        add_all(store, entries[:2])
        disk.most_bytes = disk._used() + room
        with pytest.raises(NotWritableError, match="the disk is full"):
            add_all(store, entries[2:])
        assert entries[:2] == [row.entry() for row in store.rows()]

        disk.most_bytes = None
        assert 10 == sum(add_all(store, entries[2:]))
        assert [] == store.damage()


@pytest.mark.parametrize(
    ("code", "kind", "found"),
    [
        ("SQLITE_BUSY", NotWritableError, "another program is writing"),
        ("SQLITE_LOCKED", NotWritableError, "another program is writing"),
        ("SQLITE_FULL", NotWritableError, "the disk is full"),
        ("SQLITE_READONLY", NotWritableError, "is read-only"),
        ("SQLITE_READONLY_DBMOVED", NotWritableError, "is read-only"),
        ("SQLITE_READONLY_ROLLBACK", NotWritableError, "last write was interrupted"),
        ("SQLITE_PERM", NotWritableError, "is read-only"),
        ("SQLITE_CANTOPEN", NotWritableError, "no file can be made beside it"),
        ("SQLITE_IOERR", NotWritableError, r"the disk refuses \(made up\)"),
        ("SQLITE_IOERR_WRITE", NotWritableError, "the disk refuses"),
        ("SQLITE_IOERR_FSYNC", NotWritableError, "the disk refuses"),
        ("SQLITE_IOERR_READ", LogbookError, "the logbook is damaged: made up"),
        ("SQLITE_CORRUPT", LogbookError, "its pages don't fit together"),
        ("SQLITE_CORRUPT_INDEX", LogbookError, "its pages don't fit together"),
        ("SQLITE_TOOBIG", LogbookError, "a value of more than"),
        ("SQLITE_CONSTRAINT_TRIGGER", LogbookError, r"the logbook does not take it \(made up\)"),
        ("SQLITE_NOTADB", TeamFolderError, "it is no SQLite file"),
        ("SQLITE_INTERRUPT", TeamFolderError, "the logbook takes too long to read"),
        ("SQLITE_ERROR", TeamFolderError, r"the logbook can't be used \(made up\)"),
    ],
)
def test_each_error_of_sqlite_has_its_words(record, filled, code, kind, found):
    failing = False

    def fail(sql):
        if failing and sql.startswith("INSERT"):
            error = sqlite3.OperationalError("made up")
            error.sqlite_errorcode = getattr(sqlite3, code)
            raise error

    with Store(record, connect=watched(fail)) as store:
        failing = True
        with pytest.raises(kind, match=found) as caught:
            add_all(store, chain(1, device="other"))

        assert kind is type(caught.value)
        assert str(record) == caught.value.where
        assert filled == [row.entry() for row in store.rows()]
        failing = False
        assert [True] == add_all(store, chain(1, device="other"))
