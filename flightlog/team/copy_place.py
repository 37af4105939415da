"""Where a second copy goes, and how its files get there: whole, and in place of what was there.

New files are written beside their place, read back, and only then given their names: those of the
record last. So what stands under the name of the copy is at each moment a whole record, the one of
before or the new one. Attachments are named by what they hold, so that more of them never change
what is there. The first copy is renamed as one folder.
"""

from __future__ import annotations

import errno
import hashlib
import os
import secrets
import shutil
import time
from collections.abc import Iterator, Sequence
from contextlib import contextmanager, suppress
from dataclasses import dataclass, field
from pathlib import Path

from flightlog.errors import NotWritableError, TeamFolderError
from flightlog.logbook.attachments import Files
from flightlog.logbook.layout import ATTACHMENTS, RECORD
from flightlog.team.folder import LOGBOOK, TABLES, TEAM_FILE, TeamFolder

OLD_S = 3600.0
"""Age from which what an interrupted copy left behind is removed [s]."""

_MARK = ".copying-"
_OLD = ".before"
_CHUNK = 1024 * 1024
_FULL = {errno.ENOSPC, getattr(errno, "EDQUOT", errno.ENOSPC)}
_READ_ONLY = {errno.EROFS, errno.EACCES, errno.EPERM}
_INTACT = "Nothing was lost: what was copied before is as it was."


def place_of(folder: TeamFolder, to: Path) -> Path:
    """Give where the copy goes: the folder that is named, or one of the team's name in it.

    Into a folder that holds other things, such as a memory stick itself, goes a folder of the
    name that the team's own has; a new one, or a copy that is there, is meant itself.

    Raises
    ------
    NotWritableError
        If it is within the team folder or holds it, is within another one, or something else
        stands there.
    """
    with _worded(to):
        named = Path(os.path.realpath(to))
        own = Path(os.path.realpath(folder.path))
        if named.is_dir() and not (named / TEAM_FILE).is_file() and any(named.iterdir()):
            named = Path(os.path.realpath(named / own.name))
        if named in own.parents or any(_same(p, own) for p in (named, *named.parents)):
            raise _refused("it is the team folder itself, in it or around it", to)
        above = next((p for p in named.parents if (p / TEAM_FILE).is_file()), None)
        if above is not None:
            raise _refused(f"it would be within the team folder {above}", to)
        if named.exists() and not named.is_dir():
            raise _refused("there is a file of that name", named)
        if named.is_dir() and not (named / TEAM_FILE).is_file() and any(named.iterdir()):
            raise _refused("the folder holds something else", named)
        if not named.parent.is_dir():
            raise _refused("the folder that it would be in is not there", named)
    return named


def _same(one: Path, other: Path) -> bool:
    """Whether two paths are one folder, written in small or capital letters."""
    return one == other or (one.exists() and one.samefile(other))


def _refused(found: str, where: Path) -> NotWritableError:
    return NotWritableError(found, where=str(where), fix="Name another place, as on a stick.")


@dataclass(frozen=True, slots=True)
class Inside:
    """What a team folder holds beside its record and attachments, by the place in it.

    Attributes
    ----------
    files, folders : list of str
        What is copied as it is.
    left_out : list of str
        Links, and what is neither file nor folder.

    Notes
    -----
    Tables that are made anew out of the record are in none of them: they may change, or go, at any
    moment, and may be larger than all the rest.
    """

    files: list[str]
    folders: list[str]
    left_out: list[str]


def inside_of(folder: Path) -> Inside:
    """Look what there is in a team folder to be copied as it is.

    Raises
    ------
    OSError
        If a folder can't be read.
    """
    found = Inside([], [], [])
    for place, folders, names in os.walk(folder, onerror=_raise):
        here = Path(place)
        for name in sorted([*folders, *names]):
            path = here / name
            inside = path.relative_to(folder).as_posix()
            if name.startswith(_MARK) or inside in (f"{LOGBOOK}/{ATTACHMENTS}", TABLES):
                continue
            if inside.startswith(f"{LOGBOOK}/{RECORD}"):
                continue
            if is_link(path) or not (path.is_file() or path.is_dir()):
                found.left_out.append(inside)
            else:
                (found.files if path.is_file() else found.folders).append(inside)
        folders[:] = [
            name
            for name in sorted(folders)
            if not name.startswith(_MARK)
            and not is_link(here / name)
            and (here / name) not in (folder / LOGBOOK / ATTACHMENTS, folder / TABLES)
        ]
    return found


def _raise(error: OSError) -> None:
    raise error


def is_link(path: Path) -> bool:
    """Whether a path is a link of any sort: it leads elsewhere than its own folder does."""
    return os.path.realpath(path) != os.path.join(os.path.realpath(path.parent), path.name)


def sha256_of(path: Path) -> str:
    """Read a file and give its SHA-256, 64 hexadecimal digits."""
    with path.open("rb") as stream:
        return hashlib.file_digest(stream, "sha256").hexdigest()


@dataclass
class Staging:
    """What is written before it gets its name.

    Parameters
    ----------
    place : Path
        The copy as it is to be.
    files : Files
        The file system.
    """

    place: Path
    files: Files
    first: bool = field(init=False)
    folder: Path = field(init=False)
    staged: list[str] = field(default_factory=list)

    def __post_init__(self) -> None:
        """Make the folder of what is not whole yet, and remove what was left behind."""
        self.first = not (self.place / TEAM_FILE).is_file()
        home, name = (
            (self.place.parent, f"{_MARK}{self.place.name}-")
            if self.first
            else (
                self.place,
                _MARK,
            )
        )
        self.folder = home / f"{name}{secrets.token_hex(4)}"
        try:
            with _worded(self.place):
                _remove_left_over(home, name)
                self.files.make_folder(self.folder)
            if not self.first:
                self.make_folder(LOGBOOK, self.place)
        except BaseException:
            self.discard()
            raise

    @property
    def attachments(self) -> Path:
        """The folder into which attachments go: at once into a copy that is there."""
        return (self.folder if self.first else self.place) / LOGBOOK / ATTACHMENTS

    def take_folder(self, inside: str) -> None:
        """Make a folder that may stay empty."""
        self.make_folder(inside, None if self.first else self.place)

    @property
    def record(self) -> Path:
        """The folder of the logbook that is being made."""
        return self.folder / LOGBOOK

    def make_folder(self, inside: str, base: Path | None = None) -> Path:
        """Make a folder of the copy, or of ``base``, and those above it; links are refused."""
        path = base or self.folder
        for part in Path(inside).parts:
            path = path / part
            with _worded(path):
                if is_link(path):
                    raise NotWritableError(
                        "a link stands where a folder of the copy should be",
                        where=str(path),
                        fix="Put the folder itself in its place, or name another copy.",
                    )
                if not path.is_dir():
                    self.files.make_folder(path)
        return path

    def take(self, source: Path, inside: str) -> str:
        """Copy a file, unless the same is there; give the SHA-256 of what was read.

        Raises
        ------
        TeamFolderError
            If it can't be read.
        NotWritableError
            If it can't be written.
        """
        there = self.place / inside
        if not self.first and there.is_file() and not is_link(there):
            with _reading(source):
                digest = sha256_of(source)
            with suppress(OSError):
                if sha256_of(there) == digest:
                    return digest
        target = self.make_folder(str(Path(inside).parent)) / Path(inside).name
        digest = self._write(source, target)
        self.staged.append(inside)
        return digest

    def _write(self, source: Path, target: Path) -> str:
        digest = hashlib.sha256()
        with _reading(source):
            stream = source.open("rb")
        with stream, _worded(target), self.files.create(target) as file:
            while True:
                with _reading(source):
                    chunk = stream.read(_CHUNK)
                if not chunk:
                    break
                digest.update(chunk)
                file.write(chunk)
            self.files.flush(file)
        return digest.hexdigest()

    def where(self, inside: str) -> Path:
        """Give where a file of the copy stands now."""
        return (self.folder if inside in self.staged else self.place) / inside

    def commit(self) -> None:
        """Give everything its name; after an error all is as it was.

        Raises
        ------
        NotWritableError
            If the disk refuses.
        """
        with _worded(self.place):
            if self.first:
                with suppress(FileNotFoundError):
                    self.place.rmdir()  # an empty one; systems differ in renaming onto it
                self.files.rename(self.folder, self.place)
                self.files.flush_folder(self.place.parent)
                return
            self._replace()
        self.discard()

    def _replace(self) -> None:
        record = f"{LOGBOOK}/{RECORD}"
        replaced: list[tuple[Path, Path | None]] = []
        try:
            for inside in sorted(self.staged):
                if inside != record:
                    replaced.append(self._exchange(inside))
            if record in self.staged:
                self.files.rename(self.folder / record, self.place / record)
        except BaseException:
            for target, before in reversed(replaced):
                with suppress(OSError):
                    if before is None:
                        target.unlink()
                    else:
                        self.files.rename(before, target)
            raise
        self.files.flush_folder(self.place / LOGBOOK)

    def _exchange(self, inside: str) -> tuple[Path, Path | None]:
        """Put a new file in the place of an old one; give its place, and where the old one is."""
        above = str(Path(inside).parent)
        target = self.make_folder(above, self.place) / Path(inside).name
        before = None
        if target.exists():
            before = self.make_folder(f"{_OLD}/{above}") / target.name
            self.files.rename(target, before)
        try:
            self.files.rename(self.folder / inside, target)
            self.files.flush_folder(target.parent)
        except BaseException:
            if before is not None:
                with suppress(OSError):
                    self.files.rename(before, target)
            raise
        return target, before

    def discard(self) -> None:
        """Take away what has no name; what has one stays."""
        shutil.rmtree(self.folder, ignore_errors=True)


def _remove_left_over(folder: Path, begins: str) -> None:
    """Remove what copies left behind that were ended from outside."""
    for path in folder.glob(f"{begins}*"):
        with suppress(OSError):
            newest = max(p.lstat().st_mtime for p in (path, *path.rglob("*")))
            if path.is_dir() and not is_link(path) and time.time() - newest > OLD_S:
                shutil.rmtree(path, ignore_errors=True)


@contextmanager
def _reading(source: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise TeamFolderError(
            f"can't be read ({error.strerror})", where=str(source), fix=_INTACT
        ) from error


@contextmanager
def _worded(place: Path) -> Iterator[None]:
    try:
        yield
    except OSError as error:
        raise not_written(error, place) from error


def not_written(error: OSError, place: Path) -> NotWritableError:
    """Put into words why a copy can't be written."""
    if error.errno in _FULL:
        found = "the disk is full"
    elif error.errno in _READ_ONLY:
        found = "it can't be written: the folder or the disk is read-only"
    else:
        found = f"it can't be written ({error.strerror or error})"
    return NotWritableError(found, where=str(place), fix=_INTACT)


def joined(names: Sequence[str], most: int = 5) -> str:
    """Name some files, and how many more there are."""
    more = f" and {len(names) - most} more" if len(names) > most else ""
    return f"{', '.join(names[:most])}{more}"
