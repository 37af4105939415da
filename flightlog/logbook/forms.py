"""The forms of what entries say: texts, words, quantities, lists, and a kind made of them.

A form says what is wrong with a value and nothing else; which kinds of entries there are stands
in ``kinds`` and ``flying_kinds``.
"""

from __future__ import annotations

import re
from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from datetime import datetime
from typing import Any

from flightlog.logbook.canonical import LARGEST_INTEGER

_WORD = re.compile(r"[a-z][a-z0-9.-]{0,39}")
_IDENT = re.compile(r"[A-Za-z0-9][A-Za-z0-9._-]{0,59}")
_HEX = re.compile(r"[0-9a-f]*")
_DECIMAL = re.compile(r"-?(0|[1-9][0-9]*)(\.[0-9]+)?")
_TIME = re.compile(r"[0-9]{4}-[0-9]{2}-[0-9]{2}T(?:[01][0-9]|2[0-3]):[0-9]{2}:[0-9]{2}Z")
_LONGEST_DECIMAL = 40
_LONGEST_UNIT = 20


@dataclass(frozen=True, slots=True, kw_only=True)
class Field(ABC):
    """What stands under one key of a content.

    Parameters
    ----------
    label : str
        What screens call it; the key itself when empty.
    optional : bool
        Whether it may be left out.
    """

    label: str = ""
    optional: bool = False

    @abstractmethod
    def problem(self, value: object) -> str | None:
        """Say what is wrong with a value, None when nothing is."""


@dataclass(frozen=True, slots=True, kw_only=True)
class Text(Field):
    """A text of 1 to ``most`` characters."""

    most: int

    def problem(self, value: object) -> str | None:
        """Say what is wrong with a value, None when nothing is."""
        if isinstance(value, str) and 0 < len(value) <= self.most:
            return None
        return f"is not a text of 1 to {self.most} characters"


@dataclass(frozen=True, slots=True, kw_only=True)
class Word(Field):
    """A word of small letters, digits, dots and hyphens; one of ``choices`` where there are any."""

    choices: tuple[str, ...]

    def problem(self, value: object) -> str | None:
        """Say what is wrong with a value, None when nothing is."""
        if self.choices:
            return None if value in self.choices else f"is none of {', '.join(self.choices)}"
        if isinstance(value, str) and _WORD.fullmatch(value):
            return None
        return "is not a word of small letters, digits, dots and hyphens"


@dataclass(frozen=True, slots=True, kw_only=True)
class Ident(Field):
    """An id as team files have it: letters, digits, full stops, hyphens and underscores."""

    def problem(self, value: object) -> str | None:
        """Say what is wrong with a value, None when nothing is."""
        if isinstance(value, str) and _IDENT.fullmatch(value):
            return None
        return "is not an id of letters, digits, '.', '-' and '_'"


@dataclass(frozen=True, slots=True, kw_only=True)
class Moment(Field):
    """A time in UTC, like "2027-03-02T09:14:05Z"."""

    def problem(self, value: object) -> str | None:
        """Say what is wrong with a value, None when nothing is."""
        try:
            if isinstance(value, str) and _TIME.fullmatch(value):
                datetime.fromisoformat(value[:-1])
                return None
        except ValueError:
            pass
        return "is not a time like 2027-03-02T09:14:05Z"


@dataclass(frozen=True, slots=True, kw_only=True)
class Hex(Field):
    """So many hexadecimal digits, in small letters."""

    digits: int

    def problem(self, value: object) -> str | None:
        """Say what is wrong with a value, None when nothing is."""
        if isinstance(value, str) and len(value) == self.digits and _HEX.fullmatch(value):
            return None
        return f"is not {self.digits} hexadecimal digits"


@dataclass(frozen=True, slots=True, kw_only=True)
class Quantity(Field):
    """A decimal text with a unit, ``{"value": "40.0", "unit": "m"}``; any unit if none is given."""

    unit: str

    def problem(self, value: object) -> str | None:
        """Say what is wrong with a value, None when nothing is."""
        if not isinstance(value, Mapping) or set(value) != {"value", "unit"}:
            return 'is not a quantity like {"value": "40.0", "unit": "m"}'
        number, unit = value["value"], value["unit"]
        if not isinstance(number, str) or len(number) > _LONGEST_DECIMAL:
            return f"has a value that is not a decimal text of at most {_LONGEST_DECIMAL} signs"
        if not _DECIMAL.fullmatch(number):
            return f"has the value {number!r}, which is not a decimal number"
        if not isinstance(unit, str) or len(unit) > _LONGEST_UNIT:
            return f"has a unit that is not a text of at most {_LONGEST_UNIT} characters"
        if self.unit and unit != self.unit:
            return f"is in {unit!r}, not in {self.unit!r}"
        return None


@dataclass(frozen=True, slots=True, kw_only=True)
class Integer(Field):
    """A whole number from ``least`` to ``most``."""

    least: int
    most: int

    def problem(self, value: object) -> str | None:
        """Say what is wrong with a value, None when nothing is."""
        whole = isinstance(value, int) and not isinstance(value, bool)
        if whole and self.least <= value <= self.most:  # type: ignore[operator]
            return None
        return f"is not a whole number from {self.least} to {self.most}"


@dataclass(frozen=True, slots=True, kw_only=True)
class Flag(Field):
    """Yes or no."""

    def problem(self, value: object) -> str | None:
        """Say what is wrong with a value, None when nothing is."""
        return None if isinstance(value, bool) else "is neither true nor false"


@dataclass(frozen=True, slots=True, kw_only=True)
class Many(Field):
    """A list of values of one form, each once unless ``repeats``."""

    of: Field
    least: int
    most: int
    repeats: bool = False

    def problem(self, value: object) -> str | None:
        """Say what is wrong with a value, None when nothing is."""
        if not isinstance(value, list) or not self.least <= len(value) <= self.most:
            return f"is not a list of {self.least} to {self.most}"
        for index, item in enumerate(value):
            problem = self.of.problem(item)
            if problem:
                return f"[{index}] {problem}"
            if not self.repeats and item in value[:index]:
                return f"[{index}] stands there twice"
        return None


@dataclass(frozen=True, slots=True, kw_only=True)
class Record(Field):
    """An object with fields of its own."""

    fields: Mapping[str, Field]

    def problem(self, value: object) -> str | None:
        """Say what is wrong with a value, None when nothing is."""
        if not isinstance(value, Mapping):
            return "is not an object"
        return problem_of_fields(value, self.fields)


def text(label: str = "", *, most: int = 4000) -> Field:
    """Give the form of a text of 1 to ``most`` characters."""
    return Text(label=label, most=most)


def word(*choices: str, label: str = "") -> Field:
    """Give the form of a word; one of ``choices`` where there are any."""
    return Word(label=label, choices=choices)


def hexed(digits: int = 64, label: str = "") -> Field:
    """Give the form of hexadecimal digits: a key, a person's id or a hash."""
    return Hex(label=label, digits=digits)


def quantity(unit: str = "", label: str = "") -> Field:
    """Give the form of a quantity in a unit, in any unit when none is given."""
    return Quantity(label=label, unit=unit)


def integer(label: str = "", *, least: int = 0, most: int = LARGEST_INTEGER) -> Field:
    """Give the form of a whole number within bounds."""
    return Integer(label=label, least=least, most=most)


def flag(label: str = "") -> Field:
    """Give the form of a yes or no."""
    return Flag(label=label)


def ident(label: str = "") -> Field:
    """Give the form of an id of a team file."""
    return Ident(label=label)


def moment(label: str = "") -> Field:
    """Give the form of a time in UTC, in whole seconds."""
    return Moment(label=label)


def listed(
    of: Field, label: str = "", *, least: int = 1, most: int = 64, repeats: bool = False
) -> Field:
    """Give the form of a list, each item of one form, and there once unless ``repeats``."""
    return Many(label=label, of=of, least=least, most=most, repeats=repeats)


def words(*choices: str, label: str = "", least: int = 1, most: int = 64) -> Field:
    """Give the form of a list of words."""
    return listed(word(*choices), label, least=least, most=most)


def records(
    fields: Mapping[str, Field],
    label: str = "",
    *,
    least: int = 1,
    most: int = 256,
    repeats: bool = False,
) -> Field:
    """Give the form of a list of objects that have fields of their own."""
    return listed(Record(fields=fields), label, least=least, most=most, repeats=repeats)


def optional(form: Field) -> Field:
    """Give a form that may be left out."""
    return replace(form, optional=True)


def problem_of_fields(content: Mapping[str, Any], fields: Mapping[str, Field]) -> str | None:
    """Say what is wrong with an object's keys and values, None when nothing is."""
    strange = sorted(set(content) - set(fields))
    if strange:
        return f"{strange[0][:40]!r} is not known"
    for key, form in fields.items():
        if key not in content:
            if not form.optional:
                return f"{key!r} is missing"
            continue
        problem = form.problem(content[key])
        if problem:
            return f"{key!r} {problem}"
    return None


@dataclass(frozen=True, slots=True)
class Kind:
    """A kind of entry.

    Parameters
    ----------
    name : str
        As ``Body.kind`` has it.
    label : str
        What screens call it.
    content : mapping
        Key -> form of what stands there. Other keys are not allowed.
    meanings : tuple of str or None
        The words with which persons sign it; empty where the device signs alone, None where any
        word will do.
    signers : int
        How many persons sign it at least.
    relation : str
        A relation that it must have, empty where it needs none.
    first : bool
        Whether it can only be number 1 of a chain.
    note : str
        What it is for, in one sentence.
    """

    name: str
    label: str
    content: Mapping[str, Field]
    meanings: tuple[str, ...] | None = None
    signers: int = 0
    relation: str = ""
    first: bool = False
    note: str = field(default="", compare=False)
