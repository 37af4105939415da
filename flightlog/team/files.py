"""The versions of the files that the team edits, as the record holds them by their content.

::

    TEAM/
      aircraft/ID.toml    packs/ID.toml    components/ID.toml    sites/ID.toml
      rules/ID.toml       checklists/ID.toml                     meters/ID.toml

A file in the folder is a working copy. What counts is the version *in force*: the last one that
was entered, by a person and, where a limit differs from the version before, by two.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from dataclasses import dataclass
from pathlib import Path

from flightlog.logbook.attachments import AttachmentStore
from flightlog.logbook.entry import Entry
from flightlog.logbook.flying_kinds import FILE_KINDS, FILE_VERSION
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
    """All versions of all files. Made by ``Versions.of``."""

    def __init__(self, versions: Iterable[Version]) -> None:
        self._of: defaultdict[tuple[str, str], list[Version]] = defaultdict(list)
        self._by_hash: dict[str, Version] = {}
        for version in versions:
            self._of[version.kind, version.id].append(version)
            self._by_hash[version.sha256] = version

    @classmethod
    def of(cls, ledger: Ledger, attachments: AttachmentStore) -> Versions:
        """Read the versions out of the record: those that were entered as the rules ask."""
        return cls(
            Version(c["kind"], c["id"], c["sha256"], attachments.path(c["sha256"]), entry)
            for entry in ledger.of(FILE_VERSION)
            for c in (entry.body.content,)
        )

    def in_force(self, kind: str, id_: str) -> Version | None:
        """Give the version that counts now, None where none does."""
        found = self._of.get((kind, id_))
        return found[-1] if found else None

    def history(self, kind: str, id_: str) -> tuple[Version, ...]:
        """Give all versions that were ever in force, the oldest first."""
        return tuple(self._of.get((kind, id_), ()))

    def by_hash(self, sha256: str) -> Version | None:
        """Give the version with these bytes."""
        return self._by_hash.get(sha256)

    def ids(self, kind: str) -> tuple[str, ...]:
        """Give the ids of all files of a kind that have a version in force."""
        return tuple(sorted(id_ for k, id_ in self._of if k == kind))


__all__ = ["FILE_KINDS", "FOLDERS", "Version", "Versions"]
