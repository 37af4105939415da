"""Files that entries name, kept by their SHA-256: ``9f/9f2c…`` below the folder of attachments.

A file is streamed into ``incoming``, hashed on the way, flushed, renamed to where its hash says,
and the folders are flushed: all before its hash is given out, so that an entry which names it
can't reach the disk first. The name that a file had is data in the entry, never a path here.

Folders are flushed where the system can do so; Windows can't, and keeps a journal of names by
itself. Who can write in the folder can replace a file; ``problem`` finds that by the hash.
"""

from __future__ import annotations

import errno
import hashlib
import os
import re
import secrets
import stat
import sys
import time
from collections.abc import Callable, Iterator
from contextlib import contextmanager, suppress
from pathlib import Path
from typing import BinaryIO, Protocol

from flightlog.disk import is_link, patiently
from flightlog.errors import LogbookError, NotWritableError, TeamFolderError, UsageError
from flightlog.logbook.entry import MOST_ATTACHMENT_BYTES, Attachment

INCOMING = "incoming"
"""Folder of files that are not whole yet."""
OLD_S = 24 * 3600.0
"""Age from which a file that was never finished is removed [s]."""

_PART = ".part"
_CHUNK = 1024 * 1024
_MOST_NAME = 255
_HEX = re.compile(r"[0-9a-f]{64}")
_FULL = {errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC)}
# What file systems of some sticks answer: they have no names to flush by themselves.
_CANT_FLUSH = {errno.EINVAL, getattr(errno, "ENOTSUP", errno.EINVAL)}
_READ_ONLY = {errno.EROFS, errno.EACCES, errno.EPERM}


class Readable(Protocol):
    """Something to read bytes from."""

    def read(self, size: int, /) -> bytes:
        """Give up to ``size`` bytes, none at the end."""


class Files:
    """What is asked of the file system; each step is by itself, so that a test can stand in."""

    def make_folder(self, folder: Path) -> None:
        """Make a folder where there is none; its name is flushed."""
        folder.mkdir(exist_ok=True)
        self.flush_folder(folder.parent)

    def create(self, path: Path) -> BinaryIO:
        """Make a new file; there may be none of that name."""
        return path.open("xb")

    def flush(self, file: BinaryIO) -> None:
        """Bring the content of a file to the disk itself."""
        file.flush()
        os.fsync(file.fileno())
        if sys.platform == "darwin":
            import fcntl

            # There fsync stops at the disk's own cache; not all file systems have the other.
            with suppress(OSError):
                fcntl.fcntl(file.fileno(), fcntl.F_FULLFSYNC)

    def rename(self, old: Path, new: Path) -> None:
        """Give a file another name, at once, in place of a file that had it."""
        patiently(lambda: old.replace(new))

    def stands(self, path: Path, attachment: Attachment) -> bool:
        """Whether a file is there and whole; then its content is brought to the disk itself."""
        try:
            if _difference(path, attachment) is not None:
                return False
            # Open for writing, else Windows does not flush; one that may not be is put anew.
            with open(path, "r+b", opener=_not_through_a_link) as file:
                self.flush(file)
        except OSError:
            return False
        return True

    def flush_folder(self, folder: Path) -> None:
        """Bring the names in a folder to the disk."""
        if os.name == "nt":
            return
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        except OSError as error:
            if error.errno not in _CANT_FLUSH:
                raise
        finally:
            os.close(handle)

    def remove(self, path: Path) -> None:
        """Remove a file."""
        path.unlink()

    def unfinished(self, folder: Path) -> list[tuple[Path, float]]:
        """Give the unfinished files in a folder with the time of their last change [s]."""
        found = []
        for path in folder.glob(f"*{_PART}"):
            with suppress(OSError):
                info = path.lstat()
                if stat.S_ISREG(info.st_mode):
                    found.append((path, info.st_mtime))
        return found


class AttachmentStore:
    """The attachments of a logbook.

    Parameters
    ----------
    folder : Path
        The folder of attachments; made by the first ``put``, in the logbook's folder.
    files : Files
        The file system.
    clock : callable
        Gives the time since 1970 [s], for the age of what was never finished.
    most_bytes : int
        Largest file that is taken [bytes].
    """

    def __init__(
        self,
        folder: Path,
        files: Files | None = None,
        *,
        clock: Callable[[], float] = time.time,
        most_bytes: int = MOST_ATTACHMENT_BYTES,
    ) -> None:
        self.folder = folder
        self._files = files or Files()
        self._clock = clock
        self._most_bytes = most_bytes

    def put(self, source: Path | Readable, name: str = "") -> Attachment:
        """Keep a file; when this returns it is on the disk.

        Parameters
        ----------
        source : Path or Readable
            The file, or something to read from. It is read once.
        name : str
            What the entry calls it; a path's own name when not given. What can't be written as
            UTF-8 becomes a question mark.

        Returns
        -------
        Attachment
            For the entry that names it.

        Raises
        ------
        UsageError
            If the source can't be read, is no file or too large, or the name is empty or longer
            than 255 characters.
        NotWritableError
            If the disk is full or the folder can't be written; nothing is left of the file.
        TeamFolderError
            If a link stands where a folder of ours should be.
        """
        where = str(source) if isinstance(source, Path) else name
        name = _checked_name(name or (source.name if isinstance(source, Path) else ""))
        with _opened(source) as stream, self._worded():
            incoming = self.folder / INCOMING
            for folder in (self.folder, incoming):
                self._make_folder(folder)
            self._remove_old(incoming)
            part = incoming / f"{secrets.token_hex(16)}{_PART}"
            try:
                kept = Attachment(*self._receive(stream, part, where), name)
                self._settle(part, kept)
            except BaseException:
                with suppress(OSError):
                    self._files.remove(part)
                raise
        return kept

    def path(self, sha256: str) -> Path:
        """Give the place of a file.

        Raises
        ------
        LogbookError
            If this is no hash of 64 hexadecimal digits.
        """
        if not _HEX.fullmatch(sha256):
            raise LogbookError(f"{sha256[:80]!r} is no hash of an attachment")
        return self.folder / sha256[:2] / sha256

    def problem(self, attachment: Attachment) -> str | None:
        """Say what is wrong with the file that an entry names; None if it is there and whole.

        Links are not followed.
        """
        path = self.path(attachment.sha256)
        for place in (self.folder, path.parent, path):
            if is_link(place):
                return f"{place.name[:12]} is a link; links are not followed"
        try:
            return _difference(path, attachment)
        except FileNotFoundError:
            return "the file is missing"
        except OSError as error:
            return f"the file can't be read ({error.strerror})"

    # --- steps of putting

    def _make_folder(self, folder: Path) -> None:
        if is_link(folder):
            raise TeamFolderError(
                "a link stands where a folder of the logbook should be",
                where=str(folder),
                fix="Put the folder itself in its place.",
            )
        self._files.make_folder(folder)

    def _remove_old(self, incoming: Path) -> None:
        for path, changed in self._files.unfinished(incoming):
            if self._clock() - changed > OLD_S:
                with suppress(OSError):  # another process may have been faster
                    self._files.remove(path)

    def _receive(self, stream: Readable, part: Path, where: str) -> tuple[str, int]:
        digest, size = hashlib.sha256(), 0
        file = self._files.create(part)
        try:
            while chunk := _read(stream, where):
                size += len(chunk)
                if size > self._most_bytes:
                    raise UsageError(
                        f"an attachment has at most {self._most_bytes} bytes",
                        where=where,
                        fix="Attach a smaller extract, and keep the whole elsewhere.",
                    )
                digest.update(chunk)
                file.write(chunk)
            self._files.flush(file)
        finally:
            file.close()
        return digest.hexdigest(), size

    def _settle(self, part: Path, kept: Attachment) -> None:
        target = self.path(kept.sha256)
        self._make_folder(target.parent)
        # One that is whole is left: others read it, and Windows replaces no file that is open.
        if self._files.stands(target, kept):
            with suppress(OSError):  # else it goes when it is old
                self._files.remove(part)
        else:
            self._files.rename(part, target)
        # In either case: who put the one that is there may not have come to this.
        self._files.flush_folder(target.parent)

    @contextmanager
    def _worded(self) -> Iterator[None]:
        try:
            yield
        except OSError as error:
            raise _not_written(error, self.folder) from error


# --- reading, links, words


@contextmanager
def _opened(source: Path | Readable) -> Iterator[Readable]:
    if not isinstance(source, Path):
        yield source
        return
    try:
        # Opening anything else, such as a pipe, could wait for ever.
        if not stat.S_ISREG(source.stat().st_mode):
            raise UsageError("this is no file", where=str(source), fix=_ONE_FILE)
        stream = source.open("rb")
    except OSError as error:
        raise _unreadable(error, str(source)) from error
    with stream:
        yield stream


def _read(stream: Readable, where: str) -> bytes:
    try:
        return stream.read(_CHUNK)
    except OSError as error:
        raise _unreadable(error, where) from error


def _unreadable(error: OSError, where: str) -> UsageError:
    return UsageError(f"the file can't be read ({error.strerror})", where=where, fix=_ONE_FILE)


_ONE_FILE = "Name one file that you may read."


def _checked_name(name: str) -> str:
    name = name.encode("utf-8", "replace").decode("utf-8")
    if not 1 <= len(name) <= _MOST_NAME:
        raise UsageError(
            f"the name of an attachment has 1 to {_MOST_NAME} characters, not {len(name)}",
            where=name[:80],
        )
    return name


def _difference(path: Path, attachment: Attachment) -> str | None:
    info = path.lstat()
    if not stat.S_ISREG(info.st_mode):
        return "what is there is no file"
    if info.st_size != attachment.size:
        return f"the file has {info.st_size} bytes, not {attachment.size}"
    with open(path, "rb", opener=_not_through_a_link) as stream:
        digest = hashlib.file_digest(stream, "sha256").hexdigest()
    return None if digest == attachment.sha256 else "the file has another content"


def _not_through_a_link(path: str, flags: int) -> int:
    return os.open(path, flags | getattr(os, "O_NOFOLLOW", 0))


def _not_written(error: OSError, folder: Path) -> NotWritableError:
    if error.errno in _FULL:
        found, fix = "the disk is full", "Make room; nothing is left of the attachment."
    elif error.errno in _READ_ONLY:
        found, fix = "the folder of attachments can't be written", "Look who may write there."
    else:
        found, fix = f"the attachment can't be kept ({error.strerror})", ""
    return NotWritableError(found, where=str(folder), fix=fix)
