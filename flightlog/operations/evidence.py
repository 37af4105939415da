"""Keeping what is found after an incident: every file as it is, by its hash, sources only read.

Whole cards are walked through, the newest files first. What is left out or can't be read is said,
in the record too; a file that breaks off is kept as far as it can be read. Links are not followed
but where a person named one, and nothing is opened that is no file: a pipe would wait for ever.
"""

from __future__ import annotations

import hashlib
import re
import stat
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass, replace
from os import stat_result
from pathlib import Path
from typing import BinaryIO

from flightlog.errors import FlightlogError
from flightlog.logbook.entry import MOST_ATTACHMENT_BYTES, Attachment, Entry
from flightlog.operations.desk import Desk
from flightlog.operations.incident import facts_in_parts, part_draft

MOST_FILES = 5_000
MOST_FOLDERS = 20_000
MOST_IN_ONE = 60
"""Attachments of one entry; more go into further entries that cite the incident."""
KEEP_THE_CARD = "keep the card or stick itself, and change nothing on it"
AS_FOUND = "Sources as they were found, copied by their hash."
TO_BE_KNOWN = "To be known of them:"

_LONGEST_NAME = 200
_DIGITS = re.compile(r"[0-9]{1,18}", re.ASCII)
_LINK_TAGS = (0xA0000003, 0xA000000C)  # Windows: mount points and symbolic links

Tell = Callable[[str], None]


@dataclass(frozen=True, slots=True)
class Kept:
    """What became of one source.

    Attributes
    ----------
    path : Path
        Where it was.
    name : str
        Its place below what was named.
    attachment : Attachment or None
        As it is kept; None where it is not.
    why_not : str
        What is to be known: why it was not kept, or not whole. A clause.
    """

    path: Path
    name: str
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
    done = 0
    names: dict[str, str] = {}
    try:
        for one in _each(desk, sources, tell):
            kept.append(one)
            if len(kept) - done >= MOST_IN_ONE:
                waiting, done = kept[done:], len(kept)
                _enter(desk, incident, waiting, names)
    finally:
        if kept[done:]:
            _enter(desk, incident, kept[done:], names)
    return kept


def _enter(desk: Desk, incident: Entry, found: list[Kept], names: dict[str, str]) -> None:
    """Enter files that were kept, and what is to be said of those that were not.

    ``names`` are those of what was entered before, by hash; the same bytes are attached once.
    """
    attached: list[Attachment] = []
    said: list[str] = []
    for one in found:
        if one.why_not:
            said.append(f"{one.name}: {one.why_not}")
        if one.attachment is None:
            continue
        sha256, name = one.attachment.sha256, one.attachment.name
        if sha256 in names:
            said.append(f"{name}: the same bytes as {names[sha256]}")
        else:
            names[sha256] = name
            attached.append(one.attachment)
    first, *more = facts_in_parts("\n".join((AS_FOUND, *((TO_BE_KNOWN, *said) if said else ()))))
    desk.append(part_draft(incident, first, attached))
    for part in more:
        desk.append(part_draft(incident, part))


# --- one file


def _each(desk: Desk, sources: Iterable[Path], tell: Tell) -> Iterator[Kept]:
    own = _place_of(desk.folder.logbook)
    seen: set[Path] = set()
    for source in sources:
        for found in walked(source, own):
            if found.path.absolute() in seen:
                continue
            seen.add(found.path.absolute())
            one = Kept(found.path, found.name, None, found.why_not) if found.why_not else None
            if one is None:
                tell(f"keeping {found.path}")
                one = _kept(desk, found)
            if one.why_not:
                tell(f"{one.path}: {one.why_not}")
            yield one


def _kept(desk: Desk, found: Found) -> Kept:
    """Keep one file, whole or as far as it can be read."""
    path, name = found.path, found.name
    try:
        before = path.stat()
        if before.st_size > MOST_ATTACHMENT_BYTES:
            return Kept(path, name, None, _too_large(path, before.st_size))
        with path.open("rb") as stream:
            reader = _Patient(stream)
            attachment = desk.book.attachments.put(reader, name)
    except FlightlogError as error:
        return Kept(path, name, None, f"{error.found}; {KEEP_THE_CARD}")
    except (OSError, ValueError) as error:
        return Kept(path, name, None, _unreadable(error))
    if not reader.broke_off:
        return Kept(path, name, attachment, _changed(path, before, attachment.size))
    cut = replace(attachment, name=f"{attachment.name} (first {attachment.size} bytes)")
    why = (
        f"breaks off after {attachment.size} of {before.st_size} bytes ({reader.broke_off}); "
        f"{KEEP_THE_CARD}"
    )
    return Kept(path, name, cut, why)


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
    try:
        with path.open("rb") as stream:
            hashed = f"SHA-256 {hashlib.file_digest(stream, 'sha256').hexdigest()}"
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
    ordered = sorted(files, key=_age, reverse=True)
    if len(ordered) > MOST_FILES or folders > MOST_FOLDERS:
        why = f"more than {MOST_FILES} files or {MOST_FOLDERS} folders: the rest is left out"
        ordered = [*ordered[:MOST_FILES], Found(source, source.name, f"{why}; {KEEP_THE_CARD}")]
    return ordered


def _age(found: Found) -> tuple[float, int, str]:
    """Sort by time and, as cards without a clock have it, by the last number in the name."""
    digits = _DIGITS.findall(found.path.stem)
    return (found.changed_s, int(digits[-1]) if digits else -1, found.name)


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
