from __future__ import annotations

import errno
import json
import os
import shutil
from pathlib import Path

import pytest

from flightlog.errors import (
    LogbookError,
    NotWritableError,
    RefusedError,
    TeamFolderError,
)
from flightlog.logbook.attachments import Files
from flightlog.logbook.book import Draft, Logbook
from flightlog.logbook.checking import check
from flightlog.logbook.device import DeviceMemory
from flightlog.team.copying import (
    complete,
    copied_lines,
    copy_draft,
    copy_line,
    copy_team,
    last_copy,
)
from flightlog.team.folder import TeamFolder
from flightlog.team.ledger import Ledger
from tests.logbook.interrupted import interrupted_copy
from tests.logbook.teams import Laptop, remark, signed


@pytest.fixture
def laptop(tmp_path):
    """A laptop with a team folder: a record of a few entries, a photo, files of the team."""
    made = Laptop(tmp_path / "one")
    TeamFolder.create(made.team, "Hill farm")
    (made.team / "aircraft").mkdir(exist_ok=True)
    (made.team / "aircraft" / "pannier.toml").write_text("id = 'pannier'\n", encoding="utf-8")
    with made.found() as book:
        add(book, made, "wing glued", photo=b"a photo")
    (made.logbook / "names.json").write_text("{}", encoding="utf-8")
    return made


def add(book: Logbook, laptop: Laptop, text: str, photo: bytes = b"") -> None:
    attached = []
    if photo:
        path = laptop.root / f"{text}.jpg"
        path.write_bytes(photo)
        attached = [book.attach(path)]
    signed(book, remark(text, "pilot", attachments=attached), ["pilot"])


def more(laptop: Laptop, text: str, photo: bytes = b"") -> None:
    with laptop.open() as book:
        add(book, laptop, text, photo)


def copied(laptop: Laptop, to: Path, **options):
    return copy_team(TeamFolder.read(laptop.team), to, **options)


def copied_and_told(laptop: Laptop, to: Path):
    """Copy, and add the entry about it here and there, as the command does."""
    done = copied(laptop, to)
    with laptop.open() as book:
        entry = book.append(copy_draft(done))
        assert "" == complete(done, book.order, entry)
    return entry


def content(folder: Path) -> dict[str, bytes]:
    """All files of a folder but the record, whose pages may differ; of that its entries."""
    files = {
        path.relative_to(folder).as_posix(): path.read_bytes()
        for path in folder.rglob("*")
        if path.is_file() and "record.sqlite" not in path.name
    }
    return {**files, "entries": json.dumps(hashes(folder)).encode()}


def hashes(folder: Path) -> list[str]:
    from flightlog.logbook.checking import read_rows

    return [row.hash for row in read_rows(folder / "logbook")[0]]


# --- the first copy


def test_a_copy_holds_all_and_is_whole(laptop, tmp_path):
    done = copied(laptop, tmp_path / "copy")

    assert content(laptop.team) == content(tmp_path / "copy")
    assert check(tmp_path / "copy" / "logbook").ok
    assert 2 == len(done.entries)
    assert len(content(laptop.team)) == done.files == done.written
    assert "read back" in copied_lines(done)[0]


def test_tables_that_are_made_anew_are_left_out_and_that_is_said(laptop, tmp_path):
    before = content(laptop.team)
    season = laptop.team / "tables" / "season"
    season.mkdir(parents=True)
    (season / "flights.parquet").write_bytes(b"rows")
    inner = laptop.team / "aircraft" / "tables"
    inner.mkdir()
    (inner / "polar.csv").write_text("1,2\n", encoding="utf-8")

    done = copied(laptop, tmp_path / "copy")
    (season / "flights.parquet").write_bytes(b"other rows")
    again = copied(laptop, tmp_path / "copy")

    expected = before | {"aircraft/tables/polar.csv": b"1,2\n"}
    assert expected == content(tmp_path / "copy")
    for one in (done, again):
        assert ["Left out, since it is made anew from the record: tables/"] == list(one.notes)


@pytest.mark.parametrize("kind", ["file", "link"])
def test_whatever_stands_where_tables_would_be_breaks_no_copy(laptop, tmp_path, kind):
    place = laptop.team / "tables"
    if kind == "file":
        place.write_text("in the way", encoding="utf-8")
    else:
        place.symlink_to(tmp_path / "nowhere", target_is_directory=True)

    copied(laptop, tmp_path / "copy")

    assert not (tmp_path / "copy" / "tables").exists()
    assert check(tmp_path / "copy" / "logbook").ok


def test_into_a_stick_with_other_things_goes_a_folder_of_its_own(laptop, tmp_path):
    stick = tmp_path / "stick"
    stick.mkdir()
    (stick / "holiday.jpg").write_bytes(b"x")

    done = copied(laptop, stick)

    assert (stick / "team").samefile(done.place)
    assert {"holiday.jpg", "team"} == {p.name for p in stick.iterdir()}


def test_an_empty_folder_is_used(laptop, tmp_path):
    (tmp_path / "copy").mkdir()

    assert (tmp_path / "copy").samefile(copied(laptop, tmp_path / "copy").place)


def test_an_empty_team_folder_name_or_a_file_is_not_written_over(laptop, tmp_path):
    (tmp_path / "copy" / "team").mkdir(parents=True)
    (tmp_path / "copy" / "team" / "letters.txt").write_text("kept", encoding="utf-8")
    (tmp_path / "file").write_text("kept", encoding="utf-8")

    for to in (tmp_path / "copy", tmp_path / "file"):
        with pytest.raises(NotWritableError):
            copied(laptop, to)
    assert ["letters.txt"] == [p.name for p in (tmp_path / "copy" / "team").iterdir()]


@pytest.mark.parametrize("to", [".", "..", "backup", "logbook/backup"])
def test_the_team_folder_is_not_copied_into_or_around_itself(laptop, to):
    before = content(laptop.team)

    with pytest.raises(NotWritableError, match="team folder itself"):
        copied(laptop, laptop.team / to)
    assert before == content(laptop.team)


@pytest.mark.skipif(os.name == "nt", reason="making links takes rights there")
def test_a_link_to_the_team_folder_is_the_team_folder(laptop, tmp_path):
    (tmp_path / "elsewhere").symlink_to(laptop.team)

    with pytest.raises(NotWritableError, match="team folder itself"):
        copied(laptop, tmp_path / "elsewhere" / "backup")


def test_nothing_goes_into_the_folder_of_another_team(laptop, tmp_path):
    TeamFolder.create(tmp_path / "others", "Valley farm")

    with pytest.raises(NotWritableError, match="within the team folder"):
        copied(laptop, tmp_path / "others" / "copy")


@pytest.mark.skipif(os.name == "nt", reason="making links takes rights there")
def test_links_are_left_out_and_named(laptop, tmp_path):
    (laptop.team / "secrets").symlink_to(tmp_path)

    done = copied(laptop, tmp_path / "copy")

    assert "secrets" in " ".join(done.notes)
    assert not (tmp_path / "copy" / "secrets").exists()


# --- later copies


def test_a_later_copy_writes_only_what_is_new(laptop, tmp_path):
    copied(laptop, tmp_path / "copy")
    photo = next((tmp_path / "copy" / "logbook" / "attachments").glob("??/*"))
    untouched = photo.stat().st_mtime_ns
    assert 0 == copied(laptop, tmp_path / "copy").written

    more(laptop, "tail glued", b"another photo")
    (laptop.team / "aircraft" / "pannier.toml").write_text("id = 'new'\n", encoding="utf-8")
    done = copied(laptop, tmp_path / "copy")

    # The new photo, the changed file, the record.
    assert 3 == done.written
    assert untouched == photo.stat().st_mtime_ns
    assert content(laptop.team) == content(tmp_path / "copy")
    assert check(tmp_path / "copy" / "logbook").ok


def test_a_photo_that_was_damaged_in_the_copy_is_copied_again(laptop, tmp_path):
    copied(laptop, tmp_path / "copy")
    photo = next((tmp_path / "copy" / "logbook" / "attachments").glob("??/*"))
    photo.write_bytes(b"A photo")  # of the same length

    copied(laptop, tmp_path / "copy")

    assert b"a photo" == photo.read_bytes()


def test_what_is_no_longer_here_stays_in_the_copy_and_is_told(laptop, tmp_path):
    copied(laptop, tmp_path / "copy")
    (laptop.team / "aircraft" / "pannier.toml").unlink()

    done = copied(laptop, tmp_path / "copy")

    assert "aircraft/pannier.toml" in " ".join(done.notes)
    assert (tmp_path / "copy" / "aircraft" / "pannier.toml").is_file()


def test_an_interrupted_write_in_the_copy_does_not_spoil_the_record_put_in_its_place(
    laptop, tmp_path
):
    copied(laptop, tmp_path / "copy")
    record = tmp_path / "copy" / "logbook" / "record.sqlite"
    broken = interrupted_copy(record, tmp_path / "broken")
    for path in broken.parent.iterdir():
        shutil.copy(path, record.parent / path.name)
    assert (record.parent / "record.sqlite-journal").is_file()
    more(laptop, "tail glued")

    copied(laptop, tmp_path / "copy")

    assert check(tmp_path / "copy" / "logbook").ok
    assert hashes(laptop.team) == hashes(tmp_path / "copy")


# --- refused


def test_a_copy_that_holds_what_we_lack_is_not_written_over(laptop, tmp_path):
    (tmp_path / "two").mkdir()
    copied(laptop, tmp_path / "two" / "team")
    other = Laptop(tmp_path / "two")
    more(other, "entered at the stick")
    before = content(other.team)
    more(laptop, "entered here")

    with pytest.raises(RefusedError, match="Merge first"):
        copied(laptop, other.team)
    assert before == content(other.team)


def test_another_teams_record_is_not_written_over(laptop, tmp_path):
    other = Laptop(tmp_path / "two")
    TeamFolder.create(other.team, "Valley farm")
    other.found().close()
    before = content(other.team)

    with pytest.raises(TeamFolderError, match="another team"):
        copied(laptop, other.team)
    assert before == content(other.team)


def test_a_broken_record_is_not_copied_over_a_whole_one(laptop, tmp_path):
    copied(laptop, tmp_path / "copy")
    before = content(tmp_path / "copy")
    record = laptop.logbook / "record.sqlite"
    data = record.read_bytes()
    record.write_bytes(data.replace(b"wing glued", b"wing gluEd"))

    with pytest.raises(LogbookError, match="record of this folder is broken"):
        copied(laptop, tmp_path / "copy")
    assert before == content(tmp_path / "copy")


def test_a_missing_attachment_is_told_and_nothing_is_said_to_be_copied(laptop, tmp_path):
    next((laptop.logbook / "attachments").glob("??/*")).unlink()

    done = copied(laptop, tmp_path / "copy")

    assert ("wing glued.jpg: the file is missing",) == done.missing
    assert "missing" in " ".join(copied_lines(done))
    with pytest.raises(RefusedError):
        copy_draft(done)


def test_an_attachment_that_only_the_copy_has_stays_there(laptop, tmp_path):
    copied(laptop, tmp_path / "copy")
    next((laptop.logbook / "attachments").glob("??/*")).unlink()

    assert () == copied(laptop, tmp_path / "copy").missing
    assert check(tmp_path / "copy" / "logbook").ok


@pytest.mark.skipif(os.name == "nt", reason="making links takes rights there")
def test_a_link_in_the_copy_is_not_followed(laptop, tmp_path):
    copied(laptop, tmp_path / "copy")
    outside = tmp_path / "outside"
    outside.mkdir()
    shutil.rmtree(tmp_path / "copy" / "aircraft")
    (tmp_path / "copy" / "aircraft").symlink_to(outside)
    (laptop.team / "aircraft" / "pannier.toml").write_text("id = 'new'\n", encoding="utf-8")

    with pytest.raises(NotWritableError, match="a link stands"):
        copied(laptop, tmp_path / "copy")
    assert not list(outside.iterdir())


# --- disks that refuse


class BadDisk(Files):
    """Refuses its n-th change, and all later ones where it stays gone."""

    def __init__(self, n: int, number: int, *, gone: bool) -> None:
        self.left = n
        self.number = number
        self.gone = gone

    def _step(self) -> None:
        self.left -= 1
        if self.left == 0 or (self.left < 0 and self.gone):
            raise OSError(self.number, "made for a test")

    def make_folder(self, folder):
        self._step()
        super().make_folder(folder)

    def create(self, path):
        self._step()
        return super().create(path)

    def flush(self, file):
        self._step()
        super().flush(file)

    def rename(self, old, new):
        self._step()
        super().rename(old, new)

    def flush_folder(self, folder):
        self._step()
        super().flush_folder(folder)


def steps(laptop, to, **options) -> int:
    """Count the changes of a copy."""
    disk = BadDisk(10**6, 0, **options)
    copied(laptop, to, files=disk)
    return 10**6 - disk.left


@pytest.mark.parametrize("gone", [False, True])
def test_a_disk_that_fails_at_any_step_leaves_the_earlier_copy_whole(laptop, tmp_path, gone):
    copied(laptop, tmp_path / "first")
    more(laptop, "tail glued", b"another photo")
    (laptop.team / "aircraft" / "pannier.toml").write_text("id = 'new'\n", encoding="utf-8")
    (laptop.team / "team.toml").write_text(
        (laptop.team / "team.toml").read_text("utf-8") + "\n", "utf-8"
    )
    ours, old = hashes(laptop.team), hashes(tmp_path / "first")
    shutil.copytree(tmp_path / "first", tmp_path / "trial")
    most = steps(laptop, tmp_path / "trial", gone=gone)
    before = content(tmp_path / "first")

    assert most > 12
    for n in range(1, most + 1):
        copy = tmp_path / f"copy {n}"
        shutil.copytree(tmp_path / "first", copy)
        with pytest.raises(NotWritableError, match="disk is full"):
            copied(laptop, copy, files=BadDisk(n, errno.ENOSPC, gone=gone))
        assert check(copy / "logbook").ok, n
        assert hashes(copy) in (old, ours), n
        if not gone and hashes(copy) == old:
            named = {k: v for k, v in content(copy).items() if "attachments" not in k}
            assert {k: v for k, v in before.items() if "attachments" not in k} == named, n
        assert not list(copy.glob(".copying-*")) or gone


def test_a_first_copy_that_fails_leaves_nothing_under_its_name(laptop, tmp_path):
    most = steps(laptop, tmp_path / "trial", gone=False)

    for n in range(1, most + 1):
        place = tmp_path / f"stick {n}"
        place.mkdir()
        with pytest.raises(NotWritableError, match=r"read-only|can.t be written"):
            copied(laptop, place / "copy", files=BadDisk(n, errno.EROFS, gone=False))
        # Only at the last step, after the renaming, a whole copy is there already.
        assert [] == list(place.iterdir()) or (n == most and check(place / "copy/logbook").ok)


class LyingDisk(Files):
    """Says that it wrote, and wrote something else."""

    def flush(self, file):
        super().flush(file)
        file.seek(0)
        file.write(b"?")


def test_what_is_not_read_back_as_it_was_written_never_gets_its_name(laptop, tmp_path):
    copied(laptop, tmp_path / "copy")
    before = content(tmp_path / "copy")
    (laptop.team / "aircraft" / "pannier.toml").write_text("id = 'new'\n", encoding="utf-8")

    with pytest.raises(NotWritableError, match=r"pannier\.toml is not what was written"):
        copied(laptop, tmp_path / "copy", files=LyingDisk())
    assert before == content(tmp_path / "copy")


def test_what_an_ended_copy_left_behind_is_removed_when_it_is_old(laptop, tmp_path):
    copied(laptop, tmp_path / "copy")
    for name, age_s in (("old", 7200), ("young", 60)):
        left = tmp_path / "copy" / f".copying-{name}"
        left.mkdir()
        (left / "team.toml").write_text("half", encoding="utf-8")
        then = (left / "team.toml").stat().st_mtime - age_s
        for path in (left / "team.toml", left):
            os.utime(path, (then, then))

    copied(laptop, tmp_path / "copy")

    assert [".copying-young"] == [p.name for p in (tmp_path / "copy").glob(".copying-*")]


# --- what the record says of it


def test_the_age_of_the_last_copy_counts_what_came_since(laptop, tmp_path):
    with laptop.open() as book:
        never = Ledger(book)
        assert (None, 2) == last_copy(never)
        assert "NONE YET" in copy_line(never)
    entry = copied_and_told(laptop, tmp_path / "copy")
    with laptop.open() as book:
        assert (entry, 0) == last_copy(Ledger(book))
        add(book, laptop, "tail glued")
        add(book, laptop, "tail sanded")

        assert (entry, 2) == last_copy(Ledger(book))
        # The watch of the tests goes on by a minute with each look.
        assert "min ago, 2 entries since" in copy_line(Ledger(book))


def test_a_chain_that_begins_with_the_copy_goes_along_and_is_not_counted(laptop, tmp_path):
    copied(laptop, tmp_path / "copy")
    other = Laptop(tmp_path / "two")
    shutil.copytree(tmp_path / "copy", other.team)

    entry = copied_and_told(other, tmp_path / "copy")

    assert hashes(other.team) == hashes(tmp_path / "copy")
    with other.open() as book:
        assert (entry, 0) == last_copy(Ledger(book))


def test_what_was_entered_while_it_was_copied_is_not_taken_for_copied(laptop, tmp_path):
    done = copied(laptop, tmp_path / "copy")
    more(laptop, "meanwhile", b"a photo of meanwhile")
    with laptop.open() as book:
        entry = book.append(copy_draft(done))

        assert "copy once more" in complete(done, book.order, entry)
        assert (entry, 1) == last_copy(Ledger(book))
    assert check(tmp_path / "copy" / "logbook").ok


def test_a_copy_that_is_gone_before_it_is_told_of_is_no_error(laptop, tmp_path):
    done = copied(laptop, tmp_path / "copy")
    shutil.rmtree(tmp_path / "copy")
    with laptop.open() as book:
        entry = book.append(copy_draft(done))

        assert "no logbook" in complete(done, book.order, entry)


# --- the restore drill


def restored(laptop: Laptop, copy: Path) -> None:
    shutil.rmtree(laptop.team)
    shutil.copytree(copy, laptop.team)


def test_restore_drill_with_the_newest_copy(laptop, tmp_path):
    """The folder is lost right after it was copied: nothing is missing, the chain goes on."""
    copied_and_told(laptop, tmp_path / "copy")
    before = content(laptop.team)

    restored(laptop, tmp_path / "copy")

    memory = DeviceMemory(laptop.profile)
    assert check(laptop.logbook, remembered=memory.remembered).ok
    assert before == content(laptop.team)
    more(laptop, "signed after the loss")
    with laptop.open() as book:
        assert 1 == len(book.order.devices())
        assert () == book.missing_heads()


def test_restore_drill_with_an_older_copy(laptop, tmp_path):
    """Something was entered after the copy: it is missed, and a chain of its own begins."""
    copied_and_told(laptop, tmp_path / "copy")
    more(laptop, "lost with the folder")

    restored(laptop, tmp_path / "copy")

    assert check(laptop.logbook).ok
    memory = DeviceMemory(laptop.profile)
    assert check(laptop.logbook, remembered=memory.remembered).older
    more(laptop, "signed after the loss")
    with laptop.open() as book:
        assert 2 == len(book.order.devices())
        assert ["chain-start"] == [e.body.kind for e in book.order if e.body.kind == "chain-start"]
        assert "signed after the loss" == list(book.order)[-1].body.content["text"]
    assert check(laptop.logbook).ok


def test_restore_drill_on_another_laptop(laptop, tmp_path):
    copied_and_told(laptop, tmp_path / "copy")
    other = Laptop(tmp_path / "two")
    shutil.copytree(tmp_path / "copy", other.team)

    more(other, "signed on a new laptop")

    assert check(other.logbook).ok
    with other.open() as book:
        assert 2 == len(book.order.devices())


def test_a_copy_made_from_a_restored_copy_goes_onto_the_same_stick(laptop, tmp_path):
    copied_and_told(laptop, tmp_path / "copy")
    restored(laptop, tmp_path / "copy")
    more(laptop, "after the loss")

    copied_and_told(laptop, tmp_path / "copy")

    assert hashes(laptop.team) == hashes(tmp_path / "copy")


def test_the_entry_of_a_copy_has_the_form_of_its_kind(laptop, tmp_path):
    done = copied(laptop, tmp_path / ("deep " * 40))
    draft = copy_draft(done)

    assert isinstance(draft, Draft)
    assert len(draft.content["to"]) <= 200
    with laptop.open() as book:
        assert "copy" == book.append(draft).body.kind
