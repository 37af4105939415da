"""The crew as people name them: by name, by fingerprint, by key."""

from __future__ import annotations

import re
from dataclasses import dataclass
from difflib import get_close_matches

from flightlog.errors import RefusedError, UsageError
from flightlog.logbook.codes import code, signs_of
from flightlog.logbook.kinds import AUTHORISE
from flightlog.logbook.names import Names
from flightlog.logbook.people import People, Person
from flightlog.logbook.signatures import fingerprint
from flightlog.logbook.words import person_name

_FEWEST_SIGNS = 5


@dataclass(frozen=True, slots=True)
class Crew:
    """Persons of the record with the names of the side file.

    Parameters
    ----------
    people : People
        What the record says.
    names : Names
        The side file; a person need not be in it.
    """

    people: People
    names: Names

    def label(self, person: str) -> str:
        """Name a person by id: the name if there is one, and the fingerprint's beginning."""
        return person_name(person, self.names)

    def label_of_key(self, key: str) -> str:
        """Name the person whose key it is."""
        person = self.people.person_of(key)
        return self.label(person.id if person is not None else key)

    def find(self, text: str) -> Person:
        """Find a person by name, by at least 5 signs of a fingerprint, or by a public key.

        Raises
        ------
        UsageError
            If nobody or more than one fits.
        """
        wanted = text.strip()
        found = [p for p in self.people.persons if self._fits(p, wanted)]
        if len(found) == 1:
            return found[0]
        if found:
            which = ", ".join(self.label(p.id) for p in found)
            raise UsageError(
                f"several persons fit: {which}",
                where=wanted[:80],
                fix="Give the signs in brackets, or more of the fingerprint.",
            )
        raise UsageError("no such person", where=wanted[:80], fix=self._near(wanted))

    def present_key(self, text: str) -> str:
        """Give the present public key of a person.

        Raises
        ------
        UsageError
            If there is no such person, or the person has no key that counts.
        """
        person = self.find(text)
        if person.key is None:
            raise UsageError(
                f"{self.label(person.id)} has no key that counts",
                fix="Give a new one with 'flightlog team crew change-key WHO --witness WHO'.",
            )
        return person.key

    def key_meant(self, text: str) -> str:
        """Give the one key that is meant, where a person may have several that count.

        Raises
        ------
        UsageError
            If it is not clear which one.
        """
        person = self.find(text)
        if len(person.valid) < 2:
            return self.present_key(text)
        meant = [key for key in person.valid if _begins(key, text)]
        if len(meant) == 1:
            return meant[0]
        listed = ", ".join(code(fingerprint(key)) for key in person.valid)
        raise UsageError(
            f"{self.label(person.id)} has several keys that count: {listed}",
            where=text[:80],
            fix="Give the beginning of the one that is meant.",
        )

    def authorised_key(self, text: str) -> str:
        """Give the present key of a person who may grant, witness and revoke.

        Raises
        ------
        UsageError
            If there is no such person.
        RefusedError
            If the person may not.
        """
        key = self.present_key(text)
        person = self.find(text)
        if not self.people.holds(person.id, AUTHORISE):
            who = ", ".join(self.label(p.id) for p in self.people.authorisers) or "nobody"
            raise RefusedError(
                f"{self.label(person.id)} does not hold the role {AUTHORISE!r}",
                fix=f"Those who do: {who}.",
            )
        return key

    def with_name(self, person: str, name: str) -> Crew:
        """Give the same crew with one more name."""
        return Crew(self.people, self.names.with_name(person, name))

    def fingerprint_line(self, person: str) -> str:
        """Give a person with the whole fingerprints of the keys that count, and the roles."""
        known = next(p for p in self.people.persons if p.id == person)
        roles = ", ".join(known.roles) or "no role"
        keys = " and ".join(code(fingerprint(key)) for key in known.valid)
        return f"{self.label(person)}: {keys or 'no key that counts'}; {roles}"

    def fingerprints(self) -> list[str]:
        """Give a line for each person."""
        return [self.fingerprint_line(person.id) for person in self.people.persons]

    def _fits(self, person: Person, wanted: str) -> bool:
        name = self.names.of(person.id)
        if name is not None and name.casefold() == wanted.casefold():
            return True
        return any(_begins(key, wanted) for key in person.keys)

    def _near(self, wanted: str) -> str:
        names = [n for p in self.people.persons if (n := self.names.of(p.id)) is not None]
        near = get_close_matches(wanted, names, n=1)
        if near:
            return f"Did you mean {near[0]!r}?"
        return "'flightlog team crew list' shows all, with their fingerprints."


def _begins(key: str, text: str) -> bool:
    """Whether a text is the beginning of a key, or of its fingerprint's code."""
    signs = re.sub(r"[\s-]", "", text)
    if len(signs) < _FEWEST_SIGNS:
        return False
    known = signs_of(code(fingerprint(key)))
    return known.startswith(signs_of(signs)) or key.startswith(signs.lower())
