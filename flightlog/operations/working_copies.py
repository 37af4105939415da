"""The files in the team folder beside the versions in the record: what differs, and entering it."""

from __future__ import annotations

import hashlib
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from pathlib import Path
from typing import Any

from flightlog.errors import FlightlogError, RefusedError, TeamFileError
from flightlog.inputs import load_aircraft, load_component, load_pack, load_site
from flightlog.logbook.book import Draft
from flightlog.logbook.entry import Signer
from flightlog.logbook.flying_kinds import FILE_VERSION
from flightlog.operations.checklists import load_checklist
from flightlog.operations.desk import Desk
from flightlog.operations.meter import check_meter_map
from flightlog.rules.book import load_rules
from flightlog.team.differences import Difference
from flightlog.team.files import FOLDERS, difference_from
from flightlog.team_files.reading import read_toml

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

SAME, CHANGED, NEW, FAULT, GONE, APART = (
    "in force",
    "changed",
    "not entered",
    "at fault",
    "not in the folder",
    "entered twice apart",
)
_MOST_CHANGES = 150
_MOST_FILES = 500


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
        "in force", "changed", "not entered", "at fault", "not in the folder" or "entered twice
        apart".
    why : str
        What is wrong with it.
    changes : tuple of Difference
        From the version in force; all of it for one that was never entered.
    sha256 : str
        Of its bytes; empty where there are none.
    """

    kind: str
    id: str
    path: Path
    state: str
    why: str = ""
    changes: tuple[Difference, ...] = ()
    sha256: str = ""

    @property
    def limits(self) -> tuple[Difference, ...]:
        """The limits that differ."""
        return tuple(change for change in self.changes if change.limit)


def working_copies(desk: Desk) -> tuple[WorkingCopy, ...]:
    """Give all files of the folder, and those of the record that the folder lacks."""
    found = []
    for kind, folder in FOLDERS.items():
        place = desk.folder.path / folder
        try:
            paths = sorted(p for p in place.glob("*.toml") if p.is_file())[:_MOST_FILES]
        except OSError:
            paths = []
        found += [working_copy(desk, path, kind) for path in paths]
        there = {path.stem for path in paths}
        found += [
            WorkingCopy(kind, id_, place / f"{id_}.toml", GONE)
            for id_ in desk.versions.ids(kind)
            if id_ not in there
        ]
    return tuple(found)


def working_copy(desk: Desk, path: Path, kind: str = "") -> WorkingCopy:
    """Look at one file, wherever it lies."""
    kind = kind or _kind_of(path)
    try:
        table, sha256 = read_toml(path, kind)
        LOADERS[kind](path)
        id_ = str(table["id"])
        if path.parent.name == FOLDERS[kind] and id_ != path.stem:
            raise TeamFileError(
                f"is {id_!r}, and the file is called {path.name}",
                where=f"{path}: id",
                fix="Let the file be called by its id.",
            )
    except FlightlogError as error:
        return WorkingCopy(kind, path.stem, path, FAULT, error.sentence())
    version = desk.versions.in_force(kind, id_)
    if desk.versions.conflict(kind, id_):
        names = " and ".join(v.entry.name for v in desk.versions.conflict(kind, id_))
        changes = difference_from(desk.versions, kind, id_, table)
        return WorkingCopy(kind, id_, path, APART, f"by {names}", changes, sha256)
    if version is None:
        changes = difference_from(desk.versions, kind, id_, table)
        return WorkingCopy(kind, id_, path, NEW, "", changes, sha256)
    if version.sha256 == sha256:
        return WorkingCopy(kind, id_, path, SAME, sha256=sha256)
    changes = difference_from(desk.versions, kind, id_, table)
    return WorkingCopy(kind, id_, path, CHANGED, "", changes, sha256)


def _kind_of(path: Path) -> str:
    """Tell by its folder, else by its schema, what kind of file a path is."""
    by_folder = {folder: kind for kind, folder in FOLDERS.items()}
    if path.parent.name in by_folder:
        return by_folder[path.parent.name]
    for kind in FOLDERS:
        try:
            read_toml(path, kind)
        except TeamFileError as error:
            if "schema" in error.where and "not 'flightlog." in error.found:
                continue
            raise
        return kind
    raise TeamFileError(
        "is no team file",
        where=str(path),
        fix=f'It starts with schema = "flightlog.KIND/1", KIND one of {", ".join(FOLDERS)}.',
    )


def version_draft(desk: Desk, copy: WorkingCopy, keys: Sequence[str]) -> Draft:
    """Draft a version of a file, to be signed by one person, or by two where a limit differs.

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
        If the file is at fault.
    RefusedError
        If it is in force already, or a limit differs and one person signs.
    """
    if copy.state == FAULT:
        raise TeamFileError(copy.why, fix="Put the file right.")
    if copy.state == SAME:
        raise RefusedError("this version is in force already", where=str(copy.path))
    persons = {_person(desk, key) for key in keys}
    if copy.limits and len(persons) < 2:
        what = ", ".join(d.key for d in copy.limits[:4])
        raise RefusedError(
            f"it sets or changes limits ({what}), and two persons sign that",
            where=str(copy.path),
            fix="Give --by twice.",
        )
    data = copy.path.read_bytes()
    if hashlib.sha256(data).hexdigest() != copy.sha256:
        raise RefusedError("the file changed meanwhile", where=str(copy.path), fix="Try again.")
    history = desk.versions.history(copy.kind, copy.id)
    content: dict[str, Any] = {
        "kind": copy.kind,
        "id": copy.id,
        "sha256": copy.sha256,
        "limit_changed": bool(copy.limits),
        "changes": [] if not history else [_change(d) for d in copy.changes[:_MOST_CHANGES]],
    }
    if history:
        content["before"] = history[-1].sha256
    meanings = ("entered", *("agreed" for _ in keys[1:]))
    signers = [Signer(key, meaning) for key, meaning in zip(keys, meanings, strict=True)]
    attached = desk.book.attach(copy.path, f"{copy.id}.toml")
    return Draft(FILE_VERSION, content, signers, [attached])


def _change(difference: Difference) -> dict[str, str]:
    texts = {"before": difference.before, "after": difference.after}
    return {"key": difference.key[:190], **{k: v for k, v in texts.items() if v}}


def _person(desk: Desk, key: str) -> str:
    person = desk.book.people.person_of(key)
    return person.id if person is not None else key
