"""Files of ours on the disk, as others may find and leave them: whole, bounded, through no link.

Who can write in a folder that is shared can put a link, a pipe or a huge file where a file of ours
should be; another program may hold one open; a process may be ended while it writes. What this
program keeps for itself is read, written and removed here, so that all of it goes the same way.
Everything raises ``OSError`` only: what becomes of it is for the caller to say.
"""

from __future__ import annotations

import errno
import os
import re
import secrets
import shutil
import stat
import time
from collections.abc import Callable
from contextlib import suppress
from pathlib import Path

PART = re.compile(r"[0-9a-f]{16}\.part")
"""Name of a file or folder of ours that is not whole yet."""

_JUNCTION = 0xA0000003  # IO_REPARSE_TAG_MOUNT_POINT: what a link to a folder is on Windows
_WAITS_S = (0.02, 0.05, 0.1, 0.2, 0.4)
"""How long a step is waited with before it is tried again [s]."""


def is_link(path: Path) -> bool:
    """Ask whether a path is a link, or a folder's link of Windows; what is not there is none."""
    try:
        info = path.lstat()
    except OSError:
        return False
    return stat.S_ISLNK(info.st_mode) or getattr(info, "st_reparse_tag", 0) == _JUNCTION


def own_folder(top: Path, *below: str) -> Path:
    """Make a folder of ours, and give it; no link leads there.

    Parameters
    ----------
    top : Path
        The first folder that is ours. Those above it may be links: they are the user's.
    *below : str
        Names of folders in it, each in the one before.

    Raises
    ------
    OSError
        If a link stands in place of one of them, or it can't be made.
    """
    folder = top
    for place in (top, *(top.joinpath(*below[: n + 1]) for n in range(len(below)))):
        if is_link(place):
            raise _refused(errno.ELOOP, "a link stands where a folder of ours should be", place)
        place.mkdir(parents=True, exist_ok=True)
        folder = place
    return folder


def read_small(path: Path, most: int) -> bytes:
    """Read a file of ours.

    Parameters
    ----------
    path : Path
        Where it should be.
    most : int
        None of its kind is larger [bytes]; of one that is, nothing is read.

    Raises
    ------
    OSError
        If it is missing, can't be read, is larger, or is no plain file: a link is not followed,
        and a pipe is not waited for.
    """
    if is_link(path):
        raise _refused(errno.ELOOP, "it is a link", path)
    _plain(path.lstat(), path)
    with open(path, "rb", opener=_at_once) as file:
        size = _plain(os.fstat(file.fileno()), path)
        if size > most:
            raise _refused(errno.EFBIG, "it is larger than what this program writes", path)
        # A buffer of the size that is asked for is made at once, so no more than that is asked.
        data = file.read(size + 1)
    if len(data) > size:
        raise _refused(errno.EIO, "it grows while it is read", path)
    return data


def write_whole(path: Path, data: bytes) -> None:
    """Write a file so that others see the one of before or the new one, each whole.

    Parameters
    ----------
    path : Path
        Of the file, in a folder that is there. A link in its place is replaced, not followed.
    data : bytes
        All that it is to hold.

    Raises
    ------
    OSError
        If it can't be written; then nothing is left, and the file of before stands.
    """
    part = part_in(path.parent)
    try:
        part.write_bytes(data)
        patiently(lambda: part.replace(path))
    finally:
        with suppress(OSError):
            part.unlink(missing_ok=True)


def part_in(folder: Path) -> Path:
    """Give a new name in a folder for what is not whole yet."""
    return folder / f"{secrets.token_hex(8)}.part"


def patiently(step: Callable[[], object]) -> None:
    """Do what names a file anew; try again where another program has it open for a moment.

    Raises
    ------
    OSError
        Of the last time. On Windows an open file can't be replaced, and searching programs open
        what was just written.
    """
    for wait_s in _WAITS_S:
        try:
            step()
        except PermissionError:
            time.sleep(wait_s)
        else:
            return
    step()


def remove_old(folder: Path, names: re.Pattern[str], age_s: float) -> None:
    """Remove old files, or folders, of ours; what can't be removed stays.

    Parameters
    ----------
    folder : Path
        Where they lie; one that is a link is not looked into.
    names : re.Pattern
        How ours are called, from the first letter to the last.
    age_s : float
        How long ago they were changed at the least [s].
    """
    if is_link(folder):
        return
    with suppress(OSError):
        for path in list(folder.iterdir()):
            if names.fullmatch(path.name):
                _remove_if_old(path, age_s)


def _remove_if_old(path: Path, age_s: float) -> None:
    with suppress(OSError):
        info = path.lstat()
        if is_link(path) or time.time() - info.st_mtime <= age_s:
            return
        if stat.S_ISDIR(info.st_mode):
            shutil.rmtree(path)
        elif stat.S_ISREG(info.st_mode):
            path.unlink()


def _plain(info: os.stat_result, path: Path) -> int:
    """Give the size of a plain file [bytes], and refuse anything else."""
    if not stat.S_ISREG(info.st_mode):
        raise _refused(errno.EINVAL, "it is no file", path)
    return info.st_size


def _at_once(path: str, flags: int) -> int:
    """Open without following a link or waiting for a pipe, where the system knows of that."""
    return os.open(path, flags | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0))


def _refused(number: int, found: str, path: Path) -> OSError:
    return OSError(number, found, str(path))
