"""The versions of the files that the team edits, as the record holds them by their content.

::

    TEAM/
      aircraft/ID.toml    packs/ID.toml    components/ID.toml    sites/ID.toml
      rules/ID.toml       checklists/ID.toml                     meters/ID.toml

A file in the folder is a working copy. What counts is the version *in force*: the last one that
was entered, by a person and, where a limit differs from the version before, by two. Whether one
differs is found by comparing the bytes, never by what the entry says. Two versions that were
entered apart from each other are both not in force until a third one has seen them.
"""

from __future__ import annotations

import hashlib
import tomllib
from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from functools import lru_cache
from pathlib import Path
from typing import Any

from flightlog.logbook.attachments import AttachmentStore
from flightlog.logbook.entry import Entry
from flightlog.logbook.flying_kinds import FILE_KINDS, FILE_VERSION
from flightlog.team.differences import Difference, differences
from flightlog.team.ledger import Ledger

FOLDERS = {
    "aircraft": "aircraft",
    "pack": "packs",
    "component": "components",
    "site": "sites",
    "rules": "rules",
    "checklist": "checklists",
    "meter": "meters",
}
"""Kind of file -> its folder below the team folder."""
LARGEST_BYTES = 1_000_000
SECOND_SIGNATURES = 2


@dataclass(frozen=True, slots=True)
class Version:
    """One version of a file, as it was entered.

    Attributes
    ----------
    kind, id : str
        What it is of.
    sha256 : str
        Of its bytes.
    path : Path
        Where its bytes are kept.
    entry : Entry
        By which it was entered.
    """

    kind: str
    id: str
    sha256: str
    path: Path
    entry: Entry


class Versions:
    """All versions of all files that count. Made by ``Versions.of``."""

    def __init__(self, versions: Iterable[Version], ledger: Ledger | None = None) -> None:
        self._ledger = ledger
        self._of: defaultdict[tuple[str, str], list[Version]] = defaultdict(list)
        self._by_hash: dict[str, Version] = {}
        self.refused: list[tuple[Entry, str]] = []
        """Entries that bring no version into force, and why."""
        for version in versions:
            why = self._why_not(version)
            if why:
                self.refused.append((version.entry, why))
                continue
            self._of[version.kind, version.id].append(version)
            self._by_hash[version.sha256] = version

    @classmethod
    def of(cls, ledger: Ledger, attachments: AttachmentStore) -> Versions:
        """Read the versions out of the record: those that were entered as the rules ask."""
        return cls(
            (
                Version(c["kind"], c["id"], c["sha256"], attachments.path(c["sha256"]), entry)
                for entry in ledger.of(FILE_VERSION)
                for c in (entry.body.content,)
            ),
            ledger,
        )

    def _why_not(self, version: Version) -> str:
        """Say why an entry brings no version into force, "" where it does."""
        ledger = self._ledger
        if ledger is None:
            return ""
        entry, said = version.entry, version.entry.body.content
        if not ledger.persons(entry, "entered"):
            return "no person entered it"
        if not any(a.sha256 == version.sha256 for a in entry.body.attachments):
            return "it does not hold the file"
        if content_of(str(version.path), version.sha256) is None:
            return "its bytes are missing, are not what they were, or no TOML"
        before = self._before(version)
        if before is not None and said.get("before") != before.sha256:
            return "it does not follow the version that it had seen"
        if len(set(ledger.persons(entry))) < SECOND_SIGNATURES:
            old = (str(before.path), before.sha256) if before is not None else ("", "")
            changed = _changed_limit(version.kind, *old, str(version.path), version.sha256)
            if changed:
                return f"it changes a limit ({changed}), and one person signed it"
        return ""

    def _before(self, version: Version) -> Version | None:
        """Give the last version that a new one had seen."""
        ledger = self._ledger
        found = [
            v
            for v in self._of.get((version.kind, version.id), ())
            if ledger is not None and ledger.has_seen(version.entry, v.entry)
        ]
        return found[-1] if found else None

    def in_force(self, kind: str, id_: str) -> Version | None:
        """Give the version that counts now, None where none does."""
        found = self._of.get((kind, id_), [])
        tips = self._tips(found)
        if len(tips) < 2:
            return tips[0] if tips else None
        if len({v.sha256 for v in tips}) == 1:
            return tips[0]
        common = [v for v in found if all(self._has_seen(t, v) for t in tips)]
        return common[-1] if common else None

    def conflict(self, kind: str, id_: str) -> tuple[Version, ...]:
        """Give versions that were entered apart from each other and differ; none as a rule."""
        tips = self._tips(self._of.get((kind, id_), []))
        return tuple(tips) if len({v.sha256 for v in tips}) > 1 else ()

    def _tips(self, found: list[Version]) -> list[Version]:
        if len(found) < 2 or self._ledger is None:
            return found[-1:]
        return [v for v in found if not any(self._has_seen(o, v) for o in found if o is not v)]

    def _has_seen(self, later: Version, earlier: Version) -> bool:
        return self._ledger is not None and self._ledger.has_seen(later.entry, earlier.entry)

    def history(self, kind: str, id_: str) -> tuple[Version, ...]:
        """Give all versions that were ever in force, the oldest first."""
        return tuple(self._of.get((kind, id_), ()))

    def by_hash(self, sha256: str) -> Version | None:
        """Give the version with these bytes."""
        return self._by_hash.get(sha256)

    def ids(self, kind: str) -> tuple[str, ...]:
        """Give the ids of all files of a kind that have a version in force."""
        return tuple(sorted(id_ for k, id_ in self._of if k == kind))


@lru_cache(maxsize=4096)
def content_of(path: str, sha256: str) -> dict[str, Any] | None:
    """Read the bytes of a version; None where they are not what their hash says, or no TOML.

    Bytes with a known hash never change, so that each is read once.
    """
    try:
        file = Path(path)
        if file.stat().st_size > LARGEST_BYTES:
            return None
        data = file.read_bytes()
    except OSError:
        return None
    if hashlib.sha256(data).hexdigest() != sha256:
        return None
    try:
        return tomllib.loads(data.decode("utf-8-sig"))
    except (UnicodeDecodeError, ValueError, RecursionError):
        return None


@lru_cache(maxsize=4096)
def _changed_limit(kind: str, old_path: str, old_sha: str, path: str, sha: str) -> str:
    """Name a limit that differs between two versions, "" where none does."""
    old = content_of(old_path, old_sha) if old_sha else {}
    new = content_of(path, sha)
    changed = [d.key for d in differences(kind, old or {}, new or {}) if d.limit]
    return changed[0] if changed else ""


def difference_from(
    versions: Versions, kind: str, id_: str, table: dict[str, Any]
) -> tuple[Difference, ...]:
    """Compare a working copy with the version in force; with nothing where there is none."""
    version = versions.in_force(kind, id_)
    old = content_of(str(version.path), version.sha256) if version is not None else None
    return differences(kind, old or {}, table)


__all__ = ["FILE_KINDS", "FOLDERS", "Version", "Versions", "content_of", "difference_from"]
