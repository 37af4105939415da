"""The kinds of entries that this program knows, as one table.

A kind says what its content holds, with which words persons sign it, and which relation it needs.
Those about people and about the record itself stand here, those about flying in ``flying_kinds``.
To add one, write a line there::

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
from collections.abc import Mapping
from typing import Any

from flightlog.logbook.canonical import encode
from flightlog.logbook.entry import CITES, CORRECTS, MOST_SIGNERS, Body
from flightlog.logbook.flying_kinds import FLYING_KINDS
from flightlog.logbook.forms import (
    Kind,
    hexed,
    listed,
    optional,
    problem_of_fields,
    records,
    text,
    word,
    words,
)

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


def team_of(content: Mapping[str, Any]) -> str:
    """Give the id of the team that a founding with this content founds: 64 hexadecimal digits.

    Raises
    ------
    LogbookError
        If the content can't be written as a record.
    """
    return hashlib.sha256(_TEAM_PREFIX + encode(content)).hexdigest()


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
        *FLYING_KINDS,
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
    problem = problem_of_fields(body.content, kind.content) if kind is not None else None
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
