"""The decoded tables of a team: whole or not there, whoever writes them at the same time."""

from __future__ import annotations

import json
import multiprocessing
import os
import time
from pathlib import Path

import pytest

import flightlog
from flightlog.decoded import DecodedStore, files, store
from flightlog.decoded.store import LOG_SCHEMA, OLD_S
from flightlog.importers.registry import READING
from flightlog.resources import data_path
from tests.decoded.keeping import keep_often
from tests.decoded.same import assert_same
from tests.decoded.test_files import small

SMALL = data_path("sample_flights") / "calm_transmitter.csv"
LOG = "3a" * 32


def below(folder):
    return sorted(p.relative_to(folder).as_posix() for p in folder.rglob("*"))


@pytest.fixture
def tables(tmp_path):
    return DecodedStore(tmp_path / "tables")


@pytest.fixture
def name(tables):
    """Of tables that are kept and noted."""
    name = tables.keep(small())
    tables.note(LOG, name)
    return name


def index(tables):
    return tables.folder / "logs" / LOG[:2] / f"{LOG}.json"


def test_tables_are_found_by_their_name_and_by_the_log(tables, name):
    assert_same(small(), tables.take(name))
    assert name == tables.name_of(LOG)
    assert_same(small(), tables.of_log(LOG))
    assert [f"{name[:2]}/{name}"] == [
        p.relative_to(tables.folder / "decoded").as_posix()
        for p in (tables.folder / "decoded").glob("*/*")
    ]


def test_what_nobody_kept_is_not_there(tables):
    assert "" == tables.name_of(LOG)
    assert tables.of_log(LOG) is None
    assert tables.take("a" * 64) is None
    assert not tables.folder.exists()


@pytest.mark.parametrize("bad", ["", "..", "../" * 21 + "x", "A" * 64, "a" * 63, "a" * 64 + "\n"])
def test_a_name_that_is_no_hash_is_no_path(tables, bad):
    assert tables.take(bad) is None
    with pytest.raises(ValueError, match="no SHA-256"):
        tables.name_of(bad)
    with pytest.raises(ValueError, match="no SHA-256"):
        tables.note(bad, "a" * 64)


def test_the_same_tables_are_kept_once(tables, name):
    before = below(tables.folder)
    assert name == tables.keep(small())
    assert before == below(tables.folder)


def test_tables_that_were_damaged_are_kept_anew(tables, name):
    place = tables.path(name)
    (place / "gps.parquet").write_bytes(b"PAR1")
    (place / "stray").write_bytes(b"")
    assert tables.of_log(LOG) is None
    assert name == tables.keep(small())
    assert_same(small(), tables.of_log(LOG))
    assert not (place / "stray").exists()


def test_a_log_that_this_program_would_read_otherwise_is_read_again(tables, name, monkeypatch):
    monkeypatch.setattr(store, "READING", READING + 1)
    assert "" == tables.name_of(LOG)
    tables.note(LOG, name)
    assert name == tables.name_of(LOG)


def said(**values):
    body = {"schema": LOG_SCHEMA, "reading": READING, "tables": "a" * 64}
    return json.dumps({**body, **values}).encode()


HOSTILE = {
    "empty": b"",
    "no UTF-8": b"\xff\xfe{}",
    "nested": b"[" * 9_000,
    "nested tables": b'{"tables":' * 1500,
    "a list": b"[]",
    "a text": b'"' + b"a" * 64 + b'"',
    "null": b"null",
    "another schema": said(schema="flightlog.decoded-log/2"),
    "a schema that is a list": said(schema=[LOG_SCHEMA]),
    "no tables": said(tables=None),
    "tables that are a number": said(tables=5),
    "tables that are a list": said(tables=["a" * 64]),
    "a path": said(tables="../../../../etc"),
    "a path of the right length": said(tables="../" * 21 + "a"),
    "a drive": said(tables="C:\\" + "a" * 61),
    "large letters": said(tables="A" * 64),
    "a line too much": said(tables="a" * 64 + "\n"),
    "another reading": said(reading=READING + 1),
    "a reading that is a text": said(reading=str(READING)),
    "a number without end": b'{"reading": ' + b"9" * 9_000 + b"}",
    "longer than any": said() + b" " * 20_000 + b"x",
}


@pytest.mark.parametrize("content", HOSTILE.values(), ids=HOSTILE)
def test_a_hostile_note_of_a_log_is_none(tables, name, content):
    index(tables).write_bytes(said())
    assert "a" * 64 == tables.name_of(LOG)  # else nothing is shown below
    index(tables).write_bytes(content)
    assert "" == tables.name_of(LOG)
    assert tables.of_log(LOG) is None
    tables.note(LOG, name)
    assert name == tables.name_of(LOG)


def test_of_a_huge_note_no_more_is_read_than_one_has(tables, name):
    with index(tables).open("wb") as file:
        file.seek(1 << 40)  # a file with a hole: a terabyte that takes no room
        try:
            file.write(b"x")
        except OSError:
            pytest.skip("this file system has no such files")
    assert "" == tables.name_of(LOG)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes with names")
def test_a_pipe_in_place_of_a_note_is_not_waited_for(tables, name):
    index(tables).unlink()
    os.mkfifo(index(tables))
    assert "" == tables.name_of(LOG)


@pytest.mark.parametrize("blocked", ["tables", "tables/decoded", "tables/logs"])
def test_where_nothing_can_be_written_nothing_is_kept_and_nothing_raised(tmp_path, blocked):
    tables = DecodedStore(tmp_path / "tables")
    place = tmp_path / blocked
    place.parent.mkdir(exist_ok=True)
    place.write_bytes(b"a file stands where a folder should be")
    name = tables.keep(small())
    tables.note(LOG, name or "a" * 64)
    assert (blocked == "tables/logs") == bool(name)
    assert tables.of_log(LOG) is None
    assert not [p for p in below(tmp_path) if p.endswith(".part")]
    assert place.is_file()


def test_a_disk_that_is_full_leaves_nothing_behind(tables, monkeypatch):
    def full(recording, folder):
        (folder / "gps.parquet").write_bytes(bytes(1000))
        raise OSError(28, "No space left on device")

    monkeypatch.setattr(files, "write", full)
    assert "" == tables.keep(small())
    assert ["decoded"] == below(tables.folder)


@pytest.mark.parametrize("error", [KeyboardInterrupt, MemoryError, ValueError])
def test_after_an_exception_nothing_is_left_behind(tables, monkeypatch, error):
    write, replace = files.write, Path.replace

    def keeping(recording, folder):
        write(recording, folder)
        raise error

    def replacing(self, target):
        assert self.is_file()
        raise error

    monkeypatch.setattr(files, "write", keeping)
    with pytest.raises(error):
        tables.keep(small())
    monkeypatch.setattr(Path, "replace", replacing)
    with pytest.raises(error):
        tables.note(LOG, "a" * 64)
    monkeypatch.setattr(Path, "replace", replace)
    assert ["decoded", "logs", f"logs/{LOG[:2]}"] == below(tables.folder)


def test_what_a_killed_process_left_is_removed_after_a_day_and_not_before(tables):
    parts = [tables.folder / "decoded" / f"{n}{'0' * 15}.part" for n in (1, 2)]
    for part, age in zip(parts, (0.9 * OLD_S, 1.1 * OLD_S), strict=True):
        part.mkdir(parents=True)
        (part / "gps.parquet").write_bytes(b"half")
        then = time.time() - age
        os.utime(part, (then, then))
    name = tables.keep(small())
    assert [True, False] == [part.exists() for part in parts]
    assert tables.take(name) is not None


def link(path, to):
    path.parent.mkdir(parents=True, exist_ok=True)
    try:
        path.symlink_to(to, target_is_directory=True)
    except OSError:
        pytest.skip("this user may not make links here")


@pytest.fixture
def elsewhere(tmp_path):
    """Somebody's folder, with what looks like ours and is old."""
    elsewhere = tmp_path / "elsewhere"
    for folder in ("", "decoded", "logs", f"{'0' * 16}.part", "decoded/work.part", "work.part"):
        (elsewhere / folder).mkdir(parents=True, exist_ok=True)
        (elsewhere / folder / "thesis.part").write_bytes(b"mine")
    (elsewhere / "decoded" / f"{'0' * 16}.part").mkdir()
    for path in elsewhere.rglob("*"):
        os.utime(path, (1000, 1000))
    return elsewhere


@pytest.mark.parametrize("place", ["", "decoded", "decoded/xx"])
def test_tables_are_not_kept_through_a_link_and_nothing_is_removed_there(tables, elsewhere, place):
    kept = DecodedStore(elsewhere.parent / "other").keep(small())
    place = tables.folder / place.replace("xx", kept[:2])
    before = below(elsewhere)
    link(place, elsewhere)
    assert "" == tables.keep(small())
    assert before == below(elsewhere)
    assert place.is_symlink()


def test_a_link_in_place_of_tables_is_not_what_was_kept(tables, elsewhere):
    other = DecodedStore(elsewhere.parent / "other")
    name = other.keep(small())
    link(tables.path(name), other.path(name))
    assert "" == tables.keep(small())
    assert_same(small(), other.take(name))


@pytest.mark.parametrize("place", ["", "logs", f"logs/{LOG[:2]}"])
def test_nothing_is_noted_through_a_link(tables, elsewhere, place):
    before = below(elsewhere)
    link(tables.folder / place, elsewhere)
    tables.note(LOG, "a" * 64)
    assert before == below(elsewhere)
    assert "" == tables.name_of(LOG)


def test_only_folders_with_names_of_ours_are_removed(tables, name):
    decoded = tables.folder / "decoded"
    for folder in ("work.part", f"{'0' * 16}.part"):
        (decoded / folder).mkdir()
        os.utime(decoded / folder, (1000, 1000))
    tables.keep(small())
    assert ["work.part"] == [path.name for path in decoded.glob("*.part")]


def test_notes_that_were_never_finished_are_removed_after_a_day(tables, name):
    parts = [index(tables).with_name(f"{n}{'0' * 15}.part") for n in (1, 2)]
    for part, age in zip(parts, (0.9 * OLD_S, 1.1 * OLD_S), strict=True):
        part.write_bytes(b"half")
        os.utime(part, (time.time() - age,) * 2)
    tables.note(LOG, name)
    assert [True, False] == [part.exists() for part in parts]


def test_a_folder_that_a_searching_program_has_open_for_a_moment_gets_its_name(tables, monkeypatch):
    rename, refused = Path.rename, []

    def busy(self, target):
        if not refused:
            refused.append(target)
            raise PermissionError(13, "in use")
        return rename(self, target)

    monkeypatch.setattr(Path, "rename", busy)
    name = tables.keep(small())
    assert refused == [tables.path(name)]
    assert_same(small(), tables.take(name))


def test_tables_that_are_larger_than_their_log_gives_are_not_read(tables, name, monkeypatch):
    assert_same(small(), tables.take(name, 10))
    monkeypatch.setattr(files, "FEWEST_CELLS", 0)
    assert tables.take(name, 10) is None
    assert_same(small(), tables.take(name, 1000))


def test_who_was_slower_takes_what_another_process_kept_meanwhile(tables, monkeypatch):
    write = files.write

    def meanwhile(recording, folder):
        monkeypatch.setattr(files, "write", write)
        other = tables.keep(recording)
        assert write(recording, folder) == other
        monkeypatch.setattr(Path, "exists", lambda self: False)  # looked for just before
        return other

    monkeypatch.setattr(files, "write", meanwhile)
    name = tables.keep(small())
    monkeypatch.undo()
    assert_same(small(), tables.take(name))
    assert 1 == len(list((tables.folder / "decoded").iterdir()))


def test_two_processes_keep_the_same_tables_at_the_same_time(tables):
    spawn = multiprocessing.get_context("spawn")
    together = spawn.Barrier(2)
    ends = [spawn.Pipe(duplex=False) for _ in range(2)]
    both = [
        spawn.Process(target=keep_often, args=(tables.folder, SMALL, 20, together, end))
        for _, end in ends
    ]
    for process in both:
        process.start()
    said = [end.recv() for end, _ in ends]
    for process, pair in zip(both, ends, strict=True):
        process.join()
        for end in pair:
            end.close()
        process.close()
    (name,) = {*said[0], *said[1]}
    assert_same(flightlog.read(SMALL), tables.take(name))
    assert [name[:2]] == [p.name for p in (tables.folder / "decoded").iterdir()]
