"""The power may go at any moment: what was acknowledged is there, and nothing is half there.

A *moment* is every change that reaches the disk; at each, disks are kept as a power cut would
leave them (``forgetful_disk``). The same is shown to fail where less is flushed.
"""

import hashlib
import io
import random
import sqlite3
from contextlib import closing
from pathlib import Path

import pytest

from flightlog.errors import FlightlogError, NotWritableError
from flightlog.logbook.attachments import AttachmentStore
from flightlog.logbook.store import Store
from tests.logbook.forgetful_disk import Disk, ForgetfulFiles, forgetful_connect
from tests.logbook.made import Maker

FOLDER = Path("/team/logbook")
RECORD = FOLDER / "record.sqlite"
OLD = Path(__file__).parent / "old" / "record-1.sql"


def chain(length, seed=0):
    """Entries of very different lengths, so that pages overflow and split."""
    maker, rng = Maker(), random.Random(seed)
    for _ in range(length):
        maker.add("laptop", "remark", {"text": "x" * rng.choice((1, 300, 3000, 9000))})
    return maker.entries


def disk_with_folder():
    """A disk on which the logbook's folder stands for sure."""
    disk = Disk()
    disk.make_folder("/team")
    disk.make_folder("/team/logbook")
    disk.flush_folder("")
    disk.flush_folder("/team")
    return disk


class Watcher:
    """Keeps what a power cut would leave at each moment, with what was acknowledged by then."""

    def __init__(self, disk, seed, cuts=1):
        self.disk = disk
        self.rng = random.Random(seed)
        self.cuts = cuts
        self.acknowledged = 0
        self.kept = []
        disk.on_moment = self.keep

    def keep(self):
        for _ in range(self.cuts):
            self.kept.append((self.acknowledged, self.disk.power_cut(self.rng)))

    def acknowledge(self, count=1):
        self.acknowledged += count
        self.keep()


def write(disk, entries, *, seed=0, synchronous="EXTRA", at_once=1):
    """Write entries one by one (or several at once), and give what power cuts would leave."""
    with Store.create(RECORD, connect=forgetful_connect(disk, synchronous)) as store:
        watcher = Watcher(disk, seed)
        for start in range(0, len(entries), at_once):
            part = entries[start : start + at_once]
            with store.writing() as writing:
                for entry in part:
                    assert writing.add(entry)
            watcher.acknowledge(len(part))
        disk.on_moment = lambda: None
    return watcher.kept


def found_on(disk):
    """The entries on a disk after the power came back; nothing may be wrong with the file."""
    with Store(RECORD, connect=forgetful_connect(disk)) as store:
        entries = [row.entry() for row in store.rows()]
        assert [] == store.damage()
    return entries


def survived(kept, entries, at_once=1):
    """Whether all that was acknowledged is there, and of the rest whole writes in order."""
    acknowledged, disk = kept
    try:
        found = found_on(disk)
    except (FlightlogError, AssertionError):
        return False
    return found == entries[: len(found)] and len(found) in (acknowledged, acknowledged + at_once)


@pytest.mark.parametrize("seed", range(6))
def test_nothing_acknowledged_is_lost_by_a_power_cut_at_any_moment(seed):
    entries = chain(8, seed)
    kept = write(disk_with_folder(), entries, seed=seed)

    assert len(kept) > 100
    assert [] == [number for number, k in enumerate(kept) if not survived(k, entries)]


@pytest.mark.parametrize("seed", range(2))
def test_many_entries_in_one_write_are_there_together_or_not_at_all(seed):
    entries = chain(24, seed)
    kept = write(disk_with_folder(), entries, seed=seed, at_once=8)

    assert [] == [number for number, k in enumerate(kept) if not survived(k, entries, 8)]


def test_in_the_middle_of_a_write_some_cuts_keep_it_and_some_do_not():
    entries = chain(6)
    kept = write(disk_with_folder(), entries)
    ends = {len(found_on(disk)) - acknowledged for acknowledged, disk in kept}

    assert {0, 1} == ends


def test_the_power_may_go_again_while_the_first_cut_is_being_repaired():
    entries = chain(5, 3)
    kept = write(disk_with_folder(), entries, seed=3)
    again = []
    for acknowledged, disk in kept[::2]:
        watcher = Watcher(disk, seed=len(again))
        found = found_on(disk)
        disk.on_moment = lambda: None
        again += [(len(found), acknowledged, second) for _, second in watcher.kept]

    assert len(again) > 50
    for count, acknowledged, disk in again:
        found = found_on(disk)
        assert entries[: len(found)] == found
        # What the repair had shown to somebody stays.
        assert count == len(found) >= acknowledged


@pytest.mark.parametrize("seed", range(2))
def test_the_making_of_a_logbook_may_be_cut_off_and_taken_up(seed):
    disk = disk_with_folder()
    watcher = Watcher(disk, seed, cuts=4)
    Store.create(RECORD, connect=forgetful_connect(disk)).close()
    watcher.acknowledge()
    said = [(acknowledged, words_on_opening(left)) for acknowledged, left in watcher.kept]
    for _, left in watcher.kept:
        if words_on_opening(left):
            Store.create(RECORD, connect=forgetful_connect(left)).close()
        assert [] == found_on(left)

    assert {"", "there is no logbook here", INTERRUPTED} == {words for _, words in said}
    assert {""} == {words for acknowledged, words in said if acknowledged}


INTERRUPTED = "the record is empty: its making was interrupted, or it was lost"


def words_on_opening(disk):
    try:
        Store(RECORD, connect=forgetful_connect(disk)).close()
    except FlightlogError as error:
        return error.found
    return ""


@pytest.mark.parametrize("seed", range(2))
def test_a_migration_may_be_cut_off_at_any_moment(seed):
    disk = disk_with_folder()
    with closing(sqlite3.connect(":memory:")) as connection:
        connection.executescript(OLD.read_text(encoding="utf-8"))
        node = disk.make_file(RECORD.as_posix())
        disk.write(node, 0, connection.serialize())
    disk.flush(node)
    disk.flush_folder(FOLDER.as_posix())
    watcher = Watcher(disk, seed)
    before = found_on(disk)

    assert len(watcher.kept) > 10
    for _, left in watcher.kept:
        assert before == found_on(left)
    assert 5 == len(before)


# --- that less would not do


@pytest.mark.parametrize("synchronous", ["OFF", "NORMAL", "FULL"])
def test_with_less_flushing_acknowledged_entries_are_lost(synchronous):
    entries = chain(8)
    kept = write(disk_with_folder(), entries, synchronous=synchronous)

    assert not all(survived(k, entries) for k in kept)


def test_without_flushing_the_file_itself_breaks():
    entries = chain(8)
    broken = 0
    for _, disk in write(disk_with_folder(), entries, synchronous="OFF"):
        try:
            found_on(disk)
        except (FlightlogError, AssertionError):
            broken += 1

    assert broken > 0


def test_where_the_journal_is_not_gone_for_sure_the_last_entry_is_taken_back():
    """FULL leaves out to flush the folder after the journal's name was removed from it."""
    (entry,) = chain(1)
    disk = disk_with_folder()
    with Store.create(RECORD, connect=forgetful_connect(disk, "FULL")) as store:
        # The making left a journal's name behind in the same way.
        disk.flush_folder(FOLDER.as_posix())
        with store.writing() as writing:
            writing.add(entry)

        assert [entry] == found_on(disk.power_cut(random.Random(0), luck=1.0))
        assert [] == found_on(disk.power_cut(random.Random(0), luck=0.0))


def test_the_disk_forgets_what_was_not_flushed_and_only_that():
    disk = disk_with_folder()
    node = disk.make_file("/team/notes")
    disk.write(node, 0, b"first")
    disk.flush(node)
    assert None is disk.power_cut(random.Random(1), luck=0.0).content(Path("/team/notes"))

    disk.flush_folder("/team")
    disk.write(node, 0, b"FIRST and second")
    assert b"first" == disk.power_cut(random.Random(1), luck=0.0).content(Path("/team/notes"))
    assert b"FIRST and second" == disk.content(Path("/team/notes"))

    disk.remove("/team/notes")
    assert b"first" == disk.power_cut(random.Random(1), luck=0.0).content(Path("/team/notes"))
    assert None is disk.power_cut(random.Random(1), luck=1.0).content(Path("/team/notes"))


# --- attachments


class NeverFlushed(ForgetfulFiles):
    """Puts the files where they belong, but does not flush them."""

    def flush(self, file):
        pass


class NeverFlushedFolders(ForgetfulFiles):
    def flush_folder(self, folder):
        pass


class Hasty(NeverFlushed, NeverFlushedFolders):
    """Flushes nothing at all."""


def write_with_attachments(files_kind, seed, count=5):
    """Put a file and add an entry that names it, and so on; give what power cuts would leave."""
    disk, rng = disk_with_folder(), random.Random(seed)
    attachments = AttachmentStore(FOLDER / "attachments", files_kind(disk))
    maker = Maker()
    with Store.create(RECORD, connect=forgetful_connect(disk)) as store:
        watcher = Watcher(disk, seed)
        for number in range(count):
            content = rng.randbytes(rng.choice((0, 10, 700, 5000)))
            attachment = attachments.put(io.BytesIO(content), f"photo {number}")
            assert hashlib.sha256(content).hexdigest() == attachment.sha256
            entry = maker.add("laptop", "remark", attachments=[attachment])
            with store.writing() as writing:
                writing.add(entry)
            watcher.acknowledge()
        disk.on_moment = lambda: None
    return watcher.kept


def attachments_missing(disk):
    """How many attachments that an entry on this disk names are not there and whole."""
    missing = 0
    for entry in found_on(disk):
        for named in entry.body.attachments:
            path = FOLDER / "attachments" / named.sha256[:2] / named.sha256
            content = disk.content(path)
            missing += content is None or hashlib.sha256(content).hexdigest() != named.sha256
    return missing


@pytest.mark.parametrize("seed", range(3))
def test_an_attachment_that_an_entry_names_survives(seed):
    kept = write_with_attachments(ForgetfulFiles, seed)

    assert [] == [number for number, (_, disk) in enumerate(kept) if attachments_missing(disk)]
    assert all(len(found_on(disk)) >= acknowledged for acknowledged, disk in kept)


@pytest.mark.parametrize("kind", [NeverFlushed, NeverFlushedFolders])
def test_an_attachment_that_is_not_flushed_does_not_survive(kind):
    kept = write_with_attachments(kind, seed=0)

    assert any(attachments_missing(disk) for _, disk in kept)


@pytest.mark.parametrize("luck", [0.0, 1.0])
def test_one_that_somebody_put_there_and_never_flushed_survives_once_it_is_put(luck):
    disk = disk_with_folder()
    content = bytes(6001)
    AttachmentStore(FOLDER / "attachments", Hasty(disk)).put(io.BytesIO(content), "photo")
    kept = AttachmentStore(FOLDER / "attachments", ForgetfulFiles(disk)).put(
        io.BytesIO(content), "photo"
    )
    found = disk.power_cut(random.Random(1), luck=luck)

    assert content == found.content(AttachmentStore(FOLDER / "attachments").path(kept.sha256))


@pytest.mark.parametrize("room", range(0, 6000, 750))
def test_a_disk_that_fills_up_leaves_nothing_of_an_attachment(room):
    disk = disk_with_folder()
    attachments = AttachmentStore(FOLDER / "attachments", ForgetfulFiles(disk))
    disk.most_bytes = room
    with pytest.raises(NotWritableError, match="the disk is full"):
        attachments.put(io.BytesIO(bytes(6001)), "photo")

    assert [] == [name for name, node in disk.names.items() if node is not None]
