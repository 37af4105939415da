"""The side file with names and contact details of persons: the only one that may be erased.

The record itself holds keys and roles. ``names.json`` says who is behind them::

    {"schema":"flightlog.names/1",
     "persons":{"<person, 64 hex>":{"name":"...","contact":"...","version":3},
                "<person, 64 hex>":{"erased":true,"version":4}}}

Nothing signs it and nothing in the record depends on it. What was erased leaves a mark without the
name, with a version far above that of the name, so that a merge with an older copy can't bring it
back; who means to can name the person anew. Copies on other laptops and in old backups keep the
name until they are merged or deleted.

Anybody can write such a file. ``acceptable`` keeps what another folder's file can do small: it
gives no more than one can put right by hand, and nothing of persons whom the record does not know.
"""

from __future__ import annotations

import json
import os
import re
import secrets
import stat
import unicodedata
from collections.abc import Callable, Mapping
from dataclasses import dataclass, field
from pathlib import Path
from types import MappingProxyType
from typing import Any

from flightlog.errors import NotWritableError, RefusedError, TeamFolderError
from flightlog.logbook.canonical import LARGEST_INTEGER
from flightlog.logbook.entry import device_name

SCHEMA = "flightlog.names/1"
_SCHEMA_FAMILY = "flightlog.names/"
MOST_BYTES = 1_000_000
"""Longest file that is read [bytes]."""
MOST_PERSONS = 1000
MOST_NAME = 80
"""Longest name [characters]."""
MOST_CONTACT = 200
"""Longest contact details [characters]."""
ERASING = 1000
"""How far the version goes up when a name is erased: further than by changes made meanwhile."""
MOST_JUMP = 10_000
"""How far the version of a name from elsewhere may be above ours: further is no team's doing."""

_HEX = re.compile(r"[0-9a-f]{64}")
# Control, format (of the direction of writing, ...), surrogate, not assigned, line, paragraph.
_UNSEEN = ("Cc", "Cf", "Cs", "Cn", "Co", "Zl", "Zp")
_FIX = "The record can be read without it; delete the file, or copy it from another laptop."


@dataclass(frozen=True, slots=True)
class Person:
    """What the file says of one person.

    Parameters
    ----------
    name, contact : str
        Empty where they were erased; the contact may be empty anyway.
    version : int
        Goes up with each change, from 1.
    erased : bool
        Whether name and contact were erased.
    """

    name: str
    contact: str
    version: int
    erased: bool = False

    def _rank(self) -> tuple[int, bool, str, str]:
        return self.version, self.erased, self.name, self.contact


@dataclass(frozen=True, slots=True)
class Names:
    """Names and contact details by person (id, 64 hexadecimal digits); nothing in it changes."""

    persons: Mapping[str, Person] = field(default_factory=dict)

    def __post_init__(self) -> None:
        """Keep a copy of our own.

        Raises
        ------
        TeamFolderError
            If there are more than ``MOST_PERSONS``.
        """
        if len(self.persons) > MOST_PERSONS:
            raise TeamFolderError(
                f"there are {len(self.persons)} persons; the names file holds {MOST_PERSONS}"
            )
        object.__setattr__(self, "persons", MappingProxyType(dict(sorted(self.persons.items()))))

    @classmethod
    def read(cls, path: Path) -> Names:
        """Read the file; without one there are no names.

        Raises
        ------
        TeamFolderError
            If the file can't be read, is too large, or is not of this form. The record can be
            shown without names, so callers may go on.
        """
        try:
            mode = path.lstat().st_mode
            if not stat.S_ISREG(mode):
                raise _bad(path, "it is no plain file")
            with path.open("rb") as stream:
                data = stream.read(MOST_BYTES + 1)
        except FileNotFoundError:
            return cls()
        except OSError as error:
            raise _bad(path, f"it can't be read ({error.strerror})") from error
        if len(data) > MOST_BYTES:
            raise _bad(path, f"it is longer than {MOST_BYTES} bytes")
        try:
            record = json.loads(data.decode("utf-8"), object_pairs_hook=_once)
        except (ValueError, RecursionError) as error:
            raise _bad(path, f"it is not JSON ({str(error)[:100]})") from error
        return cls(_persons(record, path))

    def of(self, person: str) -> str | None:
        """Give the name of a person, None where there is none or it was erased."""
        known = self.persons.get(person)
        return None if known is None or known.erased else known.name

    def contact(self, person: str) -> str:
        """Give the contact details of a person, empty where there are none."""
        known = self.persons.get(person)
        return known.contact if known is not None else ""

    def holder_of(self, name: str) -> str | None:
        """Give the person who has a name, in capital or small letters; None if nobody has."""
        wanted = name.strip().casefold()
        for person, known in self.persons.items():
            if not known.erased and known.name.casefold() == wanted:
                return person
        return None

    def with_name(self, person: str, name: str, contact: str = "") -> Names:
        """Give a copy in which a person has this name, also if an earlier one was erased.

        Raises
        ------
        RefusedError
            If a text is too long, empty, or holds signs that can't be seen.
        """
        known = self.persons.get(person)
        entered = Person(name.strip(), contact.strip(), known.version + 1 if known else 1)
        problem = _problem(person, entered) or _unseen(entered)
        if problem:
            raise RefusedError(problem, where="name")
        return Names({**self.persons, person: entered})

    def erased(self, person: str) -> Names:
        """Give a copy without the name and contact of a person, and with the mark that says so.

        Raises
        ------
        RefusedError
            If this is no id of a person.
        """
        if not _HEX.fullmatch(person):
            raise RefusedError("a person's id has 64 hexadecimal digits", where=person[:80])
        known = self.persons.get(person)
        if known is not None and known.erased:
            return self
        version = min((known.version if known else 0) + ERASING, LARGEST_INTEGER)
        return Names({**self.persons, person: Person("", "", version, erased=True)})

    def merged(self, other: Names) -> Names:
        """Give what two copies of the file say together.

        For each person the larger version counts; of two equal ones the erased one, and then the
        text that sorts later: the same result in any order and any number of times.

        Raises
        ------
        TeamFolderError
            If together they hold more than ``MOST_PERSONS``.
        """
        persons = dict(self.persons)
        for person, theirs in other.persons.items():
            ours = persons.get(person, theirs)
            persons[person] = max(ours, theirs, key=Person._rank)
        return Names(persons)

    def acceptable(self, other: Names, known: Callable[[str], bool]) -> tuple[Names, list[str]]:
        """Give what may be taken over from a file of another folder, and say what is left out.

        Parameters
        ----------
        other : Names
            What the other file says.
        known : callable
            Whether the record knows a person.
        """
        taken: dict[str, Person] = {}
        unknown = 0
        notes = []
        for person, theirs in other.persons.items():
            ours = self.persons.get(person)
            problem = _unseen(theirs)
            if theirs.version > (ours.version if ours else 0) + MOST_JUMP:
                problem = f"its version {theirs.version} is far above ours"
            if not known(person):
                unknown += 1
            elif problem:
                notes.append(f"A name for person {device_name(person)} was left out: {problem}.")
            else:
                taken[person] = theirs
        if unknown:
            notes.append(f"Names of {unknown} persons whom the record does not know were left out.")
        return Names(taken), notes

    def limited(self, known: Callable[[str], bool]) -> Names:
        """Give a copy with those persons only whom the record knows."""
        return Names({person: one for person, one in self.persons.items() if known(person)})

    def changes(self, later: Names) -> list[str]:
        """Say which names and contact details of ours are others in a later state, or gone."""
        told = []
        for person, before in self.persons.items():
            after = later.persons.get(person)
            if before.erased or (after is not None and _says(before) == _says(after)):
                continue
            name = f"The name {before.name!r} of person {device_name(person)}"
            if after is None or after.erased:
                told.append(f"{name} was erased.")
            elif before.name != after.name:
                told.append(f"{name} was changed to {after.name!r}.")
            else:
                told.append(f"The contact details of {before.name!r} were changed.")
        return told

    def write(self, path: Path) -> None:
        """Write the file in one step: afterwards it holds the old names or the new ones.

        Raises
        ------
        NotWritableError
            If the folder can't be written; the old file is untouched.
        """
        data = json.dumps(self._record(), ensure_ascii=False, indent=1).encode("utf-8") + b"\n"
        try:
            _replace(path, data)
        except OSError as error:
            raise NotWritableError(
                f"the names can't be written ({error.strerror})", where=str(path)
            ) from error

    def _record(self) -> dict[str, Any]:
        persons = {
            person: {"erased": True, "version": known.version}
            if known.erased
            else {"name": known.name, "contact": known.contact, "version": known.version}
            for person, known in self.persons.items()
        }
        return {"schema": SCHEMA, "persons": persons}


def _replace(path: Path, data: bytes) -> None:
    part = path.with_name(f".{path.name}-{secrets.token_hex(4)}.part")
    try:
        with part.open("xb") as stream:
            stream.write(data)
            stream.flush()
            os.fsync(stream.fileno())
        part.replace(path)
    except BaseException:
        part.unlink(missing_ok=True)
        raise


# --- reading


def _persons(record: object, path: Path) -> dict[str, Person]:
    if not isinstance(record, dict):
        raise _bad(path, "it is not a JSON object")
    schema = record.get("schema")
    if schema != SCHEMA:
        newer = isinstance(schema, str) and schema.startswith(_SCHEMA_FAMILY)
        raise _bad(
            path,
            f"its schema is {str(schema)[:60]!r}, not {SCHEMA!r}",
            "Use a newer version of flightlog; nothing was changed." if newer else _FIX,
        )
    listed = record.get("persons")
    if record.keys() != {"schema", "persons"} or not isinstance(listed, dict):
        raise _bad(path, "it holds more or less than 'schema' and 'persons'")
    if len(listed) > MOST_PERSONS:
        raise _bad(path, f"it holds more than {MOST_PERSONS} persons")
    return {person: _person(person, entry, path) for person, entry in listed.items()}


def _person(person: str, entry: object, path: Path) -> Person:
    if not isinstance(entry, dict):
        raise _bad(path, f"person {person[:8]!r} is not an object")
    if entry.keys() == {"erased", "version"} and entry["erased"] is True:
        known = Person("", "", entry["version"], erased=True)
    elif entry.keys() == {"name", "contact", "version"}:
        known = Person(entry["name"], entry["contact"], entry["version"])
    else:
        raise _bad(path, f"person {person[:8]!r} has neither name, contact, version nor erased")
    problem = _problem(person, known)
    if problem:
        raise _bad(path, f"person {person[:8]!r}: {problem}")
    return known


def _problem(person: str, known: Person) -> str:
    """What is wrong with a person of the file; empty if nothing is."""
    if not _HEX.fullmatch(person):
        return "a person's id has 64 hexadecimal digits"
    version: object = known.version
    if isinstance(version, bool) or not isinstance(version, int):
        return "the version is no integer"
    if not 1 <= version <= LARGEST_INTEGER:
        return f"the version {str(version)[:20]} is out of range"
    if not known.erased and not _is_text(known.name, 1, MOST_NAME):
        return f"a name is a text of 1 to {MOST_NAME} characters"
    if not known.erased and not _is_text(known.contact, 0, MOST_CONTACT):
        return f"contact details are a text of at most {MOST_CONTACT} characters"
    return ""


def _is_text(value: object, least: int, most: int) -> bool:
    if not isinstance(value, str) or not least <= len(value) <= most:
        return False
    return not any("\ud800" <= sign <= "\udfff" for sign in value)


def _says(known: Person) -> tuple[bool, str, str]:
    return known.erased, known.name, known.contact


def _unseen(known: Person) -> str:
    """What can't be seen in a name or contact details; empty if nothing is so."""
    for sign in known.name + known.contact:
        if unicodedata.category(sign) in _UNSEEN:
            return f"the sign U+{ord(sign):04X} can't be seen"
    return ""


def _once(pairs: list[tuple[str, Any]]) -> dict[str, Any]:
    record = dict(pairs)
    if len(record) != len(pairs):
        raise ValueError("a key stands twice")
    return record


def _bad(path: Path, found: str, fix: str = _FIX) -> TeamFolderError:
    return TeamFolderError(f"the names can't be used: {found}", where=str(path), fix=fix)
