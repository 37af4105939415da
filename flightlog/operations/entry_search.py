"""Entries of the record, found by kind, by person and by what they say; the newest first."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Mapping
from dataclasses import dataclass
from typing import Any

from flightlog.logbook.entry import CORRECTS, Entry
from flightlog.logbook.words import entry_line
from flightlog.operations.desk import Desk
from flightlog.operations.positions import named

LATE, CORRECTED, CORRECTION, NOT_COUNTED, SET_BACK = (
    "late",
    "corrected",
    "correction",
    "does not count",
    "clock set back",
)
"""Marks of an entry: written down late; put right by another; puts another right; flagged; made by
a clock that was behind an earlier entry."""


@dataclass(frozen=True, slots=True)
class Asked:
    """Which entries are meant; what is empty asks for nothing.

    Attributes
    ----------
    kind : str
        As the entry names it.
    person : str
        Id of somebody who signed.
    text : str
        What stands anywhere in it, or in its name.
    marked : bool
        Only such as have a mark.
    """

    kind: str = ""
    person: str = ""
    text: str = ""
    marked: bool = False


@dataclass(frozen=True, slots=True)
class Found:
    """The newest entries that are meant, and how many there are in all."""

    entries: tuple[Entry, ...]
    total: int


def find_entries(desk: Desk, asked: Asked, most: int) -> Found:
    """Give the newest entries that are meant.

    Parameters
    ----------
    desk : Desk
        The record.
    asked : Asked
        Which.
    most : int
        So many at most.
    """
    wanted = asked.text.strip().casefold()
    meant = [e for e in _newest_first(desk) if _fits(desk, e, asked, wanted)]
    return Found(tuple(meant[:most]), len(meant))


def kinds_in(desk: Desk) -> Mapping[str, int]:
    """Give how many entries of each kind there are, the kinds by name."""
    return dict(sorted(Counter(entry.body.kind for entry in desk.book.order).items()))


def marks_of(desk: Desk, entry: Entry) -> tuple[str, ...]:
    """Give the marks of an entry."""
    standing = desk.book.standing
    marks = [] if standing.counts(entry) else [NOT_COUNTED]
    marks += [LATE] if entry.body.occurred is not None else []
    marks += [CORRECTED] if desk.ledger.corrections(entry) else []
    marks += [CORRECTION] if entry.body.related(CORRECTS) else []
    marks += [SET_BACK] if entry.body.time.behind_s else []
    return tuple(marks)


def _newest_first(desk: Desk) -> Iterator[Entry]:
    yield from reversed(list(desk.book.order))


def _fits(desk: Desk, entry: Entry, asked: Asked, wanted: str) -> bool:
    if asked.kind and entry.body.kind != asked.kind:
        return False
    if asked.person and not _signed_by(desk, entry, asked.person):
        return False
    if wanted and wanted not in _words(desk, entry):
        return False
    return not asked.marked or bool(marks_of(desk, entry))


def _signed_by(desk: Desk, entry: Entry, person: str) -> bool:
    people = desk.book.people
    found = (people.person_of(signer.key) for signer in entry.body.signers)
    return any(one is not None and one.id == person for one in found)


def _words(desk: Desk, entry: Entry) -> str:
    """Give all words of an entry, in small letters; an entry never changes, names may."""
    key = ("words", entry.hash)
    known = desk.lasting.get(key)
    if known is None:
        files = [file.name for file in entry.body.attachments]
        parts = [named(entry), entry.body.kind, *_texts(entry.body.content), *files]
        known = desk.lasting[key] = " ".join(parts).casefold()
    names = entry_line(entry.body, desk.names, desk.book.people) if entry.body.signers else ""
    return f"{known} {names.casefold()}"


def _texts(value: Any) -> Iterator[str]:
    if isinstance(value, str):
        yield value
    elif isinstance(value, Mapping):
        for item in value.values():
            yield from _texts(item)
    elif isinstance(value, (list, tuple)):
        for item in value:
            yield from _texts(item)
