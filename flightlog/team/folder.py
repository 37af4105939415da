"""The team folder: everything that a team keeps, in one place that can be copied.

::

    TEAM/
      team.toml       schema = "flightlog.team/1", the team's name, where cards are put in
      logbook/        the signed record; see ``flightlog.logbook``
      tables/         what was worked out of the record and can be thrown away

Private keys are never in it.
"""

from __future__ import annotations

import json
import os
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

from pydantic import Field

from flightlog.errors import NotWritableError, TeamFileError, TeamFolderError
from flightlog.logbook.layout import NAMES
from flightlog.resources import data_path
from flightlog.team_files.checking import Table, Text, checked
from flightlog.team_files.reading import kind_of, read_toml

TEAM_FILE = "team.toml"
LOGBOOK = "logbook"
TABLES = "tables"
ENVIRONMENT = "FLIGHTLOG_TEAM"
CARD = "FLIGHTLOG_CARD"
_ANOTHER = "Name another folder."


class _TeamFile(Table):
    name: Text = Field(description="what the team calls itself", min_length=1)
    card: Text | None = Field(default=None, description="where cards with logs are put in")


@dataclass(frozen=True, slots=True)
class TeamFolder:
    """A team's folder.

    Parameters
    ----------
    path : Path
        The folder, absolute.
    name : str
        What the team calls itself.
    card : str
        Folder in which cards with logs appear, as the team wrote it; empty where it is not said.
    """

    path: Path
    name: str
    card: str = ""

    @property
    def logbook(self) -> Path:
        """Folder of the signed record; see ``flightlog.logbook.book.Logbook``."""
        return self.path / LOGBOOK

    @property
    def tables(self) -> Path:
        """Folder of what is made anew out of the record; it need not be there, nor be copied."""
        return self.path / TABLES

    def card_folder(self, environment: Mapping[str, str] | None = None) -> Path | None:
        """Give the folder in which cards with logs appear, None where nobody said.

        ``FLIGHTLOG_CARD`` of the environment (that of the process when not given) stands above
        the team file: laptops put cards in different places.
        """
        named = (os.environ if environment is None else environment).get(CARD, "").strip()
        text = named or self.card.strip()
        if not text:
            return None
        try:
            return Path(text).expanduser()
        except RuntimeError:  # there is no home, or no such person's
            return Path(text)

    @property
    def names(self) -> Path:
        """The side file with names of persons, which can be erased."""
        return self.logbook / NAMES

    @classmethod
    def read(cls, path: Path) -> TeamFolder:
        """Read the team file of a folder.

        Raises
        ------
        TeamFolderError
            If the folder has none.
        TeamFileError
            If the file is at fault.
        """
        place = path / TEAM_FILE
        try:
            there = place.is_file()
        except OSError as error:
            raise TeamFileError(
                f"can't be read ({error.strerror})", where=str(place), fix="Check the name."
            ) from error
        if not there:
            raise TeamFolderError(
                f"is no team folder: it holds no {TEAM_FILE}",
                where=str(path),
                fix="Name the right folder, or make one with 'flightlog team new'.",
            )
        table, _ = read_toml(place, "team")
        said = checked(_TeamFile, table, str(place))
        return cls(path.absolute(), said.name, said.card or "")

    @classmethod
    def find(
        cls,
        given: Path | None = None,
        *,
        environment: Mapping[str, str] | None = None,
        start: Path | None = None,
    ) -> TeamFolder:
        """Find the team folder that is meant.

        Parameters
        ----------
        given : Path, optional
            As named by the user; stands above all else.
        environment : mapping, optional
            ``FLIGHTLOG_TEAM`` of it comes next; that of the process when not given.
        start : Path, optional
            Last, this folder or the nearest one above it that is one; the current folder when
            not given.

        Raises
        ------
        TeamFolderError
            If there is none.
        """
        named = given or _named(os.environ if environment is None else environment)
        if named is not None:
            return cls.read(named)
        here = (start or Path.cwd()).absolute()
        for folder in (here, *here.parents):
            if (folder / TEAM_FILE).is_file():
                return cls.read(folder)
        raise TeamFolderError(
            "neither this folder nor one above it is a team folder",
            where=str(here),
            fix=f"Give --team DIR, set {ENVIRONMENT}, or make one with 'flightlog team new'.",
        )

    @staticmethod
    def refuse_taken(path: Path, name: str) -> None:
        """Refuse a place where something is already, and a name that is none.

        Raises
        ------
        NotWritableError
            If the folder holds something, is none, or is within a team folder.
        TeamFileError
            If the name is not one.
        """
        checked(_TeamFile, {"name": name}, "--name")
        above = next((p for p in path.absolute().parents if (p / TEAM_FILE).is_file()), None)
        if above is not None:
            raise NotWritableError(
                f"it would be within the team folder {above}", where=str(path), fix=_ANOTHER
            )
        try:
            taken = any(path.iterdir())
        except FileNotFoundError:
            return
        except OSError as error:
            raise NotWritableError(
                f"can't be used ({error.strerror})", where=str(path), fix=_ANOTHER
            ) from error
        if taken:
            raise NotWritableError(
                "the folder is not empty",
                where=str(path),
                fix="Name a new one; nothing is written over.",
            )

    @classmethod
    def create(cls, path: Path, name: str) -> TeamFolder:
        """Make a team folder: a new one, or in an empty one.

        Raises
        ------
        NotWritableError
            If it can't be written, or holds something already.
        TeamFileError
            If the name is not one.
        """
        cls.refuse_taken(path, name)
        place = path / TEAM_FILE
        try:
            lists = _shipped_lists()
            path.mkdir(parents=True, exist_ok=True)
            _put_files(path, lists)
            with place.open("x", encoding="utf-8", newline="\n") as file:
                file.write(
                    f'schema = "flightlog.team/1"\nname = {json.dumps(name, ensure_ascii=False)}\n'
                )
        except OSError as error:
            raise NotWritableError(
                f"can't be written ({error.strerror})", where=str(path), fix=_ANOTHER
            ) from error
        return cls(path.absolute(), name)


def _shipped_lists() -> dict[str, bytes]:
    """Give the check lists that come with the program: name of the file -> its bytes.

    Rule books lie beside them, and are for each team to choose.
    """
    files = {place.name: place.read_bytes() for place in data_path("checklists").glob("*.toml")}
    return {name: data for name, data in files.items() if kind_of(data, Path(name)) == "checklist"}


def _put_files(path: Path, lists: Mapping[str, bytes]) -> None:
    """Make the folders of the team's files, and put check lists in.

    They are working copies for the team to edit; nothing counts before it is entered.
    """
    from flightlog.team.files import FOLDERS  # which reads the record: not to find a folder

    for folder in FOLDERS.values():
        (path / folder).mkdir(exist_ok=True)
    for name, data in lists.items():
        (path / FOLDERS["checklist"] / name).write_bytes(data)


def _named(environment: Mapping[str, str]) -> Path | None:
    value = environment.get(ENVIRONMENT, "").strip()
    return Path(value) if value else None
