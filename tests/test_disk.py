"""Files of ours where others can put links, pipes and huge files, and hold ours open."""

from __future__ import annotations

import errno
import os
import time
from pathlib import Path

import pytest

from flightlog import disk
from flightlog.disk import PART, is_link, own_folder, patiently, read_small, remove_old, write_whole

HEX = "0123456789abcdef"
DAY_S = 24 * 3600.0


def link(path, to):
    try:
        path.symlink_to(to, target_is_directory=to.is_dir())
    except OSError:
        pytest.skip("this user may not make links here")


def old(path, age_s=2 * DAY_S):
    then = time.time() - age_s
    os.utime(path, (then, then))
    return path


@pytest.fixture
def impatient(monkeypatch):
    monkeypatch.setattr(disk, "_WAITS_S", (0.0, 0.0))


# --- folders


def test_a_folder_of_ours_is_made_with_those_above_it(tmp_path):
    top = tmp_path / "team" / "tables"
    assert top / "decoded" / "9f" == own_folder(top, "decoded", "9f")
    assert top / "decoded" / "9f" == own_folder(top, "decoded", "9f")
    assert (top / "decoded" / "9f").is_dir()
    assert top == own_folder(top)


@pytest.mark.parametrize("place", ["tables", "tables/decoded", "tables/decoded/9f"])
@pytest.mark.parametrize("aim", ["elsewhere", "nowhere"])
def test_a_link_at_any_level_of_ours_is_refused(tmp_path, place, aim):
    (tmp_path / "elsewhere").mkdir()
    (tmp_path / place).parent.mkdir(parents=True, exist_ok=True)
    link(tmp_path / place, tmp_path / aim)
    with pytest.raises(OSError, match="a link stands where a folder of ours should be"):
        own_folder(tmp_path / "tables", "decoded", "9f")
    assert not list((tmp_path / "elsewhere").iterdir())
    assert not (tmp_path / "nowhere").exists()


def test_a_link_above_is_the_users_own(tmp_path):
    (tmp_path / "large disk").mkdir()
    link(tmp_path / "team", tmp_path / "large disk")
    own_folder(tmp_path / "team" / "tables", "season")
    assert (tmp_path / "large disk" / "tables" / "season").is_dir()


# --- reading


def test_a_file_of_the_largest_size_is_read_and_one_that_is_larger_is_not(tmp_path):
    path = tmp_path / "note"
    path.write_bytes(b"12345")
    assert b"12345" == read_small(path, 5)
    with pytest.raises(OSError, match="larger than what this program writes"):
        read_small(path, 4)
    path.write_bytes(b"")
    assert b"" == read_small(path, 0)


def test_what_is_missing_or_a_folder_is_no_file(tmp_path):
    with pytest.raises(FileNotFoundError):
        read_small(tmp_path / "none", 10)
    with pytest.raises(OSError, match="it is no file"):
        read_small(tmp_path, 10)


def test_a_link_is_not_followed(tmp_path):
    (tmp_path / "aim").write_bytes(b"mine")
    link(tmp_path / "note", tmp_path / "aim")
    with pytest.raises(OSError, match="it is a link"):
        read_small(tmp_path / "note", 10)


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="this system has no pipes with names")
def test_a_pipe_is_not_waited_for(tmp_path, monkeypatch):
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(OSError, match="it is no file"):
        read_small(tmp_path / "pipe", 10)
    # Nor one that took the place of a file just after it was looked at.
    plain = os.stat_result((0o100600, *[0] * 9))
    monkeypatch.setattr(Path, "lstat", lambda self: plain)
    with pytest.raises(OSError, match="it is no file"):
        read_small(tmp_path / "pipe", 10)


# --- writing


def test_a_file_is_written_whole_in_place_of_another(tmp_path):
    path = tmp_path / "note.json"
    for data in (b"first", b"second"):
        write_whole(path, data)
        assert data == path.read_bytes()
    assert [path] == list(tmp_path.iterdir())


def test_until_it_is_whole_the_file_of_before_stands(tmp_path, monkeypatch, impatient):
    path = tmp_path / "note.json"
    path.write_bytes(b"before")
    parts = []

    def refuse(self, target):
        parts.append(self.name)
        assert (b"after", b"before") == (self.read_bytes(), target.read_bytes())
        raise OSError(errno.EIO, "broken")

    monkeypatch.setattr(Path, "replace", refuse)
    with pytest.raises(OSError, match="broken"):
        write_whole(path, b"after")
    assert 1 == len(parts)
    assert PART.fullmatch(parts[0])
    assert b"before" == path.read_bytes()
    assert [path] == list(tmp_path.iterdir())


def test_a_link_in_place_of_a_file_is_replaced_and_its_aim_is_left(tmp_path):
    (tmp_path / "aim").write_bytes(b"mine")
    link(tmp_path / "note", tmp_path / "aim")
    write_whole(tmp_path / "note", b"ours")
    assert (b"mine", b"ours") == tuple((tmp_path / n).read_bytes() for n in ("aim", "note"))


def test_a_file_that_another_program_has_open_for_a_moment_is_replaced_after_it(
    tmp_path, monkeypatch, impatient
):
    replace, refused = Path.replace, []

    def busy(self, target):
        if len(refused) < 2:
            refused.append(self)
            raise PermissionError(errno.EACCES, "in use")
        return replace(self, target)

    monkeypatch.setattr(Path, "replace", busy)
    write_whole(tmp_path / "note", b"ours")
    assert b"ours" == (tmp_path / "note").read_bytes()
    assert 2 == len(refused)


def test_what_stays_open_is_told_and_nothing_else_is_tried_again(impatient):
    tried = []

    def step(error):
        tried.append(error)
        raise error

    with pytest.raises(PermissionError):
        patiently(lambda: step(PermissionError(errno.EACCES, "in use")))
    assert 3 == len(tried)
    with pytest.raises(FileExistsError):
        patiently(lambda: step(FileExistsError(errno.EEXIST, "there")))
    assert 4 == len(tried)


# --- removing


def test_only_what_is_old_and_has_a_name_of_ours_is_removed(tmp_path):
    for name in (f"{HEX}.part", f"{HEX[::-1]}.part", "thesis.part", f"{HEX}.parts", f"x{HEX}.part"):
        (tmp_path / name).write_bytes(b"half")
        if name != f"{HEX[::-1]}.part":
            old(tmp_path / name)
    folder = tmp_path / f"{'0' * 16}.part"
    folder.mkdir()
    (folder / "gps.parquet").write_bytes(b"half")
    old(folder)
    remove_old(tmp_path, PART, DAY_S)
    assert {f"{HEX[::-1]}.part", "thesis.part", f"{HEX}.parts", f"x{HEX}.part"} == {
        path.name for path in tmp_path.iterdir()
    }


def test_through_a_link_nothing_is_removed(tmp_path):
    work = tmp_path / "work"
    work.mkdir()
    (work / f"{HEX}.part").mkdir()
    (work / f"{HEX}.part" / "thesis.txt").write_bytes(b"mine")
    old(work / f"{HEX}.part")
    link(tmp_path / "decoded", work)
    (tmp_path / "own").mkdir()
    link(tmp_path / "own" / f"{HEX}.part", work / f"{HEX}.part")
    remove_old(tmp_path / "decoded", PART, DAY_S)
    remove_old(tmp_path / "own", PART, -DAY_S)
    assert (work / f"{HEX}.part" / "thesis.txt").is_file()
    assert is_link(tmp_path / "own" / f"{HEX}.part")


def test_a_folder_that_is_not_there_is_no_fault(tmp_path):
    remove_old(tmp_path / "none", PART, DAY_S)
