import errno
import hashlib
import io
import os
import stat
from pathlib import Path

import pytest
from hypothesis import given
from hypothesis import strategies as st

from flightlog import disk
from flightlog.errors import LogbookError, NotWritableError, TeamFolderError, UsageError
from flightlog.logbook.attachments import AttachmentStore, Files
from flightlog.logbook.entry import Attachment

# FIPS 180-2, appendix B.1: the SHA-256 of "abc".
ABC = "ba7816bf8f01cfea414140de5dae2223b00361a396177a9cb410ff61f20015ad"
DAY_S = 86_400


@pytest.fixture
def folder(tmp_path):
    return tmp_path / "attachments"


@pytest.fixture
def store(folder):
    return AttachmentStore(folder)


def files_in(folder):
    paths = [path for path in folder.rglob("*") if not path.is_dir()]
    return sorted(path.relative_to(folder).as_posix() for path in paths)


def test_a_file_is_kept_by_its_hash(store, folder, tmp_path):
    source = tmp_path / "horn.jpg"
    source.write_bytes(b"abc")

    assert Attachment(ABC, 3, "horn.jpg") == store.put(source)
    assert Attachment(ABC, 3, "Left horn") == store.put(source, "Left horn")
    assert [f"ba/{ABC}"] == files_in(folder)
    assert folder / "ba" / ABC == store.path(ABC)
    assert b"abc" == store.path(ABC).read_bytes()
    assert b"abc" == source.read_bytes()


def test_what_is_read_in_many_pieces_is_one_file(store):
    class Dripping:
        def __init__(self):
            self.pieces = [b"a", b"b", b"c"]

        def read(self, size):
            return self.pieces.pop(0) if self.pieces else b""

    assert Attachment(ABC, 3, "drops") == store.put(Dripping(), "drops")
    assert None is store.problem(Attachment(ABC, 3, "drops"))


@given(st.binary(max_size=200))
def test_content_comes_back_whole(tmp_path_factory, content):
    store = AttachmentStore(tmp_path_factory.mktemp("logbook") / "attachments")
    attachment = store.put(io.BytesIO(content), "any")

    assert hashlib.sha256(content).hexdigest() == attachment.sha256
    assert content == store.path(attachment.sha256).read_bytes()
    assert None is store.problem(attachment)


def test_a_file_larger_than_one_piece_is_kept_whole(store):
    content = os.urandom(2_500_000)
    attachment = store.put(io.BytesIO(content), "log")

    assert (hashlib.sha256(content).hexdigest(), 2_500_000) == (attachment.sha256, attachment.size)
    assert content == store.path(attachment.sha256).read_bytes()


@pytest.mark.parametrize(
    "name",
    ["../../outside", "/etc/passwd", "C:\\autostart.bat", "a\x00b", "CON", ".part", "…/…"],
)
def test_a_name_is_never_a_path(store, folder, name):
    assert name == store.put(io.BytesIO(b"abc"), name).name
    assert [f"ba/{ABC}"] == files_in(folder)
    assert [folder] == list(folder.parent.iterdir())


def test_a_name_that_is_no_text_is_kept_as_far_as_it_is(store):
    assert "horn?.jpg" == store.put(io.BytesIO(b"abc"), "horn\udcff.jpg").name


@pytest.mark.parametrize("name", ["", "n" * 256])
def test_a_name_of_impossible_length_is_refused(store, folder, name):
    with pytest.raises(UsageError, match=rf"1 to 255 characters, not {len(name)}"):
        store.put(io.BytesIO(b"abc"), name)
    assert not folder.exists()


def test_what_is_too_large_is_refused_and_nothing_of_it_is_left(folder):
    store = AttachmentStore(folder, most_bytes=5)
    with pytest.raises(UsageError, match=r"at most 5 bytes.*smaller extract") as caught:
        store.put(io.BytesIO(b"123456"), "large")

    assert "large" == caught.value.where
    assert [] == files_in(folder)
    assert 5 == store.put(io.BytesIO(b"12345"), "just").size


@pytest.mark.parametrize("kind", ["missing", "folder"])
def test_a_source_that_is_no_file_is_refused(store, folder, tmp_path, kind):
    source = tmp_path if kind == "folder" else tmp_path / "missing.jpg"
    with pytest.raises(UsageError, match=r"this is no file|the file can't be read") as caught:
        store.put(source)

    assert str(source) == caught.value.where
    assert not folder.exists()


@pytest.mark.skipif(not hasattr(os, "mkfifo"), reason="the system has no named pipes")
def test_a_pipe_is_refused_and_not_waited_for(store, tmp_path):
    os.mkfifo(tmp_path / "pipe")
    with pytest.raises(UsageError, match="this is no file"):
        store.put(tmp_path / "pipe")


def test_a_source_that_breaks_off_leaves_nothing(store, folder):
    class Broken(io.BytesIO):
        def read(self, size=-1):
            if self.tell():
                raise OSError(errno.EIO, "Input/output error")
            return super().read(2)

    with pytest.raises(UsageError, match="the file can't be read") as caught:
        store.put(Broken(b"abc"), "stick/photo.jpg")

    assert "stick/photo.jpg" == caught.value.where
    assert [] == files_in(folder)


# --- what is wrong with a file


@pytest.fixture
def kept(store):
    return store.put(io.BytesIO(b"abc"), "horn.jpg")


def test_a_whole_file_has_no_problem(store, kept):
    assert None is store.problem(kept)


def test_a_missing_file_is_told(store, kept):
    store.path(ABC).unlink()
    assert "the file is missing" == store.problem(kept)

    store.path(ABC).parent.rmdir()
    assert "the file is missing" == store.problem(kept)


@pytest.mark.parametrize(
    ("content", "problem"),
    [
        (b"abcd", "the file has 4 bytes, not 3"),
        (b"", "the file has 0 bytes, not 3"),
        (b"abd", "the file has another content"),
    ],
)
def test_a_changed_file_is_told_and_made_whole_by_putting_it_again(store, kept, content, problem):
    store.path(ABC).write_bytes(content)
    assert problem == store.problem(kept)

    store.put(io.BytesIO(b"abc"), "horn.jpg")
    assert None is store.problem(kept)


def test_a_folder_in_place_of_a_file_is_told(store, kept):
    store.path(ABC).unlink()
    store.path(ABC).mkdir()

    assert "what is there is no file" == store.problem(kept)


def test_a_file_in_place_of_a_folder_is_told(store, kept):
    store.path(ABC).unlink()
    store.path(ABC).parent.rmdir()
    store.path(ABC).parent.write_bytes(b"")

    # Systems differ in how they say it.
    assert store.problem(kept) in {
        "the file can't be read (Not a directory)",
        "the file is missing",
    }


def link(path, to):
    try:
        path.symlink_to(to, target_is_directory=to.is_dir())
    except OSError:
        pytest.skip("this user may not make links here")


@pytest.mark.parametrize("which", ["file", "folder", "all"])
def test_links_are_not_followed(store, folder, kept, tmp_path, which):
    path = {"file": store.path(ABC), "folder": store.path(ABC).parent, "all": folder}[which]
    elsewhere = tmp_path / "elsewhere"
    path.rename(elsewhere)
    link(path, elsewhere)

    assert b"abc" == store.path(ABC).read_bytes()
    assert f"{path.name[:12]} is a link; links are not followed" == store.problem(kept)


def test_a_link_to_nowhere_is_a_link(store, kept, tmp_path):
    store.path(ABC).unlink()
    link(store.path(ABC), tmp_path / "nowhere")

    assert "is a link" in store.problem(kept)


@pytest.mark.parametrize("place", ["", "incoming", "ba"])
def test_nothing_is_written_through_a_link(store, folder, tmp_path, place):
    elsewhere = tmp_path / "elsewhere"
    elsewhere.mkdir()
    if place:
        folder.mkdir()
    link(folder / place, elsewhere)
    with pytest.raises(TeamFolderError, match="a link stands where a folder of the logbook"):
        store.put(io.BytesIO(b"abc"), "horn.jpg")

    assert [] == list(elsewhere.iterdir())


def test_a_link_in_place_of_the_file_is_replaced_and_its_aim_is_left(store, kept, tmp_path):
    aim = tmp_path / "aim"
    aim.write_bytes(b"mine")
    store.path(ABC).unlink()
    link(store.path(ABC), aim)
    store.put(io.BytesIO(b"abc"), "horn.jpg")

    assert b"mine" == aim.read_bytes()
    assert None is store.problem(kept)


@pytest.mark.parametrize("digest", ["", "ba", "../" * 21 + "x", ABC.upper(), ABC + "\n", "/" + ABC])
def test_what_is_no_hash_has_no_place(store, digest):
    with pytest.raises(LogbookError, match="is no hash of an attachment"):
        store.path(digest)


# --- the file system


class Noted(Files):
    """Writes down each step, and fails at one of them."""

    def __init__(self, fails="", error=errno.ENOSPC):
        self.steps = []
        self.fails = fails
        self.error = error

    def note(self, step, path):
        self.steps.append((step, path.name if path is not None else ""))
        if step == self.fails:
            raise OSError(self.error, os.strerror(self.error))

    def make_folder(self, folder):
        self.note("make folder", folder)
        super().make_folder(folder)

    def create(self, path):
        self.note("create", None)
        return super().create(path)

    def flush(self, file):
        self.note("flush", None)
        super().flush(file)

    def rename(self, old, new):
        self.note("rename", new)
        super().rename(old, new)

    def flush_folder(self, folder):
        self.note("flush folder", folder)
        super().flush_folder(folder)


def test_the_file_is_flushed_before_it_gets_its_name_and_then_the_name(folder):
    files = Noted()
    AttachmentStore(folder, files).put(io.BytesIO(b"abc"), "horn.jpg")
    above = folder.parent.name

    assert [
        *(("make folder", "attachments"), ("flush folder", above)),
        *(("make folder", "incoming"), ("flush folder", "attachments")),
        *(("create", ""), ("flush", "")),
        *(("make folder", "ba"), ("flush folder", "attachments")),
        *(("rename", ABC), ("flush folder", "ba")),
    ] == files.steps


def test_flushing_reaches_the_system(folder, monkeypatch):
    flushed = []

    def fsync(number):
        flushed.append("folder" if stat.S_ISDIR(os.fstat(number).st_mode) else "file")

    monkeypatch.setattr(os, "fsync", fsync)
    AttachmentStore(folder).put(io.BytesIO(b"abc"), "horn.jpg")

    if os.name == "nt":
        assert ["file"] == flushed
    else:
        assert ["folder", "folder", "file", "folder", "folder"] == flushed


def test_a_file_that_stands_there_whole_is_left_and_flushed_once_more(store, folder, kept):
    before = store.path(ABC).stat()
    files = Noted()
    assert kept == AttachmentStore(folder, files).put(io.BytesIO(b"abc"), "horn.jpg")

    after = store.path(ABC).stat()
    assert (before.st_ino, before.st_mtime_ns) == (after.st_ino, after.st_mtime_ns)
    steps = [step for step in files.steps if step[0] in ("flush", "rename", "flush folder")]
    # The new one, then the one that stands: who put it may not have come to that.
    assert [("flush", ""), ("flush folder", "attachments")] == steps[-4:-2]
    assert [("flush", ""), ("flush folder", "ba")] == steps[-2:]
    assert [f"ba/{ABC}"] == files_in(folder)


def test_a_file_that_stands_there_and_is_open_elsewhere_is_no_reason_to_refuse(folder, kept):
    class Open(Files):
        def rename(self, old, new):
            raise PermissionError(errno.EACCES, "in use")

    assert kept == AttachmentStore(folder, Open()).put(io.BytesIO(b"abc"), "horn.jpg")
    assert [f"ba/{ABC}"] == files_in(folder)


def test_one_that_may_not_be_written_is_put_anew(store, folder, kept, monkeypatch):
    fsync = os.fsync
    refused = []

    def refuse(number):
        if not refused and os.fstat(number).st_ino == store.path(ABC).stat().st_ino:
            refused.append(number)
            raise PermissionError(errno.EACCES, "read only")
        fsync(number)

    monkeypatch.setattr(os, "fsync", refuse)
    before = store.path(ABC).stat().st_ino
    store.put(io.BytesIO(b"abc"), "horn.jpg")

    assert refused
    assert before != store.path(ABC).stat().st_ino
    assert None is store.problem(kept)


def test_a_name_that_is_taken_for_a_moment_is_waited_for(store, monkeypatch):
    replace, refused = Path.replace, []

    def busy(self, target):
        if len(refused) < 2:
            refused.append(target)
            raise PermissionError(errno.EACCES, "in use")
        return replace(self, target)

    monkeypatch.setattr(Path, "replace", busy)
    monkeypatch.setattr(disk, "_WAITS_S", (0.0, 0.0))
    kept = store.put(io.BytesIO(b"abc"), "horn.jpg")

    assert 2 == len(refused)
    assert None is store.problem(kept)


@pytest.mark.parametrize("fails", ["make folder", "create", "flush", "rename", "flush folder"])
@pytest.mark.parametrize(
    ("error", "found"),
    [
        (errno.ENOSPC, "the disk is full"),
        (errno.EROFS, "the folder of attachments can't be written"),
        (errno.EACCES, "the folder of attachments can't be written"),
        (errno.EIO, "the attachment can't be kept"),
    ],
)
def test_a_file_system_that_refuses_is_named_and_nothing_is_left(folder, fails, error, found):
    with pytest.raises(NotWritableError, match=found) as caught:
        AttachmentStore(folder, Noted(fails, error)).put(io.BytesIO(b"abc"), "horn.jpg")

    assert str(folder) == caught.value.where
    assert [] == (files_in(folder) if folder.exists() else [])


def test_a_disk_that_fills_up_while_writing_leaves_nothing(folder):
    class Filling(io.FileIO):
        def write(self, data):
            raise OSError(errno.ENOSPC, "No space left on device")

    class Full(Files):
        def create(self, path):
            return io.BufferedWriter(Filling(path, "xb"))

    with pytest.raises(NotWritableError, match="the disk is full"):
        AttachmentStore(folder, Full()).put(io.BytesIO(b"abc" * 9000), "horn.jpg")

    assert [] == files_in(folder)


def test_a_logbook_that_is_missing_is_not_made_by_an_attachment(tmp_path):
    with pytest.raises(NotWritableError, match="the attachment can't be kept"):
        AttachmentStore(tmp_path / "none" / "attachments").put(io.BytesIO(b"abc"), "horn.jpg")


def test_what_was_never_finished_is_removed_after_a_day(folder):
    incoming = folder / "incoming"
    incoming.mkdir(parents=True)
    for name in ("old.part", "young.part", "old.txt"):
        (incoming / name).write_bytes(b"half")
    os.utime(incoming / "old.part", (1000, 1000))
    os.utime(incoming / "old.txt", (1000, 1000))
    os.utime(incoming / "young.part", (1001, 1001))
    now = 1000 + DAY_S + 0.5
    AttachmentStore(folder, clock=lambda: now).put(io.BytesIO(b"abc"), "horn.jpg")

    assert [f"ba/{ABC}", "incoming/old.txt", "incoming/young.part"] == files_in(folder)


def test_a_link_among_the_unfinished_is_left_alone(folder, tmp_path):
    incoming, aim = folder / "incoming", tmp_path / "aim"
    incoming.mkdir(parents=True)
    aim.write_bytes(b"mine")
    link(incoming / "trap.part", aim)
    AttachmentStore(folder, clock=lambda: 9e9).put(io.BytesIO(b"abc"), "horn.jpg")

    assert b"mine" == aim.read_bytes()
    assert (incoming / "trap.part").is_symlink()


def test_an_unfinished_file_that_can_not_be_removed_is_no_reason_to_refuse(folder):
    class Stubborn(Files):
        def unfinished(self, folder):
            return [(Path("gone.part"), 0.0)]

    store = AttachmentStore(folder, Stubborn())
    assert 3 == store.put(io.BytesIO(b"abc"), "horn.jpg").size
