"""A disk in memory that forgets at a power cut what was not flushed.

``Disk`` holds files and their names twice: as a running program sees them, and as they are sure to
stand after a power cut. A file's content becomes sure when the file is flushed; a name (made,
given to another file, removed) becomes sure when its folder is flushed. ``power_cut`` gives the
disk that is found afterwards: what was sure, and of the rest any part, sector by sector, in any
order, with rubbish where a file was made longer but nothing arrived.

``forgetful_connect`` opens SQLite files on it (``apsw``, a virtual file system), ``ForgetfulFiles``
does for attachments. SQLite flushes a folder by the flag of ``xDelete`` only; and its own layer for
Unix flushes the folder with the first flush of a journal that it made, which is done here as well.
Locks are not there: one connection at a time.
"""

from __future__ import annotations

import errno
import hashlib
import io
import itertools
import random
import sqlite3
from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path

import apsw

from flightlog.logbook.attachments import Files
from flightlog.logbook.database import Mode
from flightlog.logbook.entry import Attachment

SECTOR = 512
_FOLDER = None


@dataclass(eq=False)
class Node:
    """A file: what a program sees, what is sure, and what was written since."""

    content: bytearray = field(default_factory=bytearray)
    sure: bytes = b""
    unflushed: list[tuple[int, bytes | None]] = field(default_factory=list)
    """(offset, data) of a write in order; (size, None) of a cut."""

    def write(self, offset: int, data: bytes) -> None:
        _put(self.content, offset, data)
        self.unflushed.append((offset, bytes(data)))

    def cut(self, size: int) -> None:
        del self.content[size:]
        self.unflushed.append((size, None))

    def flush(self) -> None:
        self.sure = bytes(self.content)
        self.unflushed.clear()

    def after(self, rng: random.Random, luck: float) -> Node:
        """The file after a power cut, each unflushed sector with this chance of having arrived."""
        found = bytearray(self.sure)
        for offset, data in self.unflushed:
            if data is None:
                if rng.random() < luck:
                    del found[offset:]
                continue
            for start in range(0, len(data), SECTOR):
                if rng.random() < luck:
                    _put(found, offset + start, data[start : start + SECTOR], rng)
        return Node(found, bytes(found))


def _put(content: bytearray, offset: int, data: bytes, rng: random.Random | None = None) -> None:
    gap = max(0, offset - len(content))
    content.extend(rng.randbytes(gap) if rng else bytes(gap))
    content[offset : offset + len(data)] = data


class Disk:
    """Names and files, with a hook that is called after each change (a *moment*)."""

    def __init__(self) -> None:
        self.names: dict[str, Node | None] = {}
        self.sure_names: dict[str, Node | None] = {}
        self.most_bytes: int | None = None
        """Room of the disk [bytes]; None for no end."""
        self.on_moment: Callable[[], None] = lambda: None

    # --- what programs do

    def make_folder(self, path: str) -> None:
        if path not in self.names:
            self.names[path] = _FOLDER
            self.on_moment()

    def make_file(self, path: str) -> Node:
        node = self.names[path] = Node()
        self.on_moment()
        return node

    def write(self, node: Node, offset: int, data: bytes) -> None:
        longer = max(0, offset + len(data) - len(node.content))
        if self.most_bytes is not None and self._used() + longer > self.most_bytes:
            raise OSError(errno.ENOSPC, "No space left on device")
        node.write(offset, data)
        self.on_moment()

    def cut(self, node: Node, size: int) -> None:
        node.cut(size)
        self.on_moment()

    def flush(self, node: Node) -> None:
        node.flush()
        self.on_moment()

    def rename(self, old: str, new: str) -> None:
        self.names[new] = self.names.pop(old)
        self.on_moment()

    def remove(self, path: str) -> None:
        del self.names[path]
        self.on_moment()

    def flush_folder(self, folder: str) -> None:
        for path in [p for p in {*self.names, *self.sure_names} if _parent(p) == folder]:
            if path in self.names:
                self.sure_names[path] = self.names[path]
            else:
                del self.sure_names[path]
        self.on_moment()

    def _used(self) -> int:
        return sum(len(node.content) for node in self.names.values() if node is not None)

    # --- what is found afterwards

    def power_cut(self, rng: random.Random, luck: float | None = None) -> Disk:
        """The disk after a power cut.

        ``luck`` is the chance of what is not flushed: 0 loses all of it, 1 nothing (the process
        ended, the power did not).
        """
        if luck is None:
            luck = rng.choice((0.0, 0.5, 0.9, 1.0))
        found, nodes = Disk(), {}
        for path in sorted({*self.names, *self.sure_names}, key=lambda p: p.count("/")):
            known, hoped = path in self.sure_names, path in self.names
            if known and hoped and self.sure_names[path] is self.names[path]:
                node = self.names[path]
            else:
                lucky = rng.random() < luck
                if not (hoped if lucky else known):
                    continue
                node = self.names[path] if lucky else self.sure_names[path]
            if _parent(path) in self.names and _parent(path) not in found.names:
                continue
            if node is not None and id(node) not in nodes:
                nodes[id(node)] = node.after(rng, luck)
            found.names[path] = nodes[id(node)] if node is not None else _FOLDER
        found.sure_names = dict(found.names)
        return found

    def content(self, path: Path) -> bytes | None:
        node = self.names.get(path.as_posix())
        return bytes(node.content) if node is not None else None


def _parent(path: str) -> str:
    return path.rpartition("/")[0]


# --- SQLite on it

_NUMBERS = itertools.count()


class _Vfs(apsw.VFS):
    def __init__(self, disk: Disk) -> None:
        self.disk = disk
        self.vfs_name = f"forgetful{next(_NUMBERS)}"
        super().__init__(self.vfs_name, "", iVersion=1)

    def xOpen(self, name: object, flags: list[int]) -> _VfsFile:
        path = str(name.filename() if isinstance(name, apsw.URIFilename) else name)
        made = path not in self.disk.names
        if made:
            if not flags[0] & apsw.SQLITE_OPEN_CREATE:
                raise _failed(apsw.CantOpenError, apsw.SQLITE_CANTOPEN)
            self.disk.make_file(path)
        flags[1] = flags[0]
        return _VfsFile(self.disk, path, made and bool(flags[0] & apsw.SQLITE_OPEN_MAIN_JOURNAL))

    def xDelete(self, name: str, flush_folder: bool) -> None:
        if name not in self.disk.names:
            raise _failed(apsw.IOError, apsw.SQLITE_IOERR_DELETE_NOENT)
        self.disk.remove(name)
        if flush_folder:
            self.disk.flush_folder(_parent(name))

    def xAccess(self, name: str, flags: int) -> bool:
        return name in self.disk.names

    def xFullPathname(self, name: str) -> str:
        return name


def _failed(kind: type[apsw.Error], code: int) -> apsw.Error:
    error = kind()
    error.extendedresult = code
    return error


class _VfsFile(apsw.VFSFile):
    def __init__(self, disk: Disk, path: str, new_journal: bool) -> None:
        self.disk = disk
        self.path = path
        self.new_journal = new_journal
        node = disk.names[path]
        assert node is not None, path
        self.node = node

    def xRead(self, amount: int, offset: int) -> bytes:
        return bytes(self.node.content[offset : offset + amount])

    def xWrite(self, data: bytes, offset: int) -> None:
        try:
            self.disk.write(self.node, offset, data)
        except OSError as error:
            raise _failed(apsw.FullError, apsw.SQLITE_FULL) from error

    def xTruncate(self, size: int) -> None:
        self.disk.cut(self.node, size)

    def xSync(self, flags: int) -> None:
        self.disk.flush(self.node)
        if self.new_journal:
            self.disk.flush_folder(_parent(self.path))
            self.new_journal = False

    def xFileSize(self) -> int:
        return len(self.node.content)

    def xLock(self, level: int) -> None:
        pass

    def xUnlock(self, level: int) -> None:
        pass

    def xCheckReservedLock(self) -> bool:
        return False

    def xClose(self) -> None:
        pass

    def xSectorSize(self) -> int:
        return SECTOR

    def xDeviceCharacteristics(self) -> int:
        return apsw.SQLITE_IOCAP_POWERSAFE_OVERWRITE

    def xFileControl(self, op: int, pointer: int) -> bool:
        return False


class _Answer:
    def __init__(self, rows: list[object]) -> None:
        self.rows = rows

    def fetchall(self) -> list[object]:
        return self.rows


class _Connection:
    """An apsw connection that is used like one of the standard library."""

    def __init__(self, disk: Disk, path: Path, mode: Mode, synchronous: str) -> None:
        self.vfs = _Vfs(disk)
        self.synchronous = synchronous
        flags = {
            "ro": apsw.SQLITE_OPEN_READONLY,
            "rw": apsw.SQLITE_OPEN_READWRITE,
            "rwc": apsw.SQLITE_OPEN_READWRITE | apsw.SQLITE_OPEN_CREATE,
        }[mode]
        try:
            self.connection = apsw.Connection(
                path.as_posix(), vfs=self.vfs.vfs_name, flags=flags, statementcachesize=0
            )
        except apsw.Error as error:
            raise _as_standard(error) from error

    def execute(self, sql: str, parameters: Sequence[object] = ()) -> _Answer:
        if sql.startswith("PRAGMA synchronous="):
            sql = f"PRAGMA synchronous={self.synchronous}"
        try:
            return _Answer(list(self.connection.execute(sql, parameters)))
        except apsw.Error as error:
            raise _as_standard(error) from error
        except UnicodeDecodeError as error:
            raise _as_standard(_failed(apsw.CorruptError, apsw.SQLITE_CORRUPT)) from error

    def close(self) -> None:
        self.connection.close()
        self.vfs.unregister()


def _as_standard(error: apsw.Error) -> sqlite3.Error:
    made = sqlite3.OperationalError(str(error))
    made.sqlite_errorcode = error.extendedresult
    return made


def forgetful_connect(
    disk: Disk, synchronous: str = "EXTRA"
) -> Callable[[Path, Mode], _Connection]:
    """What a store takes as ``connect``, with its files on this disk.

    ``synchronous`` stands in for what the store asks for, to show what that is good for.
    """
    return lambda path, mode: _Connection(disk, path, mode, synchronous)


# --- attachments on it


class _Stream(io.BytesIO):
    """A file that is being written; all writes go to the disk at once, unflushed."""

    def __init__(self, disk: Disk, node: Node) -> None:
        super().__init__()
        self.disk = disk
        self.node = node

    def write(self, data: bytes) -> int:
        self.disk.write(self.node, len(self.node.content), data)
        return len(data)


class ForgetfulFiles(Files):
    """The file system of the attachments, on a forgetful disk."""

    def __init__(self, disk: Disk, changed: float = 0.0) -> None:
        self.disk = disk
        self.changed = changed

    def make_folder(self, folder: Path) -> None:
        self.disk.make_folder(folder.as_posix())
        self.flush_folder(folder.parent)

    def create(self, path: Path) -> _Stream:
        return _Stream(self.disk, self.disk.make_file(path.as_posix()))

    def flush(self, file: _Stream) -> None:
        self.disk.flush(file.node)

    def rename(self, old: Path, new: Path) -> None:
        self.disk.rename(old.as_posix(), new.as_posix())

    def stands(self, path: Path, attachment: Attachment) -> bool:
        content = self.disk.content(path)
        if content is None or hashlib.sha256(content).hexdigest() != attachment.sha256:
            return False
        self.flush(_Stream(self.disk, self.disk.names[path.as_posix()]))
        return True

    def flush_folder(self, folder: Path) -> None:
        self.disk.flush_folder(folder.as_posix())

    def remove(self, path: Path) -> None:
        self.disk.remove(path.as_posix())

    def unfinished(self, folder: Path) -> list[tuple[Path, float]]:
        return [
            (Path(name), self.changed)
            for name in self.disk.names
            if _parent(name) == folder.as_posix() and name.endswith(".part")
        ]
