"""Who has to sign which entry about people: one rule for each kind.

A rule gets what the entry says, its place and a view, and says what is missing, "" where nothing
is. All that it asks for is that signatures and roles count, never that something does not: so an
entry that is added can only take away what a rule needs. What must *not* be so (a key is taken
already, two persons can grant roles still) is asked by ``PAST_RULES`` of the entry's own past
alone, which never changes.

Every body given to a rule has the form of its kind; ``kinds.form_problem`` saw to that.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from types import MappingProxyType
from typing import TYPE_CHECKING

from flightlog.logbook.entry import Body
from flightlog.logbook.kinds import (
    AUTHORISE,
    BY_OLD_KEY,
    ENROLMENT,
    FOUNDING,
    GRANT,
    KEY_CHANGE,
    LEAST_FOUNDERS,
    RECOVERY,
    REVOCATION,
    WITHDRAWAL,
    team_of,
)

if TYPE_CHECKING:
    from flightlog.logbook.rulings import Place, Rulings

LEAST_TOGETHER = 2
"""Roles are granted by so many persons, never by one alone."""


def _founding(rulings: Rulings, body: Body, place: Place, view: int) -> str:
    people = body.content["people"]
    keys = {person["key"] for person in people}
    if body.seen:
        return "a founding has seen nothing"
    if team_of(body.content) != body.team:
        return "its content does not give the id of this team"
    if len(keys) != len(people) or keys != {signer.key for signer in body.signers}:
        return "those who sign it are not those whom it enrols"
    if sum(AUTHORISE in person["roles"] for person in people) < LEAST_FOUNDERS:
        return f"fewer than {LEAST_FOUNDERS} of its persons get {AUTHORISE!r}"
    if any(signer.role for signer in body.signers):
        return "it is signed in a role, and nobody holds one yet"
    if not all(rulings.sound(key, place, view) for key in keys):
        return "one of its keys was revoked"
    return ""


def _enrolment(rulings: Rulings, body: Body, place: Place, view: int) -> str:
    problem = _new_key_problem(rulings, body, "enrolled", place, view)
    if problem:
        return problem
    if not _authorised(rulings, body, "witnessed", place, view):
        return f"no person who held {AUTHORISE!r} witnessed it"
    return ""


def _grant(rulings: Rulings, body: Body, place: Place, view: int) -> str:
    person = body.content["person"]
    if not rulings.enrolled(person, place, view):
        return "the person was not enrolled"
    others = _authorised(rulings, body, "granted", place, view) - {person}
    if len(others) < LEAST_TOGETHER:
        return (
            f"roles are granted by {LEAST_TOGETHER} other persons who hold {AUTHORISE!r}; "
            f"of the signatures here {_so_many(others)}"
        )
    return ""


def _withdrawal(rulings: Rulings, body: Body, place: Place, view: int) -> str:
    by = _persons(rulings, body, "withdrawn", place, view)
    if body.content["person"] in by or _holding(rulings, by, place, view):
        return ""
    return f"neither a person who held {AUTHORISE!r} signed it, nor the person whose roles they are"


def _key_change(rulings: Rulings, body: Body, place: Place, view: int) -> str:
    content = body.content
    person, old = content["person"], content["old"]
    problem = _new_key_problem(rulings, body, "changed", place, view)
    if problem:
        return problem
    if content["by"] == BY_OLD_KEY:
        signs = any(
            signer.key == old and rulings.signer(signer, place, view) == person
            for signer in body.signers
        )
        return "" if signs else "the old key does not sign it, or does not count as the person's"
    if not rulings.claims(old, person, place, view):
        return "the old key was not the person's"
    if not _authorised(rulings, body, "witnessed", place, view) - {person}:
        return f"no other person who held {AUTHORISE!r} witnessed it"
    return ""


def _revocation(rulings: Rulings, body: Body, place: Place, view: int) -> str:
    by = _persons(rulings, body, "revoked", place, view)
    owners = {p for p in by if rulings.claims(body.content["key"], p, place, view)}
    if owners or _holding(rulings, by, place, view):
        return ""
    return f"neither a person who held {AUTHORISE!r} signed it, nor the person whose key it is"


def _recovery(rulings: Rulings, body: Body, place: Place, view: int) -> str:
    if not all(rulings.enrolled(person, place, view) for person in body.content["people"]):
        return "one of the persons was not enrolled"
    by = _persons(rulings, body, "recovered", place, view)
    if len(by) < LEAST_TOGETHER:
        return (
            f"it is signed by {LEAST_TOGETHER} enrolled persons together; "
            f"of the signatures here {_so_many(by)}"
        )
    return ""


def _key_is_taken(rulings: Rulings, body: Body, place: Place) -> str:
    key = body.content["key" if body.kind == ENROLMENT else "new"]
    for person in rulings.holders.get(key, ()):
        if rulings.claims(key, person, place, place.past):
            return "the new key belongs to somebody already, or did"
    if body.kind == KEY_CHANGE and rulings.was_replaced(body.content["old"], place):
        return "the old key was changed before"
    return ""


def _others_are_left(rulings: Rulings, body: Body, place: Place) -> str:
    left = len(rulings.authorisers(place, place.past))
    if left < LEAST_TOGETHER:
        return ""
    return f"{left} persons can use {AUTHORISE!r} still; with {LEAST_TOGETHER} there is no recovery"


SigningRule = Callable[["Rulings", Body, "Place", int], str]
PastRule = Callable[["Rulings", Body, "Place"], str]

SIGNING_RULES: Mapping[str, SigningRule] = MappingProxyType(
    {
        FOUNDING: _founding,
        ENROLMENT: _enrolment,
        GRANT: _grant,
        WITHDRAWAL: _withdrawal,
        KEY_CHANGE: _key_change,
        REVOCATION: _revocation,
        RECOVERY: _recovery,
    }
)
"""Kind -> who has to sign it."""

PAST_RULES: Mapping[str, PastRule] = MappingProxyType(
    {ENROLMENT: _key_is_taken, KEY_CHANGE: _key_is_taken, RECOVERY: _others_are_left}
)
"""Kind -> what must not be so when it is made."""


def _new_key_problem(rulings: Rulings, body: Body, meaning: str, place: Place, view: int) -> str:
    """Say why a new key does not prove itself: it signs, in no role, and nothing is against it."""
    key = body.content["key" if body.kind == ENROLMENT else "new"]
    proves = any(s.key == key and s.meaning == meaning and not s.role for s in body.signers)
    if not proves:
        return f"the new key itself does not sign it as {meaning!r}, in no role"
    return "" if rulings.sound(key, place, view) else "the new key was revoked"


def _persons(rulings: Rulings, body: Body, meaning: str, place: Place, view: int) -> set[str]:
    """Give the persons whose signatures with a meaning count."""
    found = {rulings.signer(s, place, view) for s in body.signers if s.meaning == meaning}
    return {person for person in found if person is not None}


def _holding(rulings: Rulings, persons: set[str], place: Place, view: int) -> set[str]:
    return {p for p in persons if rulings.holds(p, AUTHORISE, place, view)}


def _authorised(rulings: Rulings, body: Body, meaning: str, place: Place, view: int) -> set[str]:
    return _holding(rulings, _persons(rulings, body, meaning, place, view), place, view)


def _so_many(persons: set[str]) -> str:
    return "one counts" if len(persons) == 1 else f"{len(persons) or 'none'} count"
