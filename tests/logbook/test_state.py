"""One digest stands for all entries: it is the same for the same set, and for no other one."""

from __future__ import annotations

import sqlite3

import pytest

from flightlog.logbook.layout import RECORD
from flightlog.logbook.state import state_of, stored_state
from flightlog.logbook.store import Store
from tests.logbook.made import Maker


@pytest.fixture
def entries():
    maker = Maker()
    first = maker.found("laptop")
    maker.add("tablet", "chain-start", {"reason": "first write here"}, seen=[first])
    maker.add("laptop", "remark", {"text": "hatch sits"}, signers=[("pilot", "stated", "pilot")])
    return maker.entries


def stored(folder, entries):
    folder.mkdir()
    with Store.create(folder / RECORD) as store, store.writing() as writing:
        for entry in entries:
            writing.add(entry)
    return folder


def changed(folder, statement, *values):
    """Change the file as somebody's own program could."""
    database = sqlite3.connect(folder / RECORD)
    triggers = database.execute("SELECT name, sql FROM sqlite_schema WHERE type = 'trigger'")
    kept = triggers.fetchall()
    for name, _ in kept:
        database.execute(f"DROP TRIGGER {name}")
    database.execute(statement, values)
    for _, sql in kept:
        database.execute(sql)
    database.commit()
    database.close()
    return stored_state(folder)


def test_what_is_stored_has_the_state_of_its_entries_in_any_order(entries, tmp_path):
    first, second, third = entries

    one = stored_state(stored(tmp_path / "one", entries))
    other = stored_state(stored(tmp_path / "other", [first, third, second]))

    assert 64 == len(one)
    assert one == other == state_of(entries) == state_of(reversed(entries))


def test_one_entry_more_is_another_state(entries, tmp_path):
    assert state_of(entries[:2]) != state_of(entries)
    assert state_of(entries[:2]) == stored_state(stored(tmp_path / "one", entries[:2]))


@pytest.mark.parametrize(
    ("column", "value"),
    [
        ("data", b"{}"),
        ("device_signature", bytes(64)),
        ("people_signatures", bytes(64)),
        ("hash", "0" * 64),
        ("device", "0" * 64),
        ("previous", "0" * 64),
        ("number", 7),
    ],
)
def test_no_column_can_be_changed_without_another_state(entries, tmp_path, column, value):
    folder = stored(tmp_path / "one", entries)

    state = changed(folder, f"UPDATE entries SET {column} = ? WHERE received = 3", value)

    assert state != state_of(entries)


def test_without_a_record_there_is_no_state(tmp_path):
    (tmp_path / RECORD).write_bytes(b"no database at all" * 100)

    assert "" == stored_state(tmp_path)
    assert "" == stored_state(tmp_path / "nowhere")
