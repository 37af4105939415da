"""The desk at which a flying day is worked: team folder, record, and the files in force."""

from __future__ import annotations

from collections.abc import Callable
from functools import cached_property
from pathlib import Path
from typing import TypeVar

from flightlog.errors import UsageError
from flightlog.inputs import (
    Aircraft,
    Component,
    Pack,
    Site,
    load_aircraft,
    load_component,
    load_pack,
    load_site,
)
from flightlog.logbook.book import Draft, Logbook, Shown
from flightlog.logbook.entry import Entry
from flightlog.logbook.flying_kinds import FILE_VERSION
from flightlog.logbook.kinds import ABOUT_PEOPLE
from flightlog.logbook.names import Names
from flightlog.logbook.unlocking import Unlocked
from flightlog.rules.book import RuleBook, load_rules
from flightlog.team.crew import Crew
from flightlog.team.files import Version, Versions
from flightlog.team.folder import TeamFolder
from flightlog.team.ledger import Ledger
from flightlog.team_files.reading import near_miss

Loaded = TypeVar("Loaded")


class Desk:
    """What an operation needs to know, read from the record as it is now.

    Parameters
    ----------
    folder : TeamFolder
        The team's folder.
    book : Logbook
        Its record, open.
    names : Names, optional
        Names of persons.
    """

    def __init__(self, folder: TeamFolder, book: Logbook, names: Names | None = None) -> None:
        self.folder = folder
        self.book = book
        self.names = names or Names()
        self._loaded: dict[str, object] = {}
        self.kept: dict[str, object] = {}
        """What was read out of the record as it is now; forgotten when it is read again."""
        self.lasting: dict[object, object] = {}
        """What follows from bytes that never change, by their hashes; outlives a reading."""

    # --- the record

    @cached_property
    def ledger(self) -> Ledger:
        """The record, read for the team; made anew by ``append`` and ``refresh``."""
        return Ledger(self.book)

    @cached_property
    def versions(self) -> Versions:
        """The versions of the team's files."""
        return Versions.of(self.ledger, self.book.attachments)

    @property
    def crew(self) -> Crew:
        """The crew with their names."""
        return Crew(self.book.people, self.names)

    def append(
        self,
        draft: Draft,
        unlocked: tuple[Unlocked, ...] = (),
        *,
        shown: Shown | None = None,
        list_name: str = "",
    ) -> Entry:
        """Add an entry; see ``Logbook.append``."""
        length = len(self.book.order)
        versions = self.__dict__.get("versions")
        entry = self.book.append(draft, unlocked, shown=shown, list_name=list_name)
        self.refresh()
        alone = len(self.book.order) == length + 1
        if versions is not None and alone and draft.kind not in (FILE_VERSION, *ABOUT_PEOPLE):
            # Nothing else came in between, and this entry says nothing about files or persons.
            self.__dict__["versions"] = versions
        return entry

    def refresh(self) -> None:
        """Read the record again: entries came, or time went on."""
        self.book.refresh()
        for name in ("ledger", "versions"):
            self.__dict__.pop(name, None)
        self.kept = {}

    def before(self, entry: Entry) -> Desk:
        """Give the desk as it was to those who made an entry; for reading only."""
        past = Desk(self.folder, self.book.before(entry), self.names)
        past._loaded = self._loaded  # by their content: nothing of later comes in
        return past

    # --- files in force

    def version(self, kind: str, id_: str) -> Version:
        """Give the version in force of a file.

        Raises
        ------
        UsageError
            If the record holds none.
        """
        version = self.versions.in_force(kind, id_)
        if version is None:
            known = self.versions.ids(kind)
            hint = near_miss(id_, known) or (f"Known: {', '.join(known)}." if known else "")
            raise UsageError(
                f"the record holds no {kind} file of this id",
                where=id_[:60],
                fix=f"{hint} Enter one with 'flightlog team enter FILE'.".strip(),
            )
        return version

    def aircraft(self, id_: str) -> Aircraft:
        """Give an aircraft by the file in force."""
        return self._load("aircraft", id_, load_aircraft)

    def pack(self, id_: str) -> Pack:
        """Give a pack by the file in force."""
        return self._load("pack", id_, load_pack)

    def component(self, id_: str) -> Component:
        """Give a component by the file in force."""
        return self._load("component", id_, load_component)

    def site(self, id_: str) -> Site:
        """Give a site by the file in force."""
        return self._load("site", id_, load_site)

    def rules(self, id_: str) -> RuleBook:
        """Give a rule book by the file in force."""
        return self._load("rules", id_, load_rules)

    def _load(self, kind: str, id_: str, load: Callable[[Path], Loaded]) -> Loaded:
        version = self.version(kind, id_)
        return self.loaded(version, load)

    def loaded(self, version: Version, load: Callable[[Path], Loaded]) -> Loaded:
        """Read a version of a file, once.

        Raises
        ------
        TeamFileError
            If its bytes are missing, or not what this program reads.
        """
        known = self._loaded.get(version.sha256)
        if known is None:
            known = self._loaded[version.sha256] = load(version.path)
        return known  # type: ignore[return-value]
