"""Keeping what is found after an incident: every file as it is, by its hash, sources only read.

Whole cards are walked through, the newest files first. What is left out or can't be read is said,
in the record too; a file that breaks off is kept as far as it can be read. Links are not followed
but where a person named one, and nothing is opened that is no file: a pipe would wait for ever.
"""

from __future__ import annotations

import hashlib
import stat
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from os import stat_result
from pathlib import Path
from typing import BinaryIO

from flightlog.errors import FlightlogError, NotWritableError
from flightlog.logbook.book import Draft
from flightlog.logbook.entry import (
    CITES,
    MOST_ATTACHMENT_BYTES,
    Attachment,
    Entry,
    Relation,
)
from flightlog.logbook.flying_kinds import INCIDENT
from flightlog.operations.desk import Desk
from flightlog.operations.incident import facts_in_parts
from flightlog.team.ledger import AIRCRAFT

MOST_FILES = 5_000
MOST_FOLDERS = 20_000
MOST_IN_ONE = 60
"""Attachments of one entry; more go into further entries that cite the incident."""
KEEP_THE_CARD = "keep the card or stick itself, and change nothing on it"
AS_FOUND = "Sources as they were found, copied by their hash."
NOT_KEPT = "Not kept, or not whole:"

_LONGEST_NAME = 200
_CHUNK = 1024 * 1024
_LINK_TAGS = (0xA0000003, 0xA000000C)  # Windows: mount points and symbolic links

Tell = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Kept:
    """What became of one source.

    Attributes
    ----------
    path : Path
        Where it was.
    attachment : Attachment or None
        As it is kept; None where it is not.
    why_not : str
        What is to be known: why it was not kept, or not whole. A clause.
    """

    path: Path
    attachment: Attachment | None
    why_not: str = ""


def keep(desk: Desk, incident: Entry, sources: Iterable[Path], tell: Tell) -> list[Kept]:
    """Copy every source by its hash; sources are opened for reading only.

    A file that can't be read is told and left; the others are kept all the same. The record is
    told in steps of `MOST_IN_ONE` files, so that little is lost when this is interrupted.

    Parameters
    ----------
    desk : Desk
        The record.
    incident : Entry
        From ``incident.restrict``.
    sources : iterable of Path
        Files and folders.
    tell : callable
        Takes a line for each file.

    Raises
    ------
    NotWritableError
        If the entries can't be written.
    """
    kept: list[Kept] = []
    waiting: list[Kept] = []
    try:
        for one in _each(desk, sources, tell):
            kept.append(one)
            waiting.append(one)
            if len(waiting) >= MOST_IN_ONE:
                _enter(desk, incident, waiting, kept)
                waiting = []
    finally:
        if waiting:
            _enter(desk, incident, waiting, kept)
    return kept


def _enter(desk: Desk, incident: Entry, found: list[Kept], kept: list[Kept]) -> None:
    """Enter files that were kept, and what is to be said of those that were not."""
    before = {k.attachment.sha256: k for k in kept if k not in found and k.attachment}
    attached: dict[str, Attachment] = {}
    said: list[str] = []
    for one in found:
        if one.why_not:
            said.append(f"{one.path.name}: {one.why_not}")
        if one.attachment is None:
            continue
        same = attached.get(one.attachment.sha256) or (
            before[one.attachment.sha256].attachment if one.attachment.sha256 in before else None
        )
        if same is None:
            attached[one.attachment.sha256] = one.attachment
        else:
            said.append(f"{one.attachment.name}: the same bytes as {same.name}")
    text = "\n".join((AS_FOUND, *((NOT_KEPT, *said) if said else ())))
    first, *more = facts_in_parts(text)
    _append(desk, incident, first, tuple(attached.values()))
    for part in more:
        _append(desk, incident, part, ())


def _append(desk: Desk, incident: Entry, facts: str, attached: tuple[Attachment, ...]) -> None:
    said = incident.body.content
    content = {"facts": facts, "packs": list(said["packs"])}
    if AIRCRAFT in said:
        content[AIRCRAFT] = said[AIRCRAFT]
    relations = [Relation(CITES, incident.hash)]
    desk.append(Draft(INCIDENT, content, attachments=attached, relations=relations))


# --- one file


def _each(desk: Desk, sources: Iterable[Path], tell: Tell) -> Iterator[Kept]:
    own = _place_of(desk.folder.logbook)
    for source in sources:
        for found in walked(source, own):
            if found.why_not:
                tell(f"{found.path}: {found.why_not}")
                yield Kept(found.path, None, found.why_not)
            else:
                tell(f"keeping {found.path}")
                yield _kept(desk, found.path, found.name)


def _kept(desk: Desk, path: Path, name: str) -> Kept:
    """Keep one file, whole or as far as it can be read."""
    try:
        before = path.stat()
        if before.st_size > MOST_ATTACHMENT_BYTES:
            return Kept(path, None, _too_large(path, before.st_size))
        with path.open("rb") as stream:
            reader = _Patient(stream)
            attachment = desk.book.attachments.put(reader, name)
    except NotWritableError as error:
        return Kept(path, None, f"{error.found} ({error.where}); {KEEP_THE_CARD}")
    except FlightlogError as error:
        return Kept(path, None, f"{error.found}; {KEEP_THE_CARD}")
    except (OSError, ValueError) as error:
        return Kept(path, None, _unreadable(error))
    whole = Kept(path, attachment)
    if reader.broke_off:
        cut = replace(attachment, name=f"{attachment.name} (first {attachment.size} bytes)")
        why = (
            f"breaks off after {attachment.size} of {before.st_size} bytes ({reader.broke_off}); "
            f"{KEEP_THE_CARD}"
        )
        return Kept(path, cut, why)
    return replace(whole, why_not=_changed(path, before, attachment.size))


def _changed(path: Path, before: stat_result, size: int) -> str:
    """Say whether a file was another one while it was copied, "" where nothing shows that."""
    try:
        after = path.stat()
    except OSError as error:
        return f"it went away while it was copied ({error.strerror})"
    same = (before.st_size, before.st_mtime_ns) == (after.st_size, after.st_mtime_ns)
    if same and size == before.st_size:
        return ""
    return "it changed while it was copied; something still writes to it"


def _too_large(path: Path, size: int) -> str:
    """Say of a file that is larger than attachments are, with its hash, that it was not kept."""
    digest = hashlib.sha256()
    try:
        with path.open("rb") as stream:
            while chunk := stream.read(_CHUNK):
                digest.update(chunk)
        hashed = f"SHA-256 {digest.hexdigest()}"
    except OSError as error:
        hashed = _unreadable(error)
    return f"{size} bytes are too many to attach, {hashed}; {KEEP_THE_CARD}"


def _unreadable(error: OSError | ValueError) -> str:
    said = getattr(error, "strerror", None) or str(error)
    return f"can't be read ({said}); {KEEP_THE_CARD}"


class _Patient:
    """Reads a file as far as it can be read; where it breaks off is no end of the others."""

    def __init__(self, stream: BinaryIO) -> None:
        self._stream = stream
        self.broke_off = ""

    def read(self, size: int, /) -> bytes:
        """Give up to ``size`` bytes, none at the end or where the source breaks off."""
        if self.broke_off:
            return b""
        try:
            return self._stream.read(size)
        except OSError as error:
            self.broke_off = str(error.strerror or error)
            return b""


# --- walking through folders


@dataclass(frozen=True, slots=True)
class Found:
    """Something below a source: a file, or what is left out and why.

    Attributes
    ----------
    path : Path
        Where it is.
    name : str
        What it is to be called: its place below the source.
    why_not : str
        Why it is left out; empty for a file.
    changed_s : float
        When it was changed, by the card's clock [s].
    """

    path: Path
    name: str
    why_not: str = ""
    changed_s: float = 0.0


def walked(source: Path, but: tuple[int, int] | None = None) -> list[Found]:
    """Give the files at and below a source, the newest first, and after them what is left out.

    Parameters
    ----------
    source : Path
        A file or a folder; a link that a person named is followed.
    but : tuple of int, optional
        Device and number of a folder that is left out: the record itself.
    """
    files: list[Found] = []
    left_out: list[Found] = []
    waiting = [source]
    folders = 0
    while waiting:
        path = waiting.pop()
        name = _name_below(path, source)
        try:
            info = path.stat() if path is source else path.lstat()
            if path is not source and _is_link(info):
                left_out.append(Found(path, name, "left out, a link"))
            elif stat.S_ISDIR(info.st_mode):
                if but is not None and (info.st_dev, info.st_ino) == but:
                    left_out.append(Found(path, name, "left out, the team's own record"))
                    continue
                folders += 1
                if folders <= MOST_FOLDERS:
                    waiting += path.iterdir()
            elif stat.S_ISREG(info.st_mode):
                files.append(Found(path, name, changed_s=info.st_mtime))
            else:
                left_out.append(Found(path, name, "left out, no file"))
        except (OSError, ValueError, RuntimeError) as error:
            left_out.append(Found(path, name, f"left out: {_unreadable_place(error)}"))
    return [*_newest_first(files, source, folders), *sorted(left_out, key=lambda f: f.name)]


def _newest_first(files: list[Found], source: Path, folders: int) -> list[Found]:
    ordered = sorted(files, key=lambda f: (-f.changed_s, f.name))
    if len(ordered) > MOST_FILES or folders > MOST_FOLDERS:
        why = f"more than {MOST_FILES} files or {MOST_FOLDERS} folders: the rest is left out"
        ordered = [*ordered[:MOST_FILES], Found(source, source.name, f"{why}; {KEEP_THE_CARD}")]
    return ordered


def _name_below(path: Path, source: Path) -> str:
    """Name a file by its place below what was given; the end of it where that is long."""
    below = path.relative_to(source.parent).as_posix() if path is not source else path.name
    return (below or str(path))[-_LONGEST_NAME:]


def _unreadable_place(error: OSError | ValueError | RuntimeError) -> str:
    said = getattr(error, "strerror", None) or str(error)
    return f"can't be read ({said})"


def _is_link(info: stat_result) -> bool:
    return stat.S_ISLNK(info.st_mode) or getattr(info, "st_reparse_tag", 0) in _LINK_TAGS


def _place_of(folder: Path) -> tuple[int, int] | None:
    try:
        info = folder.stat()
    except OSError:
        return None
    return (info.st_dev, info.st_ino)
