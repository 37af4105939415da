"""The rules about people read a second time: slowly, with sets, straight from their definition.

Shares nothing with the package but the bodies of the entries. A *view* is a set of entries.
"""

from __future__ import annotations

from collections.abc import Iterable
from functools import lru_cache

from flightlog.logbook.entry import Entry, Signer

View = frozenset[str]
AUTH = "authorise"


class SlowPeople:
    def __init__(self, entries: Iterable[Entry]) -> None:
        self.by_hash = {entry.hash: entry for entry in entries}
        self.past = {h: self._ways(h) for h in self.by_hash}
        self.all: View = frozenset(self.by_hash)
        self.counts = lru_cache(maxsize=None)(self._counts)
        self.stands = lru_cache(maxsize=None)(self._stands)

    def _ways(self, start: str) -> View:
        found: set[str] = set()
        waiting = list(self.by_hash[start].parents)
        while waiting:
            digest = waiting.pop()
            if digest not in found:
                found.add(digest)
                waiting += self.by_hash[digest].parents
        return frozenset(found)

    # --- what an entry says

    def named(self, e: str, key: str) -> list[str]:
        """Persons for whom an entry makes a key known."""
        body = self.by_hash[e].body
        if body.kind == "founding":
            return [p["key"] for p in body.content["people"] if p["key"] == key]
        if body.kind == "enrolment" and body.content["key"] == key:
            return [key]
        if body.kind == "key-change" and body.content["new"] == key:
            return [body.content["person"]]
        return []

    def gives(self, e: str, person: str, role: str) -> bool:
        body = self.by_hash[e].body
        if body.kind == "founding":
            return any(p["key"] == person and role in p["roles"] for p in body.content["people"])
        if body.kind == "grant":
            return body.content["person"] == person and role in body.content["roles"]
        return body.kind == "recovery" and role == AUTH and person in body.content["people"]

    def revokes(self, e: str, key: str) -> bool:
        body = self.by_hash[e].body
        if body.kind == "revocation":
            return bool(body.content["key"] == key)
        return self._by_witness(e) and body.content["old"] == key

    def takes(self, e: str, person: str, role: str) -> bool:
        body = self.by_hash[e].body
        if body.kind == "withdrawal":
            return body.content["person"] == person and role in body.content["roles"]
        return self._by_witness(e) and body.content["person"] == person

    def _by_witness(self, e: str) -> bool:
        body = self.by_hash[e].body
        return body.kind == "key-change" and body.content["by"] == "witness"

    # --- what is true at an entry, in a view

    def touches(self, restriction: str, e: str) -> bool:
        return restriction != e and e not in self.past[restriction]

    def disputed(self, key: str, e: str, view: View) -> bool:
        claims = [
            (c, person)
            for c in view
            if c != e and e not in self.past[c]
            for person in self.named(c, key)
            if self.stands(c)
        ]
        return any(
            one[1] != other[1]
            and one[0] not in self.past[other[0]]
            and other[0] not in self.past[one[0]]
            for one in claims
            for other in claims
        )

    def sound(self, key: str, e: str, view: View) -> bool:
        if self.disputed(key, e, view):
            return False
        for r in view:
            if self.revokes(r, key) and self.touches(r, e) and self.stands(r):
                return False
        for c in self.past[e]:
            body = self.by_hash[c].body
            if body.kind == "key-change" and not self._by_witness(c):
                if body.content["old"] == key and self.stands(c):
                    return False
        return True

    def belongs(self, key: str, person: str, e: str, view: View) -> bool:
        return any(person in self.named(c, key) and self.counts(c, view) for c in self.past[e])

    def person(self, key: str, e: str, view: View) -> str | None:
        found = {p for c in self.past[e] for p in self.named(c, key) if self.counts(c, view)}
        if len(found) == 1 and self.sound(key, e, view):
            return found.pop()
        return None

    def holds(self, person: str, role: str, e: str, view: View) -> bool:
        return any(
            self.gives(g, person, role)
            and self.counts(g, view)
            and not any(
                self.takes(w, person, role)
                and w not in self.past[g]
                and self.touches(w, e)
                and self.stands(w)
                for w in view
            )
            for g in self.past[e]
        )

    def signs(self, signer: Signer, e: str, view: View) -> str | None:
        person = self.person(signer.key, e, view)
        if person and signer.role and not self.holds(person, signer.role, e, view):
            return None
        return person

    def joined(self, person: str, e: str, view: View) -> bool:
        return self.belongs(person, person, e, view)

    # --- rules

    def _stands(self, e: str) -> bool:
        past = self.past[e]
        return self.rule(e, past) and self.past_rule(e, past)

    def _counts(self, e: str, view: View) -> bool:
        if not self.stands(e):
            return False
        return self.by_hash[e].body.kind in ("revocation", "withdrawal") or self.rule(e, view)

    def by(self, e: str, meaning: str, view: View) -> set[str]:
        signers = [s for s in self.by_hash[e].body.signers if s.meaning == meaning]
        return {p for s in signers if (p := self.signs(s, e, view))}

    def rule(self, e: str, view: View) -> bool:
        body = self.by_hash[e].body
        content = body.content

        def powers(meaning: str) -> set[str]:
            return {p for p in self.by(e, meaning, view) if self.holds(p, AUTH, e, view)}

        def proves(key: str) -> bool:
            return key in {s.key for s in body.signers} and self.sound(key, e, view)

        if body.kind == "founding":
            return not body.seen and all(proves(p["key"]) for p in content["people"])
        if body.kind == "enrolment":
            return proves(content["key"]) and bool(powers("witnessed"))
        if body.kind == "grant":
            others = powers("granted") - {content["person"]}
            return self.joined(content["person"], e, view) and len(others) >= 2
        if body.kind == "withdrawal":
            return content["person"] in self.by(e, "withdrawn", view) or bool(powers("withdrawn"))
        if body.kind == "revocation":
            own = [
                p for p in self.by(e, "revoked", view) if self.belongs(content["key"], p, e, view)
            ]
            return bool(own or powers("revoked"))
        if body.kind == "recovery":
            all_joined = all(self.joined(p, e, view) for p in content["people"])
            return all_joined and len(self.by(e, "recovered", view)) >= 2
        if body.kind == "key-change":
            if not proves(content["new"]):
                return False
            if content["by"] == "old-key":
                old = [s for s in body.signers if s.key == content["old"]]
                return any(self.signs(s, e, view) == content["person"] for s in old)
            return (
                self.joined(content["person"], e, view)
                and self.belongs(content["old"], content["person"], e, view)
                and bool(powers("witnessed") - {content["person"]})
            )
        return False

    def past_rule(self, e: str, past: View) -> bool:
        body = self.by_hash[e].body
        if body.kind in ("enrolment", "key-change"):
            new = body.content["key" if body.kind == "enrolment" else "new"]
            if any(self.named(c, new) and self.counts(c, past) for c in past):
                return False
        if body.kind == "key-change":
            changes = [c for c in past if self.by_hash[c].body.kind == "key-change"]
            old = body.content["old"]
            return not any(
                self.by_hash[c].body.content["old"] == old and self.counts(c, past) for c in changes
            )
        if body.kind == "recovery":
            return len(self.able(e, past)) < 2
        return True

    def able(self, e: str, view: View) -> set[str]:
        keys = {s.key for h in self.past[e] for s in self.by_hash[h].body.signers}
        persons = {self.person(key, e, view) for key in keys}
        return {p for p in persons if p and self.holds(p, AUTH, e, view)}

    # --- what is asked of the package

    def judged(self, signer: Signer, e: str) -> str | None:
        """Person whose signature counts, all entries looked at; an entry knows its own new key."""
        person = self.signs(signer, e, self.all)
        own = self.named(e, signer.key)
        if person or not own or signer.role:
            return person
        return own[0] if self.counts(e, self.all) and self.sound(signer.key, e, self.all) else None

    def has(self, person: str, role: str, end: str, keys: Iterable[str]) -> bool:
        """Whether a person has joined, holds a role, and can sign with one of some keys."""
        return (
            self.joined(person, end, self.all)
            and self.holds(person, role, end, self.all)
            and any(self.person(key, end, self.all) == person for key in keys)
        )
