"""Notes of debriefs that are not entered yet."""

from __future__ import annotations

import io
import os
import time

import pytest

from flightlog.logbook.attachments import AttachmentStore
from flightlog.operations.made_debriefs import OLD_PART_S, OLD_S, MadeDebriefs

KEY, OTHER = "a" * 64, "b" * 64


@pytest.fixture
def store(tmp_path):
    return AttachmentStore(tmp_path / "attachments")


@pytest.fixture
def kept(store):
    return store.put(io.BytesIO(b"{}\n"), "flight.debrief.json")


@pytest.fixture
def work(tmp_path):
    return tmp_path / "work"


def old(path, age_s):
    then = time.time() - age_s
    os.utime(path, (then, then))


def test_a_debrief_that_was_made_is_found_by_its_key_until_it_is_forgotten(work, store, kept):
    MadeDebriefs(work).note(KEY, kept)
    assert kept == MadeDebriefs(work).find(KEY, store)
    assert MadeDebriefs(work).find(OTHER, store) is None
    MadeDebriefs(work).forget(KEY)
    assert MadeDebriefs(work).find(KEY, store) is None
    assert not list((work / "debriefs").iterdir())


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes with names")
def test_a_pipe_in_place_of_a_note_is_not_waited_for(work, store, kept):
    (work / "debriefs").mkdir(parents=True)
    os.mkfifo(work / "debriefs" / f"{KEY}.json")
    assert MadeDebriefs(work).find(KEY, store) is None
    MadeDebriefs(work).note(KEY, kept)
    assert kept == MadeDebriefs(work).find(KEY, store)


@pytest.mark.parametrize("content", [b"", b"[]", b"\xff", b"[" * 90_000, b"{}" + b" " * 1_000_000])
def test_junk_in_place_of_a_note_is_none(work, store, kept, content):
    MadeDebriefs(work).note(KEY, kept)
    (work / "debriefs" / f"{KEY}.json").write_bytes(content)
    assert MadeDebriefs(work).find(KEY, store) is None


def test_notes_that_nobody_asked_for_go_with_time_and_nothing_else_does(work, kept):
    folder = work / "debriefs"
    MadeDebriefs(work).note(KEY, kept)
    MadeDebriefs(work).note(OTHER, kept)
    for name in (f"{'0' * 16}.part", f"{'1' * 16}.part", "mine.json", "thesis.part"):
        (folder / name).write_bytes(b"{}")
        old(folder / name, 2 * OLD_S)
    old(folder / f"{KEY}.json", 1.1 * OLD_S)
    old(folder / f"{OTHER}.json", 0.9 * OLD_S)
    old(folder / f"{'1' * 16}.part", 0.9 * OLD_PART_S)
    MadeDebriefs(work).note("c" * 64, kept)
    assert {
        *(f"{OTHER}.json", f"{'c' * 64}.json"),
        *(f"{'1' * 16}.part", "mine.json", "thesis.part"),
    } == {path.name for path in folder.iterdir()}


def test_where_it_can_not_be_noted_nothing_is_raised(work, store, kept):
    work.write_bytes(b"a file stands where a folder should be")
    MadeDebriefs(work).note(KEY, kept)
    MadeDebriefs(work).forget(KEY)
    assert MadeDebriefs(work).find(KEY, store) is None
