"""The crew as people name them: by name, by fingerprint, by key."""

from __future__ import annotations

import re
from dataclasses import dataclass
from difflib import get_close_matches

from flightlog.errors import UsageError
from flightlog.logbook.codes import code
from flightlog.logbook.names import Names
from flightlog.logbook.people import People, Person
from flightlog.logbook.signatures import fingerprint

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
        name = self.names.of(person)
        short = code(fingerprint(person))[:_FEWEST_SIGNS]
        return f"{name} ({short})" if name else f"person {short}"

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

    def has_name(self, name: str) -> bool:
        """Whether somebody has this name already."""
        names = (self.names.of(person.id) for person in self.people.persons)
        return any(n is not None and n.casefold() == name.strip().casefold() for n in names)

    def with_name(self, person: str, name: str) -> Crew:
        """Give the same crew with one more name."""
        return Crew(self.people, self.names.with_name(person, name))

    def fingerprint_line(self, person: str) -> str:
        """Give a person with the whole fingerprint of the present key, and the roles."""
        known = next(p for p in self.people.persons if p.id == person)
        roles = ", ".join(known.roles) or "no role"
        if known.key is None:
            return f"{self.label(person)}: no key that counts; {roles}"
        return f"{self.label(person)}: {code(fingerprint(known.key))}; {roles}"

    def fingerprints(self) -> list[str]:
        """Give a line for each person."""
        return [self.fingerprint_line(person.id) for person in self.people.persons]

    def _fits(self, person: Person, wanted: str) -> bool:
        name = self.names.of(person.id)
        if name is not None and name.casefold() == wanted.casefold():
            return True
        signs = re.sub(r"[\s-]", "", wanted)
        if len(signs) < _FEWEST_SIGNS:
            return False
        for key in person.keys:
            known = code(fingerprint(key)).replace("-", "")
            if known.startswith(signs.upper()) or key.startswith(signs.lower()):
                return True
        return False

    def _near(self, wanted: str) -> str:
        names = [n for p in self.people.persons if (n := self.names.of(p.id)) is not None]
        near = get_close_matches(wanted, names, n=1)
        if near:
            return f"Did you mean {near[0]!r}?"
        return "'flightlog team crew list' shows all, with their fingerprints."
