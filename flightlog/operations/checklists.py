"""Check lists: what is to be looked at, by whom, what is good enough, and what reopens it.

A list is TOML with ``schema = "flightlog.checklist/1"``::

    id, version, title, when
    about              "aircraft" or "pack"
    valid_hours        how long a result holds; without it until something reopens it
    reopened_by        events after which all of it is to be done anew
    anew               true where each time that it is begun nothing of the times before counts
    [[item]]
    id, section, text
    role               in which the person signs
    second             role of a second person, who looks afresh in their own turn
    kind               "check", "measurement", "choice" or "photo"
    unit, at_least, at_most, instrument
    choices, passing
    block              "blocks"; "accept": a fail needs an acceptance by two; "note"
    not_applicable, deferrable
    reopened_by        events after which the item is to be done anew
    renews             items of other lists, "LIST/ITEM", that this one does again
    valid_hours        where it differs from that of the list
"""

from __future__ import annotations

import re
from collections.abc import Iterable
from dataclasses import dataclass
from difflib import get_close_matches
from pathlib import Path
from typing import Annotated, Literal

from pydantic import Field, Strict

from flightlog.errors import TeamFileError
from flightlog.operations.events import EVENTS
from flightlog.team_files.checking import Slug, Table, Text, checked
from flightlog.team_files.reading import near_miss, read_toml

MOST_ITEMS = 200
BLOCKS, ACCEPT, NOTE = "blocks", "accept", "note"
CHECK, MEASURED, CHOICE, PHOTO = "check", "measurement", "choice", "photo"
ROLES = ("pilot", "mechanic", "inspector", "battery", "safety", "engineer", "ground-station")
"""Roles of the lists that come with the program; a team may have others."""

_SLIP = 0.85
"""A role that is so like one of these, and none of them, was mistyped."""

_ROLE = re.compile(r"[a-z][a-z0-9.-]{0,39}")
_RENEWS = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,59}/[A-Za-z0-9][A-Za-z0-9._-]{0,59}")


@dataclass(frozen=True, slots=True)
class Item:
    """One item of a list; see the top of this module."""

    id: str
    section: str
    text: str
    role: str
    second: str = ""
    kind: str = CHECK
    unit: str = ""
    at_least: float | None = None
    at_most: float | None = None
    instrument: bool = False
    choices: tuple[str, ...] = ()
    passing: tuple[str, ...] = ()
    block: str = BLOCKS
    not_applicable: bool = False
    deferrable: bool = False
    reopened_by: tuple[str, ...] = ()
    renews: tuple[str, ...] = ()
    valid_hours: float | None = None

    @property
    def acceptance(self) -> str:
        """What passes, in words."""
        if self.kind == CHOICE:
            return " or ".join(self.passing)
        bounds = []
        if self.at_least is not None:
            bounds.append(f"at least {self.at_least:g}")
        if self.at_most is not None:
            bounds.append(f"at most {self.at_most:g}")
        return f"{' and '.join(bounds)} {self.unit}".strip() if bounds else ""

    def passes(self, value: float) -> bool:
        """Whether a measured number is within the limits; on a limit it is."""
        return (self.at_least is None or value >= self.at_least) and (
            self.at_most is None or value <= self.at_most
        )


@dataclass(frozen=True, slots=True)
class Checklist:
    """A check list as its file has it."""

    id: str
    version: str
    sha256: str
    title: str
    when: str
    about: str
    items: tuple[Item, ...]
    anew: bool = False

    def item(self, id_: str) -> Item | None:
        """Give an item by its id."""
        return next((item for item in self.items if item.id == id_), None)


_Words = Annotated[tuple[Text, ...], Strict(False)]


class _ItemTable(Table):
    id: Slug = Field(description="an id of letters, digits, '.', '-' and '_'")
    section: Text = Field(min_length=1, description="the part of the list that it stands in")
    text: Text = Field(min_length=1, description="what to do, and what is right")
    role: str = Field(description="the role in which the person signs")
    second: str = Field(default="", description="the role of a second person")
    kind: Literal["check", "measurement", "choice", "photo"] = Field(
        default="check", description="check, measurement, choice or photo"
    )
    unit: str = Field(default="", max_length=20, description="the unit of the number")
    at_least: float | None = Field(default=None, description="the smallest number that passes")
    at_most: float | None = Field(default=None, description="the largest number that passes")
    instrument: bool = Field(default=False, description="whether the instrument has to be named")
    choices: _Words = Field(default=(), max_length=20, description="what there is to choose")
    passing: _Words = Field(default=(), max_length=20, description="the choices that pass")
    block: Literal["blocks", "accept", "note"] = Field(
        default="blocks", description="blocks, accept or note"
    )
    not_applicable: bool = Field(default=False, description="whether it may not apply")
    deferrable: bool = Field(default=False, description="whether it may be deferred")
    reopened_by: _Words = Field(default=(), max_length=40, description="events")
    renews: _Words = Field(default=(), max_length=40, description='items like "pre-flight/gear"')
    valid_hours: float | None = Field(
        default=None, gt=0, le=10_000, description="hours for which a result holds"
    )


class _ListFile(Table):
    id: Slug = Field(description="an id of letters, digits, '.', '-' and '_'")
    version: Text = Field(min_length=1, description='a text such as "1"')
    title: Text = Field(min_length=1, description="what it is called")
    when: Text = ""
    about: Literal["aircraft", "pack"] = Field(
        default="aircraft", description="aircraft or pack: what it is worked through for"
    )
    valid_hours: float | None = Field(
        default=None, gt=0, le=10_000, description="hours for which a result holds"
    )
    reopened_by: _Words = Field(default=(), max_length=40, description="events")
    anew: bool = Field(default=False, description="whether each time begins with nothing done")
    item: list[_ItemTable] = Field(
        min_length=1, max_length=MOST_ITEMS, description="the items, each an [[item]]"
    )


def load_checklist(path: Path) -> Checklist:
    """Read a check list.

    Raises
    ------
    TeamFileError
        Naming the item and key, or the line, what was found there, and what to do.
    """
    table, sha256 = read_toml(path, "checklist")
    file = checked(_ListFile, table, str(path))
    _refuse_no_event(file.reopened_by, f"{path}: reopened_by")
    items: dict[str, Item] = {}
    for one in file.item:
        where = f'{path}: [[item]] "{one.id}"'
        if one.id in items:
            raise TeamFileError(
                "is there twice", where=where, fix="Give each item an id of its own."
            )
        items[one.id] = _item(one, file, where)
    return Checklist(
        id=file.id,
        version=file.version,
        sha256=sha256,
        title=file.title,
        when=file.when,
        about=file.about,
        items=tuple(items.values()),
        anew=file.anew,
    )


def _item(table: _ItemTable, file: _ListFile, where: str) -> Item:
    _refuse_no_role(table.role, f"{where} role")
    if table.second:
        _refuse_no_role(table.second, f"{where} second")
    if fault := _fault(table):
        raise TeamFileError(fault[0], where=where, fix=fault[1])
    _refuse_no_event(table.reopened_by, f"{where} reopened_by")
    given = table.model_dump()
    given["valid_hours"] = table.valid_hours or file.valid_hours
    given["reopened_by"] = tuple(dict.fromkeys((*file.reopened_by, *table.reopened_by)))
    return Item(**given)


def _refuse_no_role(role: str, where: str) -> None:
    if not _ROLE.fullmatch(role):
        raise TeamFileError(
            f"{role[:60]!r} is no role",
            where=where,
            fix="A role is a word of small letters, digits, dots and hyphens.",
        )
    if role in ROLES:
        return
    close = get_close_matches(role, ROLES, n=1, cutoff=_SLIP)
    if close:
        raise TeamFileError(
            f"{role!r} is no role of ours", where=where, fix=f"Did you mean {close[0]!r}?"
        )


def _refuse_no_event(events: Iterable[str], where: str) -> None:
    known = list(EVENTS)
    for event in events:
        if event not in known:
            raise TeamFileError(
                f"{event[:60]!r} is no event",
                where=where,
                fix=near_miss(event, known) or f"One of {', '.join(known)}.",
            )


def _fault(table: _ItemTable) -> tuple[str, str] | None:
    """Say what does not go together in an item, and what to do."""
    bounded = table.at_least is not None or table.at_most is not None
    if (table.kind == MEASURED) != bounded:
        return (
            "is a measurement without a limit" if not bounded else "has limits and is none",
            'A measurement has kind = "measurement" and at_least, at_most or both.',
        )
    if bounded and table.at_least is not None and table.at_most is not None:
        if table.at_least > table.at_most:
            return "can't pass: at_least is above at_most", "Check both."
    if (table.kind == CHOICE) != bool(table.choices):
        return "has choices and is none, or none and is one", 'Give kind = "choice" and choices.'
    if table.kind == CHOICE and not (table.passing and set(table.passing) <= set(table.choices)):
        return "can't pass: passing names no choice", "Give passing, out of choices."
    wrong = next((r for r in table.renews if not _RENEWS.fullmatch(r)), None)
    if wrong is not None:
        return f"renews {wrong[:60]!r}, which is no item", 'Write "LIST/ITEM".'
    return None
