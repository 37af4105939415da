"""Who holds which key and role, at which place in the record.

Everything is read from the entries by their position: what an entry has seen, what has seen it,
and what was made apart from it. Clocks play no part, nor does the order in which entries came.

**Keys.** A person's id is their first key. A key is known as a person's at an entry when a
founding, an enrolment or a change of key that counts says so, and the entry has seen that one or
is it. A key that was once somebody's can't be enrolled again. A key that was enrolled for
different persons apart from each other is good for nobody.

**Roles.** A person holds a role at an entry when a founding, a grant or a recovery that counts
gave it and the entry has seen that one. No roles come with an enrolment.

**Restrictions** are the revocation of a key, the withdrawal of roles, and a change of key with a
witness, which revokes the old key and withdraws all roles. A restriction *stands* when its own
signing rule was fulfilled, judged by its own past alone; what comes later or apart from it never
takes that away. It touches all signatures except those that it has seen: those made after it, and
those made apart from it. A role is held again by a grant that has seen the withdrawal. Two
persons who revoke each other's keys apart from each other have both done so. A change made with
the old key itself is no restriction: the old key signs nothing that has seen the change, and what
it signed apart from it counts.

**Counting.** A founding, enrolment, grant, change of key or recovery counts when it stands and,
looking at all entries, the signatures that it needs still count. Everything that rests on one
that falls, falls with it.

The law that follows: *adding entries never makes a signature count, on an entry that was there,
that did not count before; nor an entry about people.* Restrictions are judged by their own past,
which does not change; everything else can only lose what it needs. What must not be so (a key is
taken, two persons can grant roles still) is asked of the entry's own past alone. New rights come
only with new entries.

**Who signs what.** ``authorise`` is the role that may grant roles, witness and revoke.

==========  ======================================================================================
founding    exactly the persons whom it enrols; number 1 of its chain, seen nothing, the team's id
            is the hash of its content; two at least get ``authorise``
enrolment   the new key, and a person who holds ``authorise`` as the witness
grant       two persons who hold ``authorise``, neither of them the one who receives
withdrawal  a person who holds ``authorise``, or the one whose roles they are
key-change  the old key and the new one; where the old one is lost, the new key and another person
            who holds ``authorise`` as the witness, and the roles have to be granted anew
revocation  a person who holds ``authorise``, or the one whose key it is
recovery    two enrolled persons together, where fewer than two can use ``authorise``; gives
            ``authorise`` to those whom it names, and is marked for ever
==========  ======================================================================================

Where it stops: who holds a stolen key and an old copy of the record can revoke and withdraw apart
from the rest, and that stands; it can stop a team, never permit anything. If so no two persons
with valid keys are left, only a new founding helps. One person alone with ``authorise`` can enrol
a key of their own as somebody else and recover with it: the record can't prevent that, it says
who vouched for whom (``Recovery.note``), and lists such a recovery under ``contradictions``.
"""

from __future__ import annotations

from copy import copy
from dataclasses import dataclass
from functools import cached_property

from flightlog.logbook.entry import Body, Entry, Signer
from flightlog.logbook.kinds import (
    ABOUT_PEOPLE,
    AUTHORISE,
    BY_OLD_KEY,
    ENROLMENT,
    FOUNDING,
    KEY_CHANGE,
    RECOVERY,
    REVOCATION,
    form_problem,
)
from flightlog.logbook.order import Order
from flightlog.logbook.reasons import why_not
from flightlog.logbook.rulings import EVERYTHING, Place, Rulings, bits, founds
from flightlog.logbook.vouching import vouching


@dataclass(frozen=True, slots=True)
class Person:
    """Somebody whom the record knows, as things are after all entries.

    Parameters
    ----------
    id : str
        The person's first key.
    keys : tuple of str
        All their keys, in the order in which they came.
    key : str or None
        The one with which they can sign now; the latest, if there are several.
    valid : tuple of str
        All with which they can sign now: more than one after changes made apart from each other.
    roles : tuple of str
        What they hold now; none without a key.
    since : str
        Hash of the entry that enrolled them.
    """

    id: str
    keys: tuple[str, ...]
    key: str | None
    valid: tuple[str, ...]
    roles: tuple[str, ...]
    since: str


@dataclass(frozen=True, slots=True)
class SignatureStanding:
    """What a person's signature on an entry is worth.

    Parameters
    ----------
    signer : Signer
        As the entry announces it.
    person_id : str or None
        Whose key it is, None if it is nobody's.
    counts : bool
        Whether it counts, as position in the record goes.
    why : str
        Why it does not; empty when it counts.
    """

    signer: Signer
    person_id: str | None
    counts: bool
    why: str


@dataclass(frozen=True, slots=True)
class Recovery:
    """A recovery that stands: two persons gave ``authorise`` where fewer than two had it.

    Parameters
    ----------
    entry : Entry
        The entry itself.
    persons : tuple of str
        Ids of those to whom it gave the role.
    counts : bool
        Whether it still counts, all entries looked at.
    note : str
        Who had vouched for whose key among those who signed; empty where two had not.
    """

    entry: Entry
    persons: tuple[str, ...]
    counts: bool
    note: str


@dataclass(frozen=True, slots=True)
class Contradiction:
    """Entries that don't go together, and why."""

    entries: tuple[Entry, ...]
    text: str


class People:
    """The persons of a record. Made by ``People.of``."""

    def __init__(self, order: Order, team: str) -> None:
        self.order = order
        self.team = team
        """Id of the team; empty when no founding, or foundings of several teams, are there."""
        self._rulings = Rulings(order, team)
        self._judged: dict[tuple[Signer, Place], SignatureStanding] = {}

    @classmethod
    def of(cls, order: Order, team: str | None = None) -> People:
        """Read the persons out of the entries.

        Parameters
        ----------
        order : Order
            All entries.
        team : str, optional
            Id of the team; that of the founding when not given. Nothing counts if there are
            foundings of several teams then.
        """
        if team is None:
            teams = {entry.body.team for entry in order if founds(entry.body)}
            team = teams.pop() if len(teams) == 1 else ""
        return cls(order, team)

    def followed_by(self, order: Order, entry: Entry) -> People:
        """Give the persons of these entries and one more.

        An entry that is not about people and has seen all others changes nothing of them: then
        this costs little, where reading them anew costs time that grows with the record.

        Parameters
        ----------
        order : Order
            All entries, the new one among them.
        entry : Entry
            The new one.
        """
        if entry.body.kind in ABOUT_PEOPLE or order.tips() != (entry,):
            return People.of(order)
        longer = copy(self)
        longer.order = order
        longer._rulings = self._rulings.with_last(entry)
        return longer

    # --- persons, after all entries

    @cached_property
    def _by_id(self) -> dict[str, Person]:
        rulings = self._rulings
        found = []
        for person, joined in rulings.enrols.items():
            counting = [i for i in bits(joined) if rulings.counts(i, EVERYTHING)]
            if counting:
                since = min(counting, key=self._rulings.rank)
                found.append((self._rulings.rank(since), self._person(person, since)))
        return {person.id: person for _, person in sorted(found, key=lambda f: (f[0], f[1].id))}

    def _person(self, person: str, since: int) -> Person:
        rulings, end = self._rulings, self._rulings.end
        ranked = []
        for key in rulings.keys[person]:
            claims = bits(rulings.claimed_by(key, person))
            ranks = [self._rulings.rank(i) for i in claims if rulings.counts(i, EVERYTHING)]
            if ranks:
                ranked.append((min(ranks), key))
        keys = tuple(key for _, key in sorted(ranked))
        valid = [key for key in keys if rulings.person(key, end, EVERYTHING) == person]
        roles = sorted(r for r in rulings.roles[person] if valid and self._has(person, r))
        return Person(
            id=person,
            keys=keys,
            key=valid[-1] if valid else None,
            valid=tuple(valid),
            roles=tuple(roles),
            since=rulings.acts[since].hash,
        )

    def _has(self, person: str, role: str) -> bool:
        return self._rulings.holds(person, role, self._rulings.end, EVERYTHING)

    @property
    def persons(self) -> tuple[Person, ...]:
        """All persons, in the order in which they joined."""
        return tuple(self._by_id.values())

    def person(self, person_id: str) -> Person | None:
        """Give a person by their id."""
        return self._by_id.get(person_id)

    def person_of(self, key: str) -> Person | None:
        """Give the person who holds or held a key, None if it is nobody's or in dispute."""
        holder = self._holder(key)
        return self._by_id.get(holder) if holder is not None else None

    def _holder(self, key: str) -> str | None:
        rulings, end = self._rulings, self._rulings.end
        if rulings.disputing(key, end, EVERYTHING):
            return None
        for person in rulings.holders.get(key, ()):
            if rulings.claims(key, person, end, EVERYTHING):
                return person
        return None

    def may_belong_to(self, key: str) -> frozenset[str]:
        """Give all persons for whom a key was ever enrolled by an entry that stands.

        For questions of independence: here nothing is forgotten when an enrolment falls.
        """
        return frozenset(self._rulings.holders.get(key, ()))

    def known_for(self, key: str, entry: Entry) -> frozenset[str]:
        """Give all persons for whom a key was enrolled by an entry that stands and was seen here.

        What comes later changes nothing of it: a key that is revoked stays known.
        """
        past = self._rulings.place(entry).past
        return frozenset(
            person
            for person in self.may_belong_to(key)
            if self._rulings.claimed_by(key, person) & past
        )

    def holds(self, person_id: str, role: str) -> bool:
        """Whether a person holds a role now, and has a key to use it."""
        person = self._by_id.get(person_id)
        return person is not None and role in person.roles

    @property
    def authorisers(self) -> tuple[Person, ...]:
        """Those who can grant roles, witness and revoke now."""
        return tuple(person for person in self.persons if AUTHORISE in person.roles)

    # --- signatures

    def judged(self, entry: Entry) -> tuple[SignatureStanding, ...]:
        """Judge the signatures of persons on an entry of the record, in the order of its body."""
        if entry.body.team != self.team:
            why = "the entry is not of this team"
            return tuple(SignatureStanding(s, None, False, why) for s in entry.body.signers)
        place = self._rulings.place(entry)
        own = self._rulings.number.get(entry.hash)
        if own is not None:
            # The key that an entry makes known may sign that same entry.
            place = Place(place.past | 1 << own, place.spared)
        return tuple(self._judge(signer, place) for signer in entry.body.signers)

    def _judge(self, signer: Signer, place: Place) -> SignatureStanding:
        known = self._judged.get((signer, place))
        if known is None:
            person = self._rulings.person(signer.key, place, EVERYTHING)
            why = why_not(self._rulings, signer, place)
            known = SignatureStanding(signer, person or self._holder(signer.key), not why, why)
            self._judged[signer, place] = known
        return known

    # --- entries about people

    def problem(self, entry: Entry) -> str | None:
        """Say why an entry about people does not count.

        Returns
        -------
        str or None
            None when it counts, and for entries of other kinds.
        """
        body = entry.body
        if body.kind not in ABOUT_PEOPLE:
            return None
        wrong = form_problem(body)
        if wrong:
            return wrong
        if body.team != self.team and (body.kind != FOUNDING or founds(body)):
            return "it is not of this team"
        rulings = self._rulings
        index, place = rulings.number.get(entry.hash), rulings.place(entry)
        if index is None:
            return rulings.problem(body, place, place.past)
        if index in rulings.problems:
            return rulings.problems[index]
        if rulings.counts(index, EVERYTHING):
            return None
        why = rulings.problem(body, place, EVERYTHING)
        if body.kind == KEY_CHANGE and body.content["by"] != BY_OLD_KEY:
            return f"the old key is revoked by it, but the new one does not count: {why}"
        return f"it counted when it was made, and no longer does: {why}"

    def stands(self, entry: Entry) -> bool:
        """Whether the signing rule of an entry about people was fulfilled by its own past."""
        index = self._rulings.number.get(entry.hash)
        return index is not None and index not in self._rulings.problems

    def draft_problem(self, body: Body) -> str | None:
        """Say why a draft would not count if it came next, on top of all entries.

        Parameters
        ----------
        body : Body
            Of any kind. Its place (previous, seen) is not looked at.
        """
        if body.team != self.team and not (founds(body) and not len(self.order)):
            return "it is not of this team"
        wrong = form_problem(body)
        if wrong:
            return wrong
        new = set()
        if body.kind in ABOUT_PEOPLE:
            wrong = self._rulings.problem_at_end(body)
            if wrong:
                return wrong
            new = _new_keys(body)
        for signer in body.signers:
            if signer.key not in new:
                why = why_not(self._rulings, signer, self._rulings.end)
                if why:
                    return f"the signature with key {signer.key[:8]} would count for nothing: {why}"
        return None

    def to_sign_again(self, revocation: Entry) -> tuple[Entry, ...]:
        """Give what a revoked key signed while it may have been in wrong hands.

        Parameters
        ----------
        revocation : Entry
            Which says after which entry it is doubtful.

        Returns
        -------
        tuple of Entry
            Entries signed with the key that the revocation has seen and that entry has not. They
            count; they are a list to be signed again. Empty where nothing is called doubtful.
        """
        content = revocation.body.content
        if not self.stands(revocation) or "doubtful_after" not in content:
            return ()
        last = self.order.get(content["doubtful_after"])
        return tuple(
            entry
            for entry in self.order
            if any(signer.key == content["key"] for signer in entry.body.signers)
            and self.order.has_seen(revocation, entry)
            and not (last and (entry is last or self.order.has_seen(last, entry)))
        )

    # --- what is marked

    @cached_property
    def recoveries(self) -> tuple[Recovery, ...]:
        """All recoveries that ever stood."""
        rulings = self._rulings
        return tuple(
            Recovery(
                act,
                tuple(act.body.content["people"]),
                rulings.counts(index, EVERYTHING),
                vouching(rulings, index),
            )
            for index, act in enumerate(rulings.acts)
            if act.body.kind == RECOVERY and index not in rulings.problems
        )

    @cached_property
    def contradictions(self) -> tuple[Contradiction, ...]:
        """What about keys and persons does not go together."""
        rulings = self._rulings
        found = []
        for key in sorted(rulings.holders):
            disputing = rulings.disputing(key, rulings.end, EVERYTHING)
            if disputing:
                found.append(self._contradiction(disputing, "one key enrolled for two persons"))
        for key in sorted(rulings.replaces):
            changes = self._counting(rulings.replaces[key])
            if changes.bit_count() > 1:
                text = "one key changed twice, apart from each other: revoke what is not wanted"
                found.append(self._contradiction(changes, text))
        foundings = self._counting(
            sum(1 << i for i, act in enumerate(rulings.acts) if act.body.kind == FOUNDING)
        )
        if foundings.bit_count() > 1:
            found.append(self._contradiction(foundings, "the team was founded more than once"))
        for recovery in self.recoveries:
            if recovery.note:
                found.append(_one_alone(recovery))
        return tuple(found)

    def _counting(self, acts: int) -> int:
        counting = (i for i in bits(acts) if self._rulings.counts(i, EVERYTHING))
        return sum(1 << i for i in counting)

    def _contradiction(self, acts: int, text: str) -> Contradiction:
        ranked = sorted(bits(acts), key=self._rulings.rank)
        return Contradiction(tuple(self._rulings.acts[i] for i in ranked), text)

    def notes(self, entry: Entry) -> tuple[str, ...]:
        """Say what is to be known about an entry about people, though nothing is wrong with it."""
        notes = []
        for recovery in self.recoveries:
            if recovery.entry.hash == entry.hash:
                notes.append("a recovery: fewer than two persons could grant roles")
                if recovery.note:
                    notes.append(recovery.note)
        if entry.body.kind == REVOCATION:
            again = self.to_sign_again(entry)
            if again:
                notes.append(f"{len(again)} entries signed with this key are to be signed again")
        return tuple(notes)


def _new_keys(body: Body) -> set[str]:
    if body.kind == FOUNDING:
        return {signer.key for signer in body.signers}
    if body.kind == ENROLMENT:
        return {body.content["key"]}
    return {body.content["new"]} if body.kind == KEY_CHANGE else set()


def _one_alone(recovery: Recovery) -> Contradiction:
    ended = "" if recovery.counts else "; it no longer counts"
    return Contradiction(
        (recovery.entry,),
        f"{recovery.entry.name} is a recovery behind which one person alone may be: "
        f"{recovery.note}{ended}",
    )
