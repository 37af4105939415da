"""The versions of the files that the team edits, as the record holds them by their content.

::

    TEAM/
      aircraft/ID.toml    packs/ID.toml    components/ID.toml    sites/ID.toml
      rules/ID.toml       checklists/ID.toml                     meters/ID.toml

A file in the folder is a working copy. What counts is the version *in force*: the last one that
was entered, by a person and, where a limit differs from the version before, by two. Of two that
were entered apart from each other neither is in force, until a third one has seen both; meanwhile
the newest one that both follow holds. ``histories`` tells how a version is judged.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable, Mapping
from dataclasses import dataclass
from functools import cached_property
from typing import Any

from flightlog.logbook.attachments import AttachmentStore
from flightlog.logbook.entry import Entry
from flightlog.logbook.flying_kinds import FILE_KINDS, FILE_VERSION
from flightlog.logbook.kinds import form_problem
from flightlog.team.differences import Difference, differences
from flightlog.team.histories import GOOD, History, Judged, Version
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
class Following:
    """What a version that was entered now would follow.

    Attributes
    ----------
    before : str or None
        What it says in ``before``; None for a first version.
    limits : tuple of Difference
        The limits that differ from anything that it has to be compared with.
    certain : bool
        Whether all of that could be compared.
    """

    before: str | None
    limits: tuple[Difference, ...]
    certain: bool

    @property
    def needs_two(self) -> bool:
        """Whether two persons have to sign."""
        return bool(self.limits) or not self.certain


class Versions:
    """All versions of all files. Made by ``Versions.of``.

    A file's history is judged when it is asked for.
    """

    def __init__(self, ledger: Ledger, attachments: AttachmentStore) -> None:
        self._ledger = ledger
        self._attachments = attachments
        self._entries: defaultdict[tuple[str, str], list[Entry]] = defaultdict(list)
        self._named: defaultdict[str, set[tuple[str, str]]] = defaultdict(set)
        self._formless: list[tuple[Entry, str]] = []
        self._histories: dict[tuple[str, str], History] = {}
        for entry in ledger.order:
            if entry.body.kind == FILE_VERSION:
                self._take(entry)

    @classmethod
    def of(cls, ledger: Ledger, attachments: AttachmentStore) -> Versions:
        """Read the versions out of the record.

        Corrections are left aside: what is in force changes by another version only.
        """
        return cls(ledger, attachments)

    def _take(self, entry: Entry) -> None:
        problem = form_problem(entry.body)
        if entry.body.team != self._ledger.people.team:
            problem = "it is of another team"
        if problem:
            self._formless.append((entry, problem))
            return
        said = entry.body.content
        self._entries[said["kind"], said["id"]].append(entry)
        self._named[said["sha256"]].add((said["kind"], said["id"]))

    def _history(self, kind: str, id_: str) -> History:
        key = kind, id_
        if key not in self._histories:
            entries = self._entries.get(key, ())
            self._histories[key] = History(self._ledger, self._attachments, kind, id_, entries)
        return self._histories[key]

    # --- what counts

    def in_force(self, kind: str, id_: str) -> Version | None:
        """Give the version that counts now, None where none does."""
        found = self._history(kind, id_).in_force()
        return found.version if found is not None else None

    def conflict(self, kind: str, id_: str) -> tuple[Version, ...]:
        """Give the versions that were entered apart from each other and differ; none as a rule.

        While there are some, ``in_force`` gives the newest one that all of them follow.
        """
        return _versions(self._history(kind, id_).conflict())

    def unsettled(self, kind: str, id_: str) -> tuple[tuple[Entry, str], ...]:
        """Give entries that were versions once, fell, and that no version since has seen; and why.

        A signature on one does not count any more, or its bytes are missing. Nobody has said yet
        what holds instead: ``in_force`` goes back to what was before, and nothing may rest on that.
        """
        return tuple((one.entry, one.why) for one in self._history(kind, id_).unsettled())

    def history(self, kind: str, id_: str) -> tuple[Version, ...]:
        """Give all versions that were ever in force, the oldest first."""
        return _versions(self._history(kind, id_).good)

    def by_hash(self, sha256: str) -> Version | None:
        """Give the version with these bytes, whether it is in force still or not."""
        files = sorted(self._named.get(sha256, ()))
        found = [v for file in files for v in self.history(*file) if v.sha256 == sha256]
        return found[-1] if found else None

    def ids(self, kind: str) -> tuple[str, ...]:
        """Give the ids of all files of a kind that have a version in force."""
        return tuple(id_ for id_ in self.known(kind) if self.in_force(kind, id_) is not None)

    def known(self, kind: str) -> tuple[str, ...]:
        """Give the ids of all files of a kind of which a version was ever entered as it should."""
        return tuple(
            sorted(
                id_ for k, id_ in self._entries if k == kind and self._history(k, id_).followed()
            )
        )

    @cached_property
    def refused(self) -> tuple[tuple[Entry, str], ...]:
        """Give the entries that bring no version into force, and why, in the order of the record.

        Those that fell since are among them.
        """
        found = dict(self._formless)
        for kind, id_ in self._entries:
            judged = self._history(kind, id_).judged
            found.update((one.entry, one.why) for one in judged if one.standing != GOOD)
        return tuple((entry, found[entry]) for entry in self._ledger.order if entry in found)

    # --- what they say

    def table(self, version: Version) -> Mapping[str, Any]:
        """Give what a version says; of one that is good it is known."""
        judged = self._history(version.kind, version.id).judged
        found = next((one for one in judged if one.entry.hash == version.entry.hash), None)
        return (found.content.table if found is not None else None) or {}

    def differences(self, kind: str, id_: str, table: Mapping[str, Any]) -> tuple[Difference, ...]:
        """Compare a table with the version in force; with nothing where there is none."""
        version = self.in_force(kind, id_)
        return differences(kind, self.table(version) if version is not None else {}, table)

    def following(self, kind: str, id_: str, table: Mapping[str, Any]) -> Following:
        """Say what a version with this table would follow if it were entered now."""
        history = self._history(kind, id_)
        followed = history.followed()
        compared = history.compared(followed)
        limits = {
            difference.key: difference
            for other in compared
            if other.table is not None
            for difference in differences(kind, other.table, table)
            if difference.limit
        }
        before = followed[0].version.sha256 if followed else None
        certain = all(other.table is not None for other in compared)
        return Following(before, tuple(limits.values()), certain)


def _versions(judged: Iterable[Judged]) -> tuple[Version, ...]:
    return tuple(one.version for one in judged)


__all__ = ["FILE_KINDS", "FOLDERS", "Following", "Version", "Versions"]
