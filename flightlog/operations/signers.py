"""Who may sign something now: persons with a key that counts, and the role in which they would."""

from __future__ import annotations

from collections.abc import Collection, Sequence
from dataclasses import dataclass

from flightlog.operations.desk import Desk


@dataclass(frozen=True, slots=True)
class Hand:
    """Somebody who may sign.

    Attributes
    ----------
    key : str
        Present public key.
    person : str
        Id of the person.
    role : str
        In which they would sign; empty where any person may.
    """

    key: str
    person: str
    role: str = ""


def hands_for(desk: Desk, roles: Sequence[str] = (), but: Collection[str] = ()) -> tuple[Hand, ...]:
    """Give those who may sign in one of some roles, each in the first that they hold.

    Parameters
    ----------
    desk : Desk
        The record.
    roles : sequence of str
        Roles that will do; with none, everybody who has a key.
    but : collection of str
        Keys of persons who must not be among them.
    """
    people = desk.book.people
    others = {person.id for key in but if (person := people.person_of(key)) is not None}
    found = []
    for person in people.persons:
        role = next((r for r in roles if people.holds(person.id, r)), "")
        if person.key is not None and person.id not in others and (role or not roles):
            found.append(Hand(person.key, person.id, role))
    return tuple(found)
