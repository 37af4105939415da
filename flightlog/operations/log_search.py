"""The logs in folders, and what else lies there that a person may want to know of."""

from __future__ import annotations

import stat
from collections.abc import Iterable, Iterator, Mapping
from contextlib import suppress
from dataclasses import dataclass, field
from datetime import datetime
from pathlib import Path

from flightlog.errors import FlightlogError, LogFileError
from flightlog.importers import read_head
from flightlog.importers.registry import OWN_ENDINGS
from flightlog.operations.newest import EMPTY, HIDDEN, LINK, SPECIAL, files_in, format_of

TABLE = "is a table as text"
"""Why a file is no log, though it may be one: nobody said what its columns are."""
_TABLE_ENDINGS = {".csv", ".tsv", ".txt", ".log", ".dat"}


@dataclass(frozen=True, slots=True)
class Searched:
    """What folders hold.

    Attributes
    ----------
    logs : tuple of Path
        Files of a format that is known, files whose name says that they are logs, whatever they
        hold, and files that were named themselves.
    others : mapping of Path to str
        Files within folders that are no logs, and what they are (a clause) where they are empty,
        a link, a pipe or a table; else "".
    hidden : tuple of Path
        Hidden files that could be logs; they are not read.
    faults : tuple of LogFileError
        Folders without a log, and such in which logs may lie that were not looked at.
    """

    logs: tuple[Path, ...]
    others: Mapping[Path, str]
    hidden: tuple[Path, ...] = ()
    faults: tuple[LogFileError, ...] = ()


def search(paths: Iterable[Path], now: datetime) -> Searched:
    """Find the logs in folders and those below them; files that are named are taken as they are.

    Parameters
    ----------
    paths : iterable of Path
        Files and folders.
    now : datetime
        Times of files beyond it are not believed.
    """
    found = _Search(now)
    for path in paths:
        if is_folder(path):
            found.folder(path)
        else:
            found.logs[path] = None
    return Searched(tuple(found.logs), found.others, tuple(found.hidden), tuple(found.faults))


def is_folder(path: Path) -> bool:
    """Ask whether a path is a folder; what may not be asked is none."""
    try:
        return path.is_dir()
    except OSError:
        return False


@dataclass(slots=True)
class _Search:
    """What was found so far; each file once, though folders may hold each other."""

    now: datetime
    logs: dict[Path, None] = field(default_factory=dict)
    others: dict[Path, str] = field(default_factory=dict)
    hidden: dict[Path, None] = field(default_factory=dict)
    faults: list[LogFileError] = field(default_factory=list)

    def folder(self, folder: Path) -> None:
        """Look through a folder and those below it."""
        told, empty = len(self.faults), []

        def passed(path: Path, why: str) -> None:
            if why == EMPTY:
                empty.append(path)
            elif why in (LINK, SPECIAL):
                self.others[path] = why
            elif why == HIDDEN:
                self.hidden.update(dict.fromkeys(_hidden_logs(path, self.now)))
            else:
                fix = "Name the folders with logs, and see to it that they can be read."
                self.faults.append(LogFileError(why, where=str(path), fix=fix))

        try:
            files = [one.path for one in files_in(folder, self.now, passed)]
        except LogFileError as error:
            self.faults.append(error)
            return
        if any(fault.where == str(folder) for fault in self.faults[told:]):
            return  # it holds too many: those that come later may be older
        nothing = set(empty)
        logs = 0
        for path in sorted((*files, *empty)):
            if _is_called_log(path) or (path not in nothing and format_of(path)):
                self.logs[path] = None
                logs += 1
            else:
                self.others[path] = EMPTY if path in nothing else _what_else(path)
        if not logs and len(self.faults) == told:
            self.faults.append(_no_log(folder, bool(files or empty)))


def _is_called_log(path: Path) -> bool:
    """Whether its name says that it is a log; if it is none, that has to be told."""
    return path.suffix.casefold() in OWN_ENDINGS


def _hidden_logs(path: Path, now: datetime) -> Iterator[Path]:
    """Give what could be logs of something hidden: a file, or all that lies in a folder.

    In folders names have to be enough, since programs keep whole trees of small files in such.
    """
    try:
        info = path.lstat()
    except OSError:
        return
    if stat.S_ISREG(info.st_mode) and info.st_size and (_is_called_log(path) or format_of(path)):
        yield path
    elif stat.S_ISDIR(info.st_mode):
        with suppress(LogFileError):
            yield from (one.path for one in files_in(path, now) if _is_called_log(one.path))


def _what_else(path: Path) -> str:
    """Say what a file is that is no log, where that is worth a word."""
    from flightlog.importers.delimited import looks_delimited

    if path.suffix.casefold() not in _TABLE_ENDINGS:
        return ""
    try:
        return TABLE if looks_delimited(read_head(path)) else ""
    except FlightlogError:
        return ""


def _no_log(folder: Path, holds_files: bool) -> LogFileError:
    """Say that a folder holds no log: most often it is not the folder that was meant."""
    return LogFileError(
        "holds no log that can be recognised" if holds_files else "holds no file",
        where=str(folder),
        fix="Look whether this is the folder that was meant.",
    )
