"""Drafts of the entries about people: who is enrolled, granted, withdrawn, revoked.

What each needs so that it counts stands in ``people``; these functions only put it in form.
"""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from flightlog.logbook.book import Draft
from flightlog.logbook.entry import Signer


def enrolment(key: str, witness: str) -> Draft:
    """Enrol a person: with the new key itself, and a witness who may grant roles."""
    return Draft("enrolment", {"key": key}, [Signer(key, "enrolled"), Signer(witness, "witnessed")])


def grant(person: str, roles: Sequence[str], by: Sequence[str]) -> Draft:
    """Grant roles to a person; ``by`` are the keys of two or more others who may."""
    content = {"person": person, "roles": sorted(set(roles))}
    return Draft("grant", content, _signers(by, "granted"))


def withdrawal(person: str, roles: Sequence[str], reason: str, by: str) -> Draft:
    """Withdraw roles of a person; by one who may grant, or the person."""
    content = {"person": person, "roles": sorted(set(roles)), "reason": reason}
    return Draft("withdrawal", content, _signers([by], "withdrawn"))


def key_change(person: str, old: str, new: str, *, witness: str = "") -> Draft:
    """Change a person's key: with the old one, or with a witness where it is lost."""
    content = {"person": person, "old": old, "new": new, "by": "witness" if witness else "old-key"}
    if witness:
        return Draft("key-change", content, [Signer(new, "changed"), Signer(witness, "witnessed")])
    return Draft("key-change", content, _signers([old, new], "changed"))


def revocation(key: str, why: str, reason: str, by: str, *, doubtful_after: str = "") -> Draft:
    """Revoke a key: ``why`` is "lost", "disclosed" or "left".

    ``doubtful_after`` is the hash of the last entry of which it is sure that the key was still in
    the right hands; what the key signed since then is to be signed again.
    """
    content: dict[str, Any] = {"key": key, "why": why, "reason": reason}
    if doubtful_after:
        content["doubtful_after"] = doubtful_after
    return Draft("revocation", content, _signers([by], "revoked"))


def recovery(people: Sequence[str], reason: str, by: Sequence[str]) -> Draft:
    """Let persons grant roles again where fewer than two are left who can; by two persons."""
    content = {"people": list(dict.fromkeys(people)), "reason": reason}
    return Draft("recovery", content, _signers(by, "recovered"))


def _signers(keys: Sequence[str], meaning: str) -> list[Signer]:
    return [Signer(key, meaning) for key in keys]
