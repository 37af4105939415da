"""The newest log on a card: by what the files hold, their times, and the numbers in their names.

Recorders number their logs, and many have no clock when they begin one, so that times may be
missing or alike. A time that no flying day has is not believed; the number decides then, and
where it speaks against the times both are told.
"""

from __future__ import annotations

import os
import re
import stat
from collections.abc import Callable, Iterator
from dataclasses import dataclass
from datetime import UTC, datetime, timedelta
from pathlib import Path

from flightlog.errors import FlightlogError, LogFileError
from flightlog.importers import Match, detect, read_head
from flightlog.importers.registry import ENDINGS

DEEPEST = 8
"""Folders below the one that is named."""
MOST_ENTRIES = 50_000
"""Files and folders that are looked at."""
MOST_HEADS = 500
"""Files whose beginning is read, the newest first: pictures may lie on a card too."""
FAT_STEP_S = 2.0
"""Times on a card are told in steps of so much [s]."""

EMPTY, LINK = "is empty", "is a link, and links are not followed"
HIDDEN, SPECIAL = "is hidden", "is a pipe or a device"
DEEP = f"lies more than {DEEPEST} folders down"
"""Why something is passed over."""

_EARLIEST = datetime(2000, 1, 1, tzinfo=UTC)
_AHEAD = timedelta(days=1)
_SYSTEM = {
    "system volume information", "lost+found", "__macosx", "recycler", "found.000",
    ".trashes", ".spotlight-v100", ".fseventsd", ".temporaryitems",
}  # fmt: skip
_OF_SYSTEM = ("$", "._", ".trash-")
"""How names begin that an operating system makes: bins, and what belongs to another file."""
_NOT_LOGS = {
    ".py", ".ipynb", ".c", ".h", ".cpp", ".hpp", ".js", ".ts", ".lua", ".m", ".r", ".sh", ".bat",
    ".ps1", ".md", ".rst", ".tex", ".html", ".htm", ".css", ".toml", ".json", ".yaml", ".yml",
    ".ini", ".cfg",
}  # fmt: skip
"""Endings of programs and prose, which may quote the lines of a log."""
_DIGITS = re.compile(r"\d{1,18}", re.ASCII)
_HIDDEN = getattr(stat, "FILE_ATTRIBUTE_HIDDEN", 0) | getattr(stat, "FILE_ATTRIBUTE_SYSTEM", 0)
_REPARSE = getattr(stat, "FILE_ATTRIBUTE_REPARSE_POINT", 0)


@dataclass(frozen=True, slots=True)
class Found:
    """A file on a card.

    Attributes
    ----------
    path : Path
        Where it is.
    size : int
        [bytes]
    changed : datetime or None
        Its time (aware); None where it can't be believed.
    number : int
        The last number in its name, -1 without one.
    """

    path: Path
    size: int
    changed: datetime | None
    number: int

    def place(self) -> tuple[bool, int, int, str]:
        """Give what files are sorted by, the newest highest."""
        step = int(self.changed.timestamp() / FAT_STEP_S) if self.changed is not None else 0
        return (self.changed is not None, step, self.number, self.path.name)


@dataclass(frozen=True, slots=True)
class Newest:
    """The newest log of a folder.

    Attributes
    ----------
    log : Found
        It.
    format : str
        Slug of its format.
    others : int
        How many other files there are.
    higher : Found or None
        A log beside it of the same kind with a higher number in its name, though older by time.
    """

    log: Found
    format: str
    others: int
    higher: Found | None = None


def newest_log(folder: Path, now: datetime) -> Newest:
    """Find the newest log in a folder and those below it.

    Hidden files and folders, and those of operating systems, are left out; links are not
    followed.

    Parameters
    ----------
    folder : Path
        Of the card.
    now : datetime
        Times beyond it are not believed.

    Raises
    ------
    LogFileError
        If the folder can't be read, or holds no log that can be recognised.
    """
    files = sorted(files_in(folder, now), key=Found.place, reverse=True)
    for found in files[:MOST_HEADS]:
        format_ = format_of(found.path)
        if format_:
            return Newest(found, format_, len(files) - 1, _higher(found, format_, files))
    many = (
        f" among the newest {MOST_HEADS} of {len(files)} files" if len(files) > MOST_HEADS else ""
    )
    raise LogFileError(
        f"holds no log that can be recognised{many}" if files else "holds no file",
        where=str(folder),
        fix="Look whether the card is in, and whether this is its folder.",
    )


def files_in(
    folder: Path, now: datetime, passed: Callable[[Path, str], None] | None = None
) -> Iterator[Found]:
    """Give the files of a folder and of those below it, at most so many as are looked at.

    Hidden files and folders, and those of operating systems, are left out.

    Parameters
    ----------
    folder : Path
        Of the card.
    now : datetime
        Times beyond it are not believed.
    passed : callable, optional
        Called with what is passed over, and why; not with what is of an operating system.

    Raises
    ------
    LogFileError
        If the folder itself can't be read.
    """
    try:
        waiting = [(0, list(os.scandir(folder)))]
    except OSError as error:
        raise LogFileError(
            f"can't be read ({error.strerror})",
            where=str(folder),
            fix="Look whether the card is in, and name its folder.",
        ) from error
    pass_over = passed or _unheard
    seen = 0
    while waiting:
        depth, entries = waiting.pop()
        for entry in entries:
            path = Path(entry.path)
            seen += 1
            if seen > MOST_ENTRIES:
                pass_over(folder, f"holds more than {MOST_ENTRIES} files and folders")
                return
            try:
                info = entry.stat(follow_symlinks=False)
                if _is_of_system(entry.name):
                    continue
                if why := _why_left_out(entry.name, info):
                    pass_over(path, why)
                elif stat.S_ISDIR(info.st_mode) and depth < DEEPEST:
                    waiting.append((depth + 1, list(os.scandir(entry.path))))
                elif stat.S_ISREG(info.st_mode) and info.st_size:
                    yield _found(path, info, now)
                else:
                    _tell_passed(path, info.st_mode, pass_over)
            except OSError as error:
                pass_over(path, f"can't be read ({error.strerror})")


def _unheard(path: Path, why: str) -> None:
    """Take what nobody wants to know."""


def _tell_passed(path: Path, mode: int, pass_over: Callable[[Path, str], None]) -> None:
    if stat.S_ISDIR(mode):
        pass_over(path, DEEP)
    elif stat.S_ISLNK(mode):
        pass_over(path, LINK)
    else:
        pass_over(path, EMPTY if stat.S_ISREG(mode) else SPECIAL)


def _is_of_system(name: str) -> bool:
    folded = name.casefold()
    return folded.startswith(_OF_SYSTEM) or folded in _SYSTEM


def _why_left_out(name: str, info: os.stat_result) -> str:
    """Say why something is not looked at, whatever it is; "" where it is."""
    attributes = getattr(info, "st_file_attributes", 0)
    if name.startswith((".", "~")) or attributes & _HIDDEN:
        return HIDDEN
    return LINK if attributes & _REPARSE else ""


def _found(path: Path, info: os.stat_result, now: datetime) -> Found:
    try:
        changed: datetime | None = datetime.fromtimestamp(info.st_mtime, UTC)
    except (OverflowError, OSError, ValueError):
        changed = None
    if changed is not None and not _EARLIEST <= changed <= now + _AHEAD:
        changed = None
    digits = _DIGITS.findall(path.stem)
    return Found(path, info.st_size, changed, int(digits[-1]) if digits else -1)


def format_of(path: Path) -> str:
    """Give the format of a file in a folder, "" where none is recognised or it can't be read.

    Nobody said that it is a log. So text that only resembles one has to be named like one, and
    programs and prose, which may quote its lines, are none.
    """
    try:
        head = read_head(path)
        found = detect(head, where=path.name)
    except FlightlogError:
        return ""
    ending = path.suffix.casefold()
    is_text = b"\0" not in head
    if is_text and (
        ending in _NOT_LOGS or (ending not in ENDINGS and found.sniff(head) is not Match.YES)
    ):
        return ""
    return found.format


def _higher(log: Found, format_: str, files: list[Found]) -> Found | None:
    """Give the log beside it whose number is the highest, where that is not it."""
    beside = [
        f
        for f in files
        if f.path.parent == log.path.parent
        and f.path.suffix.casefold() == log.path.suffix.casefold()
        and _DIGITS.sub("", f.path.stem) == _DIGITS.sub("", log.path.stem)
    ]
    highest = max(beside, key=lambda f: f.number, default=log)
    if highest.number <= log.number or format_of(highest.path) != format_:
        return None
    return highest
