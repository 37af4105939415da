"""The files in the team folder beside the versions in the record: what differs, and entering it."""

from __future__ import annotations

import hashlib
import io
import os
from collections.abc import Callable, Iterator, Sequence
from contextlib import suppress
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from flightlog.errors import FlightlogError, NotWritableError, RefusedError, TeamFileError
from flightlog.inputs import load_aircraft, load_component, load_pack, load_site
from flightlog.logbook.book import Draft
from flightlog.logbook.entry import Signer
from flightlog.logbook.flying_kinds import FILE_VERSION
from flightlog.operations.checklists import load_checklist
from flightlog.operations.desk import Desk
from flightlog.operations.meter import check_meter_map
from flightlog.operations.positions import named
from flightlog.rules.book import load_rules
from flightlog.team.contents import kind_of_file, working_bytes, working_table
from flightlog.team.differences import Difference
from flightlog.team.files import FOLDERS, Following, Version
from flightlog.team.histories import AGREED, ENTERED

LOADERS: dict[str, Callable[[Path], object]] = {
    "aircraft": load_aircraft,
    "pack": load_pack,
    "component": load_component,
    "site": load_site,
    "rules": load_rules,
    "checklist": load_checklist,
    "meter": check_meter_map,
}
"""Kind of file -> what reads and checks it."""

SAME = "in force"
CHANGED = "changed"
OLDER = "an older version"
NEW = "not entered"
FAULT = "at fault"
GONE = "not in the folder"
APART = "entered apart"

MOST_FILES = 500
"""So many files of one kind are looked at; a team has some dozens."""
_MOST_CHANGES = 150
"""So many changes an entry lists; a signer looks at the file itself if there are more."""
_KEPT = ".kept"


@dataclass(frozen=True, slots=True)
class WorkingCopy:
    """A file of the folder beside its version in force.

    Attributes
    ----------
    kind, id : str
        What it is.
    path : Path
        Where it lies, or would lie.
    state : str
        "in force", "changed", "an older version", "not entered", "at fault", "not in the folder"
        or "entered apart".
    why : str
        What is wrong with it, or what else is to be known.
    changes : tuple of Difference
        From the version in force; all of it for one that was never entered.
    sha256 : str
        Of its bytes; empty where there are none.
    version : Version or None
        The one in force.
    following : Following or None
        What it would follow if it were entered now; None where it can't be.
    """

    kind: str
    id: str
    path: Path
    state: str
    why: str = ""
    changes: tuple[Difference, ...] = ()
    sha256: str = ""
    version: Version | None = None
    following: Following | None = None

    @property
    def limits(self) -> tuple[Difference, ...]:
        """The limits that differ from what it would follow, for which two persons sign."""
        return self.following.limits if self.following is not None else ()

    @property
    def needs_two(self) -> bool:
        """Whether two persons have to sign."""
        return self.following is not None and self.following.needs_two


def home_of(desk: Desk, kind: str, id_: str) -> Path:
    """Give the place of a file in the team folder."""
    return desk.folder.path / FOLDERS[kind] / f"{id_}.toml"


def working_copies(desk: Desk) -> tuple[WorkingCopy, ...]:
    """Give all files of the folder, and those of the record that the folder lacks."""
    return tuple(copy for kind in FOLDERS for copy in _of_kind(desk, kind))


def _of_kind(desk: Desk, kind: str) -> Iterator[WorkingCopy]:
    folder = desk.folder.path / FOLDERS[kind]
    try:
        paths = _files_in(folder)
    except TeamFileError as error:
        yield WorkingCopy(kind, "", folder, FAULT, error.sentence())
        paths = []
    yield from (working_copy(desk, path, kind) for path in paths)
    there = {path.stem for path in paths}
    for id_ in desk.versions.known(kind):
        if id_ not in there:
            yield WorkingCopy(
                *(kind, id_, home_of(desk, kind, id_), GONE, doubt(desk, kind, id_)),
                version=desk.versions.in_force(kind, id_),
            )


def _files_in(folder: Path) -> list[Path]:
    """Give the TOML files of a folder, by name."""
    try:
        if folder.is_symlink():
            raise TeamFileError(
                "is a link; links are not followed",
                where=str(folder),
                fix="Put the folder itself in its place.",
            )
        found = sorted(
            path
            for path in folder.iterdir()
            if path.suffix.lower() == ".toml" and not path.name.startswith(".")
        )
    except FileNotFoundError:
        return []
    except OSError as error:
        raise TeamFileError(f"can't be read ({error.strerror})", where=str(folder)) from error
    if len(found) > MOST_FILES:
        raise TeamFileError(
            f"holds {len(found)} files, of which {MOST_FILES} at most are looked at",
            where=str(folder),
            fix="Put away what is not in use.",
        )
    return found


def working_copy(desk: Desk, path: Path, kind: str = "") -> WorkingCopy:
    """Look at one file, wherever it lies; what is wrong with it is said in ``why``.

    Parameters
    ----------
    desk : Desk
        The record.
    path : Path
        The file. In a folder of its own kind it has to be called by its id.
    kind : str
        What it has to be; told by its folder or by itself when not given.
    """
    kind = kind or _kind_by_place(desk, path)
    try:
        data = working_bytes(path)
        kind = kind or kind_of_file(data, path)
        table, id_ = working_table(data, kind, path)
        LOADERS[kind](path)
        _refuse_other_name(desk, kind, id_, path)
    except FlightlogError as error:
        version = desk.versions.in_force(kind, path.stem) if kind else None
        return WorkingCopy(kind, path.stem, path, FAULT, error.sentence(), version=version)
    versions, sha256 = desk.versions, hashlib.sha256(data).hexdigest()
    version, unclear = versions.in_force(kind, id_), doubt(desk, kind, id_)
    if unclear:
        state = APART if versions.conflict(kind, id_) else CHANGED
    elif version is None:
        state = NEW
    elif version.sha256 == sha256:
        state = SAME
    else:
        state = OLDER if versions.by_hash(sha256) is not None else CHANGED
    return WorkingCopy(
        kind,
        id_,
        path,
        state,
        unclear,
        versions.differences(kind, id_, table),
        sha256,
        version,
        versions.following(kind, id_, table),
    )


def is_same(path: Path, version: Version) -> bool:
    """Whether a file has the bytes of a version, so that it need not be read as what it is."""
    try:
        return hashlib.sha256(working_bytes(path)).hexdigest() == version.sha256
    except TeamFileError:
        return False


def _kind_by_place(desk: Desk, path: Path) -> str:
    """Give the kind of file that a folder of the team folder is for, "" elsewhere."""
    for kind, folder in FOLDERS.items():
        with suppress(OSError):
            if os.path.samefile(path.absolute().parent, desk.folder.path / folder):
                return kind
    return ""


def _refuse_other_name(desk: Desk, kind: str, id_: str, path: Path) -> None:
    if _kind_by_place(desk, path) == kind and id_ != path.stem:
        raise TeamFileError(
            f"is {id_[:60]!r}, and the file is called {path.name}",
            where=f"{path}: id",
            fix=f"Let the file be called by its id: {id_[:60]}.toml.",
        )


def doubt(desk: Desk, kind: str, id_: str) -> str:
    """Say why it is not clear which version is in force, "" where it is."""
    apart = desk.versions.conflict(kind, id_)
    if apart:
        names = " and ".join(named(version.entry) for version in apart)
        return f"{names} were entered apart from each other and differ"
    fallen = desk.versions.unsettled(kind, id_)
    return "; ".join(f"{named(entry)} does not stand any more: {why}" for entry, why in fallen)


# --- entering


def version_draft(desk: Desk, copy: WorkingCopy, keys: Sequence[str]) -> Draft:
    """Draft a version of a file, to be signed by one person, or by two where a limit differs.

    Its bytes are kept in the record's folder when this returns.

    Parameters
    ----------
    desk : Desk
        The record.
    copy : WorkingCopy
        From ``working_copy``.
    keys : sequence of str
        Public keys of those who sign, the one who enters it first.

    Raises
    ------
    TeamFileError
        If the file is at fault, missing, or was changed meanwhile.
    RefusedError
        If it is in force already, or two persons have to sign and one would.
    """
    following = copy.following
    if following is None:
        raise TeamFileError(copy.why or copy.state, where=str(copy.path), fix="Put the file right.")
    if copy.state == SAME:
        raise RefusedError("this version is in force already", where=str(copy.path))
    if copy.needs_two and len({_person(desk, key) for key in keys}) < 2:
        raise RefusedError(
            f"{_why_two(copy)}, and two different persons sign that",
            where=str(copy.path),
            fix="Give --by twice: who enters it, and who agrees.",
        )
    data = working_bytes(copy.path)
    if hashlib.sha256(data).hexdigest() != copy.sha256:
        raise TeamFileError("was changed meanwhile", where=str(copy.path), fix="Try again.")
    content: dict[str, Any] = {
        "kind": copy.kind,
        "id": copy.id,
        "sha256": copy.sha256,
        "limit_changed": bool(copy.limits),
        "changes": _changes(copy),
    }
    if following.before is not None:
        content["before"] = following.before
    meanings = (ENTERED, *(AGREED for _ in keys[1:]))
    signers = [Signer(key, meaning) for key, meaning in zip(keys, meanings, strict=True)]
    attached = desk.book.attachments.put(io.BytesIO(data), f"{copy.id}.toml")
    return Draft(FILE_VERSION, content, signers, [attached])


def _why_two(copy: WorkingCopy) -> str:
    if not copy.limits:
        return "the version before is missing, so whether a limit differs can't be told"
    some = ", ".join(difference.key for difference in copy.limits[:4])
    more = f" and {len(copy.limits) - 4} more" if len(copy.limits) > 4 else ""
    verb = "sets" if copy.following is None or copy.following.before is None else "changes"
    return f"it {verb} limits ({some}{more})"


def _changes(copy: WorkingCopy) -> list[dict[str, str]]:
    """Give the changes for an entry; a first version changes nothing, it is all new."""
    if copy.version is None:
        return []
    rows = []
    for change in copy.changes[:_MOST_CHANGES]:
        texts = {"before": change.before, "after": change.after}
        row = {"key": change.key[:160], **{k: v for k, v in texts.items() if v}}
        if row not in rows:
            rows.append(row)
    if len(copy.changes) > _MOST_CHANGES:
        rows.append({"key": f"and {len(copy.changes) - _MOST_CHANGES} more"})
    return rows


def _person(desk: Desk, key: str) -> str:
    person = desk.book.people.person_of(key)
    return person.id if person is not None else key


# --- the folder


def bring_home(desk: Desk, copy: WorkingCopy) -> Path | None:
    """Put a file that was entered from elsewhere into the team folder.

    Returns
    -------
    Path or None
        Where it lies now; None where it lay there already.

    Raises
    ------
    NotWritableError
        If the folder can't be written.
    """
    version = desk.versions.in_force(copy.kind, copy.id)
    home = home_of(desk, copy.kind, copy.id)
    if version is None or home.exists():
        return None
    _write(home, version)
    return home


def restore(desk: Desk, kind: str, id_: str) -> tuple[Path, Path | None]:
    """Put the version in force into the folder in place of the working copy, which is kept.

    Returns
    -------
    home : Path
        The file.
    kept : Path or None
        Where the working copy lies now; None where there was none.

    Raises
    ------
    UsageError
        If the record holds no version of it.
    TeamFileError
        If its bytes are missing.
    NotWritableError
        If the folder can't be written.
    """
    version, home = desk.version(kind, id_), home_of(desk, kind, id_)
    try:
        kept = None
        if os.path.lexists(home):
            kept = next(place for place in _places_beside(home) if not os.path.lexists(place))
            os.replace(home, kept)
    except OSError as error:
        raise _unwritten(error, home) from error
    _write(home, version)
    return home, kept


def _places_beside(home: Path) -> Iterator[Path]:
    number = 1
    while True:
        yield home.with_name(f"{home.name}{_KEPT}{'' if number == 1 else f'-{number}'}")
        number += 1


def _write(home: Path, version: Version) -> None:
    data = working_bytes(version.path)
    try:
        home.parent.mkdir(exist_ok=True)
        with home.open("xb") as file:
            file.write(data)
    except OSError as error:
        raise _unwritten(error, home) from error


def _unwritten(error: OSError, home: Path) -> NotWritableError:
    return NotWritableError(
        f"can't be written ({error.strerror})", where=str(home), fix="Look who may write there."
    )
