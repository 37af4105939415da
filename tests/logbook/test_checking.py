from __future__ import annotations

import sqlite3
from contextlib import closing
from dataclasses import replace
from datetime import timedelta
from pathlib import Path

import pytest

from flightlog.errors import LogbookError, NotWritableError, TeamFolderError
from flightlog.logbook import store
from flightlog.logbook.attachments import AttachmentStore
from flightlog.logbook.checking import check, check_rows
from flightlog.logbook.codes import head_code
from flightlog.logbook.device import DeviceMemory
from flightlog.logbook.entry import ClaimedTime
from flightlog.logbook.layout import ATTACHMENTS, RECORD
from tests.logbook.made import NOON, Maker, rows_of, signed_entry
from tests.logbook.made_logbook import (
    PHOTO,
    PHOTO_ATTACHMENT,
    change_file,
    checked,
    made_logbook,
    stored,
    without,
)

ENTRIES = made_logbook()


# --- a folder


def test_a_whole_logbook_is_whole(tmp_path):
    report = check(stored(tmp_path / "logbook"))
    last = ENTRIES[-1]

    assert report.ok
    assert report.first_break is None
    assert () == report.breaks
    assert (50, 2, 2) == (report.entries, report.devices, report.persons)
    assert (head_code(last.body.number, last.hash),) == report.heads


def test_a_byte_changed_in_the_file_is_found_and_the_entry_named(tmp_path):
    folder = stored(tmp_path / "logbook")
    change_file(
        folder,
        "UPDATE entries SET data = CAST(replace(CAST(data AS TEXT), 'loose', 'tight') AS BLOB)"
        " WHERE received = 3",
    )
    report = check(folder)

    assert not report.ok
    assert 3 == report.first_break.received
    assert f"{ENTRIES[2].name} as stored" == report.first_break.name
    assert "the device's signature does not fit the bytes" in report.first_break.found
    assert "the person's signature does not fit the bytes" in report.first_break.found
    assert "its hash does not fit what is stored" in report.first_break.found


def test_a_row_deleted_from_the_file_is_found(tmp_path):
    folder = stored(tmp_path / "logbook")
    change_file(folder, "DELETE FROM entries WHERE received = 20")
    report = check(folder)
    follower = next(e for e in ENTRIES if e.body.previous == ENTRIES[19].hash)

    assert ENTRIES[19].name == report.first_break.name
    assert f"missing; {follower.name} follows it" == report.first_break.found


def test_a_damaged_page_is_a_break_and_what_is_before_it_is_checked(tmp_path):
    folder = stored(tmp_path / "logbook")
    data = bytearray((folder / RECORD).read_bytes())
    data[-4096:] = bytes([255]) * 4096
    (folder / RECORD).write_bytes(data)
    report = check(folder)

    assert not report.ok
    assert any("the file of the record" == one.name for one in report.breaks)
    assert 0 < report.entries


def test_a_record_without_entries_is_not_whole(tmp_path):
    report = check(stored(tmp_path / "logbook", []))

    assert not report.ok
    assert "it holds no entry" == report.first_break.found


def test_what_an_interrupted_write_left_is_undone_where_it_can_be(tmp_path, monkeypatch):
    folder = stored(tmp_path / "logbook")
    usual = store.Store

    def needs_writing(path: Path, *, read_only: bool = False, **more: bool) -> store.Store:
        if read_only:
            raise NotWritableError("its last write was interrupted")
        return usual(path, **more)

    monkeypatch.setattr(store, "Store", needs_writing)

    assert check(folder).ok


def change_form(folder: Path, *statements: str) -> None:
    """Change a record as somebody does who does not put back what he took away."""
    with closing(sqlite3.connect(folder / RECORD, isolation_level=None)) as connection:
        for statement in statements:
            connection.execute(statement)


GUARDS = ("entries_are_not_changed", "entries_are_not_deleted", "entries_are_not_replaced")
UNGUARDED = [f"DROP TRIGGER {name}" for name in GUARDS]


def test_a_record_without_its_triggers_is_broken_and_read_all_the_same(tmp_path):
    folder = stored(tmp_path / "logbook")
    change_form(folder, *UNGUARDED)
    before = (folder / RECORD).read_bytes()
    report = check(folder)

    assert 50 == report.entries
    assert 1 == len(report.breaks)
    assert "the file of the record" == report.first_break.name
    for name in GUARDS:
        assert f"'{name}' is missing" in report.first_break.found
    assert 2 == report.persons, "the entries are judged: they are whole"
    assert () == report.tips
    assert before == (folder / RECORD).read_bytes()


@pytest.mark.parametrize(
    "more",
    [
        (),
        ("CREATE TRIGGER spring AFTER INSERT ON entries BEGIN DELETE FROM entries; END",),
        ("CREATE INDEX more ON entries (data)", "DROP INDEX entries_by_device"),
        ("DROP TABLE marks",),
        ("PRAGMA journal_mode=WAL",),
    ],
)
def test_the_first_broken_entry_is_named_before_the_changed_form(tmp_path, more):
    folder = stored(tmp_path / "logbook")
    change_form(
        folder,
        *UNGUARDED,
        "UPDATE entries SET device_signature = zeroblob(64) WHERE received = 9",
        "DELETE FROM entries WHERE received = 20",
        *more,
    )
    report = check(folder)

    assert 9 == report.first_break.received
    assert f"{ENTRIES[8].name} as stored" == report.first_break.name
    assert ENTRIES[19].name == report.breaks[1].name
    assert report.breaks[-1].found.startswith("its tables are not as this program makes them")
    assert 48 == report.entries


def test_rows_are_read_from_the_table_and_not_from_an_index_of_somebody(tmp_path):
    """An index that lacks rows, and claims to be small, does not hide them."""
    folder = stored(tmp_path / "logbook")
    columns = "received, hash, device, number, previous, data, device_signature, people_signatures"
    change_form(
        folder,
        f"CREATE INDEX more ON entries ({columns}) WHERE received < 20",
        "ANALYZE",
        "UPDATE sqlite_stat1 SET stat = '50 1 1 1 1 1 1 1 1 sz=1' WHERE idx = 'more'",
        "PRAGMA writable_schema=ON",
        "UPDATE sqlite_master SET sql = replace(sql, ' WHERE received < 20', '') "
        "WHERE name = 'more'",
    )
    with closing(sqlite3.connect(folder / RECORD)) as connection:
        hidden = connection.execute(f"SELECT {columns} FROM entries ORDER BY received").fetchall()
    if 50 == len(hidden):
        pytest.skip("this SQLite would not have been misled")
    report = check(folder)

    assert 50 == report.entries
    assert all(one.received is None for one in report.breaks)
    assert "'more' was added" in report.breaks[0].found


def test_entries_in_a_table_of_another_form_are_not_read(tmp_path):
    folder = stored(tmp_path / "logbook")
    change_form(folder, "ALTER TABLE entries ADD COLUMN note TEXT")
    with pytest.raises(LogbookError, match="'entries' was changed") as caught:
        check(folder)

    assert 6 == caught.value.exit_code


def test_a_record_that_was_emptied_or_removed_says_to_fetch_another_copy(tmp_path):
    folder = stored(tmp_path / "logbook")
    (folder / RECORD).write_bytes(b"")
    with pytest.raises(TeamFolderError, match=r"record is empty: .*lost.*make no new one"):
        check(folder)
    (folder / RECORD).unlink()
    with pytest.raises(TeamFolderError, match=r"no logbook here\..*make no new one"):
        check(folder)


def test_what_a_good_check_found_is_remembered_and_an_older_copy_told(tmp_path):
    memory = DeviceMemory(tmp_path / "profile")
    report = check(stored(tmp_path / "logbook"), remembered=memory.remembered)
    memory.note_heads(report.team, report.tips)
    again = check(tmp_path / "logbook", remembered=memory.remembered)
    older = check(stored(tmp_path / "old", ENTRIES[:-3]), remembered=memory.remembered)

    assert again.ok
    assert "49 entries before it" in again.compared[0]
    assert not older.ok
    assert "are missing" in older.older


def test_a_folder_without_a_logbook_is_refused(tmp_path):
    with pytest.raises(TeamFolderError, match="there is no logbook here"):
        check(tmp_path)


@pytest.mark.parametrize(
    ("content", "found"),
    [
        (None, '"horn.jpg": the file is missing'),
        (b"x" * len(PHOTO), '"horn.jpg": '),
        (PHOTO + b"x", '"horn.jpg": '),
    ],
)
def test_an_attachment_that_is_missing_or_another_is_a_break(tmp_path, content, found):
    folder = stored(tmp_path / "logbook")
    path = AttachmentStore(folder / ATTACHMENTS).path(PHOTO_ATTACHMENT.sha256)
    path.unlink()
    if content is not None:
        path.write_bytes(content)
    report = check(folder)

    assert ENTRIES[2].name == report.first_break.name
    assert report.first_break.found.startswith(f"its attachment {found}")
    assert report.persons == 2, "the rest is judged all the same"


def test_nothing_is_written_and_progress_goes_up_to_the_end(tmp_path):
    folder = stored(tmp_path / "logbook")
    before = {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    told: list[tuple[float, str]] = []
    check(folder, progress=lambda done, what: told.append((done, what)))

    assert before == {p: p.read_bytes() for p in folder.rglob("*") if p.is_file()}
    assert sorted(told) == told
    assert (1.0, "done") == told[-1]


def test_without_heads_it_says_what_it_can_not_know():
    alone = checked(ENTRIES)
    without_files = check_rows(rows_of(ENTRIES))

    assert (
        "no head from elsewhere was given, and this laptop remembers none" in (alone.cannot_know[0])
    )
    assert any("whether what was said is true" in line for line in alone.cannot_know)
    assert any("whether the attachments" in line for line in without_files.cannot_know)


# --- what is flagged and noted


def test_a_signature_that_counts_for_nothing_is_a_flag_and_no_break():
    maker = Maker()
    maker.found()
    for number in range(3):
        maker.add("laptop", "remark", {"text": str(number)}, signers=[("stranger", "stated", "")])
    report = checked(maker.entries)

    assert report.ok
    assert 1 == len(report.flags)
    assert report.flags[0].startswith(f"{maker.entries[1].name}: the signature 'stated'")
    assert report.flags[0].endswith("the key belongs to nobody in this record (and 2 more entries)")


def test_a_contradiction_is_a_flag_and_no_break():
    maker = Maker()
    founding = maker.found()
    by = [("pilot", "released", "pilot")]
    permit = maker.add(
        "laptop", "made-up-leave", {"text": "x"}, signers=by, effect=("permits", "flight")
    )
    maker.add("tablet", "chain-start", {"reason": "new"}, seen=[permit])
    maker.add("laptop", "flight", {"text": "one"}, relations=[("spends", permit)])
    maker.add("tablet", "flight", {"text": "other"}, relations=[("spends", permit)])
    report = checked(maker.entries)

    assert founding.body.team == permit.body.team
    assert report.ok
    assert any("was spent 2 times" in line for line in report.flags)


def test_a_fork_is_a_break_until_two_persons_have_explained_it():
    maker = Maker()
    founding = maker.found()
    one = maker.add("laptop", "remark", {"text": "a"})
    other = maker.add("laptop", "remark", {"text": "b"}, after=founding)
    unexplained = checked(maker.entries)
    maker.add(
        "laptop",
        "remark",
        {"text": "The folder was copied to two laptops"},
        seen=[one],
        signers=[("pilot", "stated", ""), ("mechanic", "stated", "")],
        relations=[("explains", one), ("explains", other)],
    )
    explained = checked(maker.entries)

    assert (3, other.name) == (unexplained.first_break.received, unexplained.first_break.name)
    assert "a fork: device" in unexplained.first_break.found
    for branch in (one, other):
        assert f" --explains {head_code(2, branch.hash)[:7]}" in unexplained.first_break.found
    assert "logbook remark TEXT --by WHO --by WHO --explains" in unexplained.first_break.found
    assert explained.ok
    assert explained.notes[0].startswith("a fork that was explained: device")


def test_of_a_fork_into_very_many_branches_some_are_named():
    maker = Maker()
    founding = maker.found()
    for number in range(11):
        maker.add("laptop", "remark", {"text": str(number)}, after=founding)
    found = checked(maker.entries).first_break.found

    assert 8 == found.count("--explains")
    assert found.endswith(", and so for 3 more")


def test_a_founding_that_does_not_count_is_a_break():
    maker = Maker()
    founding = maker.found()
    body = replace(founding.body, signers=founding.body.signers[:1])
    alone = signed_entry("laptop", body, ["pilot"])
    report = check_rows(rows_of([alone]))

    assert not report.ok
    assert alone.name == report.first_break.name


def test_clocks_set_back_are_noted():
    maker = Maker()
    maker.found()
    maker.add("laptop", "remark", {"text": "a"}, minutes=100)
    body = maker.add("laptop", "remark", {"text": "b"}, minutes=40, keep=False).body
    honest = replace(body, time=ClaimedTime(body.time.utc, "laptop clock", 3600))
    silent = signed_entry("laptop", body)
    said = signed_entry("laptop", honest)
    first = maker.entries

    assert (f"{silent.name} is dated 1 h before the latest time of its chain, and says 0 s",) == (
        checked([*first, silent]).notes
    )
    assert (f"{said.name}: its clock was set back by 1 h",) == checked([*first, said]).notes
    assert () == checked(first).notes
    assert NOON + timedelta(minutes=40) == body.time.utc


def test_a_clock_that_is_behind_that_of_another_device_is_none_that_was_set_back():
    maker = Maker()
    founding = maker.found()
    ahead = maker.add("laptop", "remark", {"text": "a"}, minutes=100)
    maker.add("tablet", "chain-start", {"reason": "new"}, seen=[founding], minutes=5)
    maker.add("tablet", "remark", {"text": "b"}, seen=[ahead], minutes=7)

    assert () == checked(maker.entries).notes


def test_kinds_that_this_program_does_not_know_are_noted_once():
    maker = Maker()
    maker.found()
    for _ in range(3):
        maker.add("laptop", "made-up-kind")
    report = checked(maker.entries)

    assert (
        f"{maker.entries[1].name}: its kind is not known to this program; it is kept and shown "
        "(and 2 more entries)",
    ) == report.notes


def test_a_broken_record_is_not_judged_and_says_so():
    report = checked(without(ENTRIES, 10))

    assert "Whose signatures count was not worked out" in report.notes[-1]
    assert () == report.flags


def test_a_record_that_can_not_be_judged_is_broken():
    def judge(_order: object) -> None:
        raise LogbookError("there are more than 512 chains and branches of chains")

    report = check_rows(rows_of(ENTRIES), judge=judge)

    assert "the record" == report.first_break.name
    assert "more than 512 chains" in report.first_break.found
