"""What a release asks of the team's files: in force, whole, and the same in the folder."""

from __future__ import annotations

import hashlib
from pathlib import Path

from flightlog.operations.desk import Desk
from flightlog.operations.plan import Condition, Plan
from flightlog.operations.working_copies import FAULT, SAME, working_copy
from flightlog.team.files import FOLDERS, LARGEST_BYTES, content_of


def file_conditions(desk: Desk, plan: Plan) -> list[Condition]:
    """Say whether the files of the next flight are in force, and those in the folder the same."""
    wanted = [("aircraft", plan.aircraft), ("pack", plan.pack)]
    if plan.rules:
        wanted.append(("rules", plan.rules))
    if plan.site:
        wanted.append(("site", plan.site))
    wanted += [("checklist", id_) for id_ in ("daily", "pre-flight")]
    faults, cited = [], []
    for kind, id_ in wanted:
        why = _fault(desk, kind, id_)
        if why:
            faults.append(f"{kind} {id_}: {why}")
        version = desk.versions.in_force(kind, id_)
        if version is not None:
            cited.append(version.entry)
    if faults:
        return [
            Condition(
                "files",
                False,
                "; ".join(faults),
                "Enter the file with 'flightlog team enter FILE --by WHO --by WHO', or put the "
                "version in force back: 'flightlog team files'.",
            )
        ]
    says = ", ".join(f"{kind} {id_}" for kind, id_ in wanted)
    return [Condition("files", True, f"in force: {says}", "", tuple(cited))]


def _fault(desk: Desk, kind: str, id_: str) -> str:
    versions = desk.versions
    if versions.conflict(kind, id_):
        return "two versions were entered apart from each other"
    version = versions.in_force(kind, id_)
    if version is None:
        return "no version was entered"
    if content_of(str(version.path), version.sha256) is None:
        return "its bytes are missing or damaged"
    path = desk.folder.path / FOLDERS[kind] / f"{id_}.toml"
    if not path.is_file():
        return ""  # the record alone will do
    if _is_same(path, version.sha256):
        return ""
    copy = working_copy(desk, path, kind)
    if copy.state == FAULT:
        return f"the file in the folder is at fault: {copy.why}"
    if copy.state != SAME:
        keys = ", ".join(d.key for d in copy.changes[:4]) or "only its layout"
        return f"the file in the folder differs from the version in force: {keys}"
    return ""


def _is_same(path: Path, sha256: str) -> bool:
    """Whether a file has these bytes, so that it need not be read as what it is."""
    try:
        if path.stat().st_size > LARGEST_BYTES:
            return False
        return hashlib.sha256(path.read_bytes()).hexdigest() == sha256
    except OSError:
        return False
