"""Which entries about keys and roles stand and count; the rules themselves are told in ``people``.

Entries about people are numbered as they come after one another. A set of them is an integer with
one bit each, so that "which of these has that entry seen" is one operation however long the
record is. A *view* is such a set: what is looked at when something is judged.

What an entry is worth in a view depends only on the restrictions in the view that have not seen
it. Results are kept by that set, so in a record without concurrent restrictions each entry is
judged once. An entry and all it rests on are judged with a list of what is waiting, not by
functions that call each other: chains of trust may be long.

What it costs: an entry that is signed only by keys that were never enrolled costs one look-up for
each signature and takes no bit; strangers can send as many as they like. Persons who were enrolled
can make it cost more, at worst about the number of their entries about people times the number of
restrictions that they made apart from these: 1,200 such entries in the worst pattern tried took
5 to 8 s, 3,000 in a plain one 0.25 s.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterator
from copy import copy
from dataclasses import dataclass

from flightlog.logbook.entry import Body, Entry, Signer
from flightlog.logbook.kinds import (
    ABOUT_PEOPLE,
    AUTHORISE,
    BY_OLD_KEY,
    ENROLMENT,
    FOUNDING,
    GRANT,
    KEY_CHANGE,
    RECOVERY,
    REVOCATION,
    WITHDRAWAL,
    form_problem,
    team_of,
)
from flightlog.logbook.order import Order
from flightlog.logbook.signing_rules import PAST_RULES, SIGNING_RULES

EVERYTHING = -1
"""The view of all entries."""


@dataclass(frozen=True, slots=True)
class Place:
    """Where in the record something is signed, as seen by the entries about people.

    Parameters
    ----------
    past : int
        Those that it has seen.
    spared : int
        Those that have seen it, and itself: no restriction among them touches it.
    """

    past: int
    spared: int


class Rulings:
    """What the entries about people bring about.

    Parameters
    ----------
    order : Order
        All entries.
    team : str
        Only what names this team is looked at.
    """

    def __init__(self, order: Order, team: str) -> None:
        self.team = team
        self.acts = candidates(order, team)
        """Entries about people that could count, each after all that it has seen."""
        self.number = {act.hash: index for index, act in enumerate(self.acts)}
        marks = {act.hash: 1 << index for index, act in enumerate(self.acts)}
        self._past = order.gathered(marks)
        self._later = order.gathered_later(marks)
        self.places = [self.place(act) for act in self.acts]
        self.problems: dict[int, str] = {}
        """Number of an entry that does not stand -> why, judged by its own past."""
        self.holders: defaultdict[str, set[str]] = defaultdict(set)
        """Key -> persons for whom it was enrolled by an entry that stands."""
        self.keys: defaultdict[str, list[str]] = defaultdict(list)
        """Person -> keys that were enrolled for them by an entry that stands."""
        self.roles: defaultdict[str, set[str]] = defaultdict(set)
        """Person -> roles that were ever given to them."""
        self.enrols: defaultdict[str, int] = defaultdict(int)
        """Person -> entries by which they joined."""
        self.replaces: defaultdict[str, int] = defaultdict(int)
        """Key -> changes that put another one in its place."""
        self._claims: defaultdict[tuple[str, str], int] = defaultdict(int)
        self._gives: defaultdict[tuple[str, str], int] = defaultdict(int)
        self._takes: defaultdict[tuple[str, str], int] = defaultdict(int)
        self._takes_all: defaultdict[str, int] = defaultdict(int)
        self._revokes: defaultdict[str, int] = defaultdict(int)
        self._handed_on: defaultdict[str, int] = defaultdict(int)
        self._disputes: defaultdict[str, list[int]] = defaultdict(list)
        self._restricts = 0
        self._stands = 0
        self._worth: dict[tuple[int, int], bool] = {}
        for index in range(len(self.acts)):
            self._judge(index)

    def with_last(self, entry: Entry) -> Rulings:
        """Give the same with an entry that is not about people and has seen all others."""
        longer = copy(self)
        longer._past = {**self._past, entry.hash: self.end.past}
        longer._later = {**self._later, entry.hash: 0}
        return longer

    def place(self, entry: Entry) -> Place:
        """Give the place of an entry of the record."""
        own = self.number.get(entry.hash)
        itself = 0 if own is None else 1 << own
        return Place(self._past[entry.hash], self._later[entry.hash] | itself)

    def rank(self, index: int) -> tuple[int, str]:
        """Put entries about people into an order that follows position, not clocks."""
        return self.places[index].past.bit_count(), self.acts[index].hash

    @property
    def end(self) -> Place:
        """The place after all entries, where the next one will stand."""
        return Place((1 << len(self.acts)) - 1, 0)

    # --- what stands, judged by its own past

    def _judge(self, index: int) -> None:
        body, place = self.acts[index].body, self.places[index]
        problem = self._problem_then(body, place) or self.problem(body, place, place.past)
        if problem:
            self.problems[index] = problem
        else:
            self._stands |= 1 << index
            self._enter(index)
            self._worth[self._key(index, place.past)] = True

    def problem(self, body: Body, place: Place, view: int) -> str:
        """Say why the signing rule of an entry about people is not fulfilled, "" if it is."""
        return SIGNING_RULES[body.kind](self, body, place, view)

    def _problem_then(self, body: Body, place: Place) -> str:
        rule = PAST_RULES.get(body.kind)
        return rule(self, body, place) if rule is not None else ""

    def problem_at_end(self, body: Body) -> str:
        """Say why an entry about people would not stand as the next one, "" if it would."""
        now = self.end
        return self._problem_then(body, now) or self.problem(body, now, EVERYTHING)

    def _enter(self, index: int) -> None:
        """Note what an entry that stands brings about."""
        body, bit = self.acts[index].body, 1 << index
        content = body.content
        if body.kind == FOUNDING:
            for person in content["people"]:
                self._enter_key(index, person["key"], person["key"])
                self._enter_roles(bit, person["key"], person["roles"])
        elif body.kind == ENROLMENT:
            self._enter_key(index, content["key"], content["key"])
        elif body.kind == GRANT:
            self._enter_roles(bit, content["person"], content["roles"])
        elif body.kind == RECOVERY:
            for person in content["people"]:
                self._enter_roles(bit, person, [AUTHORISE])
        elif body.kind == WITHDRAWAL:
            self._restricts |= bit
            for role in content["roles"]:
                self._takes[content["person"], role] |= bit
        elif body.kind == REVOCATION:
            self._restricts |= bit
            self._revokes[content["key"]] |= bit
        else:
            self._enter_change(index)

    def _enter_change(self, index: int) -> None:
        content, bit = self.acts[index].body.content, 1 << index
        self._enter_key(index, content["new"], content["person"])
        self.replaces[content["old"]] |= bit
        if content["by"] == BY_OLD_KEY:
            self._handed_on[content["old"]] |= bit
        else:
            self._restricts |= bit
            self._revokes[content["old"]] |= bit
            self._takes_all[content["person"]] |= bit

    def _enter_key(self, index: int, key: str, person: str) -> None:
        bit = 1 << index
        for other in self.holders[key] - {person}:
            # Had one seen the other, it would not stand: the key was taken.
            for earlier in bits(self._claims[key, other] & ~self.places[index].past):
                self._disputes[key].append(bit | 1 << earlier)
                self._restricts |= bit | 1 << earlier
        if person not in self.holders[key]:
            self.holders[key].add(person)
            self.keys[person].append(key)
        self._claims[key, person] |= bit
        if key == person:
            self.enrols[person] |= bit

    def _enter_roles(self, bit: int, person: str, roles: list[str]) -> None:
        self.roles[person].update(roles)
        for role in roles:
            self._gives[person, role] |= bit

    # --- what counts, in a view

    def counts(self, index: int, view: int) -> bool:
        """Whether an entry stands and its signing rule holds in a view.

        Parameters
        ----------
        index : int
            Number of the entry.
        view : int
            What is looked at; holds everything that the entry has seen.
        """
        if not self._stands >> index & 1:
            return False
        if self.acts[index].body.kind in (WITHDRAWAL, REVOCATION):
            return True
        wanted = self._key(index, view)
        if wanted not in self._worth:
            self._settle(index, view)
        return self._worth[wanted]

    def _key(self, index: int, view: int) -> tuple[int, int]:
        return index, view & self._restricts & ~self.places[index].spared

    def _settle(self, index: int, view: int) -> None:
        waiting = [index]
        while waiting:
            act = waiting[-1]
            key = self._key(act, view)
            if key not in self._worth:
                first = [i for i in bits(self._rests_on(act)) if self._is_open(i, view)]
                if first:
                    waiting.extend(first)
                    continue
                body, place = self.acts[act].body, self.places[act]
                self._worth[key] = not self.problem(body, place, key[1])
            waiting.pop()

    def _is_open(self, index: int, view: int) -> bool:
        return self._key(index, view) not in self._worth

    def _rests_on(self, index: int) -> int:
        """Give the entries by which the signatures on an entry about people may count."""
        body, content = self.acts[index].body, self.acts[index].body.content
        rests = 0
        for signer in body.signers:
            for person in self.holders.get(signer.key, ()):
                rests |= self._claims.get((signer.key, person), 0)
                rests |= self._gives.get((person, AUTHORISE), 0)
                rests |= self._gives.get((person, signer.role), 0)
        if body.kind == GRANT:
            rests |= self.enrols.get(content["person"], 0)
        if body.kind == KEY_CHANGE:
            rests |= self._claims.get((content["old"], content["person"]), 0)
        if body.kind == RECOVERY:
            for person in content["people"]:
                rests |= self.enrols.get(person, 0)
        return rests & self.places[index].past & self._stands

    # --- questions about a place

    def claims(self, key: str, person: str, place: Place, view: int) -> bool:
        """Whether a key is known as a person's: an entry that counts says so, and was seen."""
        known = self._claims.get((key, person), 0) & place.past
        return any(self.counts(i, view) for i in bits(known))

    def claimed_by(self, key: str, person: str) -> int:
        """Give the entries that stand and name a key as a person's."""
        return self._claims.get((key, person), 0)

    def revoking(self, key: str, place: Place, view: int) -> int:
        """Give the revocations of a key that touch a place."""
        return self._revokes.get(key, 0) & view & ~place.spared

    def handed_on(self, key: str, place: Place) -> int:
        """Give the changes, made with a key itself, after which it signs nothing more."""
        return self._handed_on.get(key, 0) & place.past & ~place.spared

    def disputing(self, key: str, place: Place, view: int) -> int:
        """Give the entries that name a key as that of different persons, apart from each other."""
        looked_at = view & ~place.spared
        disputed = 0
        for pair in self._disputes.get(key, ()):
            if not pair & ~looked_at:
                disputed |= pair
        return disputed

    def sound(self, key: str, place: Place, view: int) -> bool:
        """Whether nothing stands against a key at a place, known or not."""
        return not (
            self.revoking(key, place, view)
            or self.handed_on(key, place)
            or self.disputing(key, place, view)
        )

    def person(self, key: str, place: Place, view: int) -> str | None:
        """Give the person whose key counts at a place, None when it counts for nobody."""
        for person in self.holders.get(key, ()):
            if self.claims(key, person, place, view) and self.sound(key, place, view):
                return person
        return None

    def granting(self, person: str, role: str, place: Place) -> int:
        """Give the entries that gave a role to a person before a place."""
        return self._gives.get((person, role), 0) & place.past & ~place.spared

    def taking(self, person: str, role: str, place: Place, view: int) -> int:
        """Give the restrictions on a role of a person that touch a place."""
        taken = self._takes.get((person, role), 0) | self._takes_all.get(person, 0)
        return taken & view & ~place.spared

    def holds(self, person: str, role: str, place: Place, view: int) -> bool:
        """Whether a person holds a role at a place: given before, and not taken since or apart."""
        taken = self.taking(person, role, place, view)
        return any(
            not taken & ~self.places[i].past and self.counts(i, view)
            for i in bits(self.granting(person, role, place))
        )

    def signer(self, signer: Signer, place: Place, view: int) -> str | None:
        """Give the person whose signature counts, None when it counts for nothing."""
        person = self.person(signer.key, place, view)
        if person is None or (signer.role and not self.holds(person, signer.role, place, view)):
            return None
        return person

    def enrolled(self, person: str, place: Place, view: int) -> bool:
        """Whether a person had joined before a place."""
        joined = self.enrols.get(person, 0) & place.past
        return any(self.counts(i, view) for i in bits(joined))

    def was_replaced(self, key: str, place: Place) -> bool:
        """Whether another key had been put in the place of this one, before a place."""
        before = self.replaces.get(key, 0) & place.past
        return any(self.counts(i, place.past) for i in bits(before))

    def can_sign(self, person: str, place: Place, view: int) -> bool:
        """Whether a person has a key that counts at a place."""
        return any(self.person(key, place, view) == person for key in self.keys.get(person, ()))

    def authorisers(self, place: Place, view: int) -> set[str]:
        """Give the persons who can use ``authorise`` at a place."""
        return {
            person
            for person, roles in self.roles.items()
            if AUTHORISE in roles
            and self.holds(person, AUTHORISE, place, view)
            and self.can_sign(person, place, view)
        }


def bits(mask: int) -> Iterator[int]:
    """Give the numbers of the bits of a mask, the smallest first."""
    while mask:
        lowest = mask & -mask
        yield lowest.bit_length() - 1
        mask ^= lowest


def candidates(order: Order, team: str) -> list[Entry]:
    """Give the entries about people that could count, by a rough look at who signed them."""
    known: set[str] = set()
    found = []
    for entry in order:
        body = entry.body
        if body.kind not in ABOUT_PEOPLE or body.team != team:
            continue
        signers = {signer.key for signer in body.signers}
        if body.kind == FOUNDING:
            # Signed by others it is a copy that somebody made of ours.
            if founds(body) and signers == {p["key"] for p in body.content["people"]}:
                known |= signers
                found.append(entry)
        elif not known.isdisjoint(signers) and form_problem(body) is None:
            new = body.content.get("new" if body.kind == KEY_CHANGE else "key")
            if body.kind in (KEY_CHANGE, ENROLMENT):
                known.add(str(new))
            found.append(entry)
    return found


def founds(body: Body) -> bool:
    """Whether a body is of the right form to found the team that it names."""
    return (
        body.kind == FOUNDING
        and form_problem(body) is None
        and not body.seen
        and team_of(body.content) == body.team
    )
