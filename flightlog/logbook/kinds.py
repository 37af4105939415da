"""The kinds of entries that this program knows, as one table.

A kind says what its content holds, with which words persons sign it, and which relation it needs.
To add one, write a line in ``KINDS``::

    Kind(
        "weighing",
        "Weighing",
        content={
            "item": text(),
            "mass": quantity("kg"),
            "scale": text(),
            "points": records({"name": word(), "load": quantity("kg")}, least=3),
            "fuel": optional(flag()),
        },
        meanings=("performed",),
        note="An item was put on the scale.",
    )

This looks at the form of one entry alone. Whether a person may sign it is told by ``people``, and
what it does to others by ``standing``, through its effect and its relations and not through its
kind. Entries of kinds that are not in the table are kept and shown, their effect and relations
are honoured, and nothing is said about their content.

An entry about people says who holds keys and roles and nothing else: it has no effect, and of the
relations only ``corrects`` and ``cites``. A withdrawal or a revocation counts though its signer
was revoked elsewhere, and so it may be no way to permit, end, explain or inspect anything.
"""

from __future__ import annotations

import hashlib
import re
from abc import ABC, abstractmethod
from collections.abc import Mapping
from dataclasses import dataclass, field, replace
from typing import Any

from flightlog.logbook.canonical import LARGEST_INTEGER, encode
from flightlog.logbook.entry import CITES, CORRECTS, MOST_SIGNERS, Body

AUTHORISE = "authorise"
"""The role that may grant roles, witness and revoke. All other roles are free words."""

FOUNDING = "founding"
ENROLMENT = "enrolment"
GRANT = "grant"
WITHDRAWAL = "withdrawal"
KEY_CHANGE = "key-change"
REVOCATION = "revocation"
RECOVERY = "recovery"
ABOUT_PEOPLE = (FOUNDING, ENROLMENT, GRANT, WITHDRAWAL, KEY_CHANGE, REVOCATION, RECOVERY)
"""The kinds that say who holds which key and role."""
RELATIONS_ABOUT_PEOPLE = (CORRECTS, CITES)
"""The relations that entries of these kinds may have."""

CORRECTION = "correction"
REMARK = "remark"
CHAIN_START = "chain-start"

BY_OLD_KEY = "old-key"
BY_WITNESS = "witness"
LEAST_FOUNDERS = 2

_TEAM_PREFIX = b"flightlog.team/1\n"
_WORD = re.compile(r"[a-z][a-z0-9.-]{0,39}")
_HEX = re.compile(r"[0-9a-f]*")
_DECIMAL = re.compile(r"-?(0|[1-9][0-9]*)(\.[0-9]+)?")
_LONGEST_DECIMAL = 40
_LONGEST_UNIT = 20


def team_of(content: Mapping[str, Any]) -> str:
    """Give the id of the team that a founding with this content founds: 64 hexadecimal digits.

    Raises
    ------
    LogbookError
        If the content can't be written as a record.
    """
    return hashlib.sha256(_TEAM_PREFIX + encode(content)).hexdigest()


# --- forms of values


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
    """A list of values of one form, each once."""

    of: Field
    least: int
    most: int

    def problem(self, value: object) -> str | None:
        """Say what is wrong with a value, None when nothing is."""
        if not isinstance(value, list) or not self.least <= len(value) <= self.most:
            return f"is not a list of {self.least} to {self.most}"
        for index, item in enumerate(value):
            problem = self.of.problem(item)
            if problem:
                return f"[{index}] {problem}"
            if item in value[:index]:
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
        return _problem_of_fields(value, self.fields)


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


def listed(of: Field, label: str = "", *, least: int = 1, most: int = 64) -> Field:
    """Give the form of a list, each item of one form and there once."""
    return Many(label=label, of=of, least=least, most=most)


def words(*choices: str, label: str = "", least: int = 1, most: int = 64) -> Field:
    """Give the form of a list of words."""
    return listed(word(*choices), label, least=least, most=most)


def records(
    fields: Mapping[str, Field], label: str = "", *, least: int = 1, most: int = 256
) -> Field:
    """Give the form of a list of objects that have fields of their own."""
    return listed(Record(fields=fields), label, least=least, most=most)


def optional(form: Field) -> Field:
    """Give a form that may be left out."""
    return replace(form, optional=True)


# --- kinds


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


_ROLES = words(label="roles", most=32)

KINDS: dict[str, Kind] = {
    kind.name: kind
    for kind in (
        Kind(
            FOUNDING,
            "Founding of the team",
            content={
                "nonce": hexed(32),
                "people": records(
                    {"key": hexed(label="person"), "roles": _ROLES},
                    least=LEAST_FOUNDERS,
                    most=MOST_SIGNERS,
                ),
            },
            meanings=("enrolled",),
            signers=LEAST_FOUNDERS,
            first=True,
            note="The first persons enrol each other; the team's id is the hash of this content.",
        ),
        Kind(
            ENROLMENT,
            "Enrolment",
            content={"key": hexed()},
            meanings=("enrolled", "witnessed"),
            signers=2,
            note="A person joins, with no role yet; the person's id is this key.",
        ),
        Kind(
            GRANT,
            "Grant of roles",
            content={"person": hexed(), "roles": _ROLES},
            meanings=("granted",),
            signers=2,
            note="Two others give roles to a person.",
        ),
        Kind(
            WITHDRAWAL,
            "Withdrawal of roles",
            content={"person": hexed(), "roles": _ROLES, "reason": text()},
            meanings=("withdrawn",),
            signers=1,
            note="Roles end.",
        ),
        Kind(
            KEY_CHANGE,
            "Change of key",
            content={
                "person": hexed(),
                "old": hexed(label="old key"),
                "new": hexed(label="new key"),
                "by": word(BY_OLD_KEY, BY_WITNESS),
            },
            meanings=("changed", "witnessed"),
            signers=2,
            note="A person goes on with another key; with a witness, the roles are left behind.",
        ),
        Kind(
            REVOCATION,
            "Revocation of a key",
            content={
                "key": hexed(),
                "why": word("lost", "disclosed", "left"),
                "reason": text(),
                "doubtful_after": optional(hexed(label="last entry that is beyond doubt")),
            },
            meanings=("revoked",),
            signers=1,
            note="Nothing counts any more that this key signs.",
        ),
        Kind(
            RECOVERY,
            "Recovery",
            content={
                "people": listed(hexed(), "persons", most=MOST_SIGNERS),
                "reason": text(),
            },
            meanings=("recovered",),
            signers=2,
            note="Two persons go on where fewer than two are left who can grant roles.",
        ),
        Kind(
            CORRECTION,
            "Correction",
            content={"text": text()},
            relation=CORRECTS,
            note="Puts an earlier entry right; both stay visible.",
        ),
        Kind(REMARK, "Remark", content={"text": text()}, note="Something worth keeping."),
        Kind(
            CHAIN_START,
            "Start of a chain",
            content={"reason": text()},
            meanings=(),
            first=True,
            note="A device begins a chain of its own.",
        ),
    )
}
"""Name -> kind."""


def content_problem(body: Body) -> str | None:
    """Say what is wrong with the content of an entry of a known kind.

    Returns
    -------
    str or None
        None when it has exactly the keys of its kind, each with a value of the right form; and
        for every kind that is not known.
    """
    kind = KINDS.get(body.kind)
    problem = _problem_of_fields(body.content, kind.content) if kind is not None else None
    return f"in its content {problem}" if problem else None


def form_problem(body: Body) -> str | None:
    """Say what is wrong with an entry of a known kind, as far as it can be told from it alone.

    Besides its content these are the words with which persons sign it, how many they are, the
    relation that it needs, whether its kind can only begin a chain, and that an entry about people
    does nothing besides.
    """
    kind = KINDS.get(body.kind)
    if kind is None:
        return None
    problem = content_problem(body)
    if problem:
        return problem
    strange = [s.meaning for s in body.signers if not _may_mean(kind, s.meaning)]
    if strange:
        wanted = " or ".join(repr(m) for m in kind.meanings or ()) or "no person"
        return f"it is signed as {strange[0]!r}; this kind is signed by {wanted}"
    if len(body.signers) < kind.signers:
        needed = "a person has" if kind.signers == 1 else f"{kind.signers} persons have"
        return f"{needed} to sign it, and {len(body.signers) or 'none'} would"
    if kind.relation and not body.related(kind.relation):
        return f"it does not say which entry it {kind.relation}"
    if kind.first and body.number != 1:
        return f"it is number {body.number} of its chain; this kind can only be the first"
    return _problem_besides(body) if body.kind in ABOUT_PEOPLE else None


def _problem_besides(body: Body) -> str | None:
    """Say what an entry about people does besides."""
    if body.effect is not None:
        return f"it {body.effect.word} something; an entry about people does nothing else"
    for relation in body.relations:
        if relation.word not in RELATIONS_ABOUT_PEOPLE:
            return f"it {relation.word} another entry; an entry about people does nothing else"
    return None


def _may_mean(kind: Kind, meaning: str) -> bool:
    return kind.meanings is None or meaning in kind.meanings


def _problem_of_fields(content: Mapping[str, Any], fields: Mapping[str, Field]) -> str | None:
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
