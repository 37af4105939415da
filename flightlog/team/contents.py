"""The bytes of team files as tables: of versions that the record keeps, and of working copies.

Bytes of a version are believed only by their hash, and are looked at again when the file on the
disk is another one. A working copy may be anything that lies in the folder: a link, a pipe, a log.
"""

from __future__ import annotations

import hashlib
import os
import stat
from collections.abc import Mapping
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from flightlog.errors import TeamFileError
from flightlog.logbook.attachments import AttachmentStore
from flightlog.logbook.entry import Attachment
from flightlog.logbook.flying_kinds import FILE_KINDS
from flightlog.team.differences import differences
from flightlog.team_files.reading import LARGEST_BYTES, kind_of, near_miss, shown, table_of

MOST_KEPT = 4096
"""So many versions are kept parsed; a team has some hundreds."""


@dataclass(frozen=True, slots=True, eq=False)
class Content:
    """What the bytes of a version say; the same bytes give the same object.

    Attributes
    ----------
    table : mapping or None
        What the file says; None where that can't be told.
    fault : str
        Why not, as a clause; empty where it can.
    missing : bool
        Whether the bytes are missing or damaged, and so may come back.
    """

    table: Mapping[str, Any] | None
    fault: str = ""
    missing: bool = False


NOTHING = Content({})
"""What is there before a first version."""


def version_content(store: AttachmentStore, attachment: Attachment, kind: str, id_: str) -> Content:
    """Give what a version says whose bytes the record keeps.

    Parameters
    ----------
    store : AttachmentStore
        Where they are kept.
    attachment : Attachment
        As the entry names them.
    kind, id_ : str
        What they have to be of.
    """
    if attachment.size > LARGEST_BYTES:
        return Content(None, f"it holds {attachment.size} bytes, too many for a team file")
    path = store.path(attachment.sha256)
    try:
        info = path.lstat()
    except OSError:
        return Content(None, "its bytes are missing", missing=True)
    there = (info.st_ino, info.st_size, info.st_mtime_ns, info.st_ctime_ns)
    return _content(store.folder, attachment, kind, id_, there)


@lru_cache(maxsize=MOST_KEPT)
def _content(
    folder: Path, attachment: Attachment, kind: str, id_: str, there: tuple[int, ...]
) -> Content:
    """See ``version_content``; ``there`` says which file on the disk it is."""
    store = AttachmentStore(folder)
    problem = store.problem(attachment)
    if problem:
        return Content(None, f"its bytes can't be had: {problem}", missing=True)
    path = store.path(attachment.sha256)
    try:
        data = path.read_bytes()
    except OSError as error:
        return Content(None, f"its bytes can't be read ({error.strerror})", missing=True)
    if hashlib.sha256(data).hexdigest() != attachment.sha256:
        return Content(None, "its bytes have another hash", missing=True)
    try:
        table = table_of(data, kind, Path(attachment.name))
    except TeamFileError as error:
        return Content(None, error.found)
    if table.get("id") != id_:
        return Content(None, f"its id is {shown(table.get('id'))}, and the entry says {id_!r}")
    return Content(table)


@lru_cache(maxsize=MOST_KEPT)
def changed_limits(kind: str, before: Content, after: Content) -> tuple[str, ...]:
    """Give the keys of the limits that differ between two contents, both of which are known."""
    found = differences(kind, before.table or {}, after.table or {})
    return tuple(difference.key for difference in found if difference.limit)


def working_bytes(path: Path) -> bytes:
    """Read a file in the team folder, whatever lies there.

    Raises
    ------
    TeamFileError
        If it is a link, no file, too large, or can't be read.
    """
    try:
        info = path.lstat()
        if stat.S_ISLNK(info.st_mode):
            raise TeamFileError(
                "is a link; links are not followed",
                where=str(path),
                fix="Put the file itself in its place.",
            )
        if not stat.S_ISREG(info.st_mode):
            raise TeamFileError("is no file", where=str(path), fix="Name one file.")
        with open(path, "rb", opener=_not_through_a_link) as file:
            data = file.read(LARGEST_BYTES + 1)
    except FileNotFoundError as error:
        raise TeamFileError("no such file", where=str(path), fix=_beside(path)) from error
    except (OSError, ValueError) as error:  # ValueError: a name that no file can have
        said = getattr(error, "strerror", None) or str(error)
        raise TeamFileError(
            f"can't be read ({said})",
            where=repr(str(path))[1:-1],
            fix="Check name and permissions.",
        ) from error
    if len(data) > LARGEST_BYTES:
        raise TeamFileError(
            f"holds more than {LARGEST_BYTES} bytes, too many for a file that people edit",
            where=str(path),
            fix="Check that the right file is named.",
        )
    return data


def _not_through_a_link(path: str, flags: int) -> int:
    return os.open(path, flags | getattr(os, "O_NOFOLLOW", 0) | getattr(os, "O_NONBLOCK", 0))


def _beside(path: Path) -> str:
    try:
        names = [p.name for p in path.parent.iterdir() if p.is_file()]
    except OSError:
        return "Check the name and the folder."
    return near_miss(path.name, names) or "Check the name and the folder."


def working_table(data: bytes, kind: str, path: Path) -> tuple[Mapping[str, Any], str]:
    """Give what a working copy says, and its id.

    Raises
    ------
    TeamFileError
        If it is not TOML, of another kind, or has no id.
    """
    table = table_of(data, kind, path)
    id_ = table.get("id")
    if not isinstance(id_, str):
        raise TeamFileError(
            "is missing" if id_ is None else f"is {shown(id_)}, not a text",
            where=f"{path}: id",
            fix="Give each file an id of its own.",
        )
    return table, id_


def kind_of_file(data: bytes, path: Path) -> str:
    """Tell by its ``schema`` what kind of team file it is.

    Raises
    ------
    TeamFileError
        If it is none.
    """
    kind = kind_of(data, path)
    if kind not in FILE_KINDS:
        raise TeamFileError(
            f"is {f'a {kind} file' if kind else 'no file of ours'}, which the record does not keep",
            where=str(path),
            fix=f'Such a file starts with schema = "flightlog.KIND/1", KIND one of '
            f"{', '.join(FILE_KINDS)}.",
        )
    return kind
