"""What counts: signatures on all entries, permissions, restrictions, what does not go together.

Read from effects and relations alone; what an entry's kind means is not known here.

**An entry counts** when all signatures of persons on it count (see ``people``), its content has
the form of its kind, and it is independent of what it inspects. An entry that no person signed
counts as made by a device. One about people counts when ``people`` says so.

**Independent** is an inspection of work on which a person's signature counts, that a person signed,
and none of whose persons signed that work, by whatever key.

**What loosens** is what permits, ends, explains or inspects. For that it is not enough to count,
whatever the kind: a person signed it, every signature on it counts, and it is independent.

**A restriction stands** from the moment it is made, whoever signed it: the device alone is
enough. It is ended only by an entry that may loosen, that has seen it, and that has the relation
``ends`` to it. A correction does not end it.

**A permission holds** when it may loosen, nobody's entry ends or corrects it, no restriction on
the same subject was open in what it had seen, and none was made after it or apart from it, even
if that one was ended later. It can be spent once, by anybody, a device alone included: then it
holds no longer, however often the spending is corrected.

**Twins** are entries with the same text and other signatures, for which it takes the device's key.
A permission and its twins are one: what spends, ends or corrects one of them does so to all, and
none of them holds. Every other twin is an entry like others: a restriction made twice is to be
ended twice.

The laws: *adding entries never makes an entry count, nor a permission hold, that was there and did
not before*, and *adding a twin ends nothing, explains nothing and permits nothing.* Restrictions
do end, by entries made to end them.

Where it stops: whether a person *should* have signed in this role, and what a subject is, are
asked in the rooms above.
"""

from __future__ import annotations

from collections import defaultdict
from dataclasses import dataclass
from functools import cached_property, lru_cache
from itertools import islice, pairwise

from flightlog.logbook.entry import (
    CORRECTS,
    ENDS,
    EXPLAINS,
    INSPECTS,
    PERMITS,
    RESTRICTS,
    SPENDS,
    Body,
    Entry,
)
from flightlog.logbook.kinds import ABOUT_PEOPLE, KINDS, form_problem
from flightlog.logbook.order import Fork, Order
from flightlog.logbook.people import Contradiction, People
from flightlog.logbook.rulings import bits
from flightlog.logbook.words import duration, person_name

MOST_NAMED = 8
"""Of more entries than this with one and the same fault, so many are named."""
_WHO_EXPLAINS = 2

__all__ = ["Contradiction", "Permit", "Standing"]


@dataclass(frozen=True, slots=True)
class Permit:
    """What a permission is worth now.

    Parameters
    ----------
    holds : bool
        Whether it can be used.
    why : tuple of str
        Why not; empty when it holds.
    spent_by : tuple of Entry
        What used it up: one entry, or more, which is a contradiction.
    """

    holds: bool
    why: tuple[str, ...]
    spent_by: tuple[Entry, ...]


class Standing:
    """What the entries of a record are worth. Made by ``Standing.of``."""

    def __init__(self, order: Order, people: People) -> None:
        self.order = order
        self.people = people
        self._counts: dict[str, bool] = {}
        self._loosens: dict[str, bool] = {}

    # Read out when they are asked for: an entry that is about to be added mostly asks for none.

    @cached_property
    def _twins(self) -> dict[str, tuple[Entry, ...]]:
        """Hash of each entry that has twins -> all of them."""
        return _twins(self.order)

    @cached_property
    def _to(self) -> dict[tuple[str, str], list[Entry]]:
        """Relation and hash of an entry -> those that have this relation to it."""
        to: defaultdict[tuple[str, str], list[Entry]] = defaultdict(list)
        for entry in self.order:
            for relation in entry.body.relations:
                to[relation.word, relation.entry].append(entry)
        return to

    @cached_property
    def _to_twins(self) -> dict[tuple[str, str], list[Entry]]:
        """The same under the first of twins; an entry that names two of them is there once."""
        to: defaultdict[tuple[str, str], list[Entry]] = defaultdict(list)
        for entry in self.order if self._twins else ():
            for relation in entry.body.relations:
                if relation.entry in self._twins:
                    listed = to[relation.word, self._twins[relation.entry][0].hash]
                    if entry not in listed[-1:]:
                        listed.append(entry)
        return to

    @classmethod
    def of(cls, order: Order, people: People, before: Standing | None = None) -> Standing:
        """Read out of the entries what counts.

        Parameters
        ----------
        order : Order
            All entries.
        people : People
            Read from the same order.
        before : Standing, optional
            Of the same entries without some that are not about people: whether an entry counts
            rests on its form, on what it had seen and on persons, so what was found holds still.
        """
        standing = cls(order, people)
        if before is not None:
            standing._counts.update(before._counts)
            standing._loosens.update(before._loosens)
        return standing

    def _related(self, word: str, entry: Entry) -> list[Entry]:
        """Give the entries that have a relation to this one."""
        return self._to.get((word, entry.hash), [])

    def _hitting(self, word: str, entry: Entry) -> list[Entry]:
        """Give the entries that have a relation to this one or to a twin, as if they were one."""
        twins = self._twins.get(entry.hash)
        if twins is None or (word == ENDS and not _permits(entry)):
            return self._related(word, entry)
        return self._to_twins.get((word, twins[0].hash), [])

    # --- one entry

    def problems(self, entry: Entry) -> tuple[str, ...]:
        """Say what is wrong with an entry; it is kept all the same."""
        return (
            *self._form_problems(entry),
            *self._signature_problems(entry),
            *self._dependences(entry),
            *self._relation_problems(entry),
            *(text for _, text in self._open_before(entry)),
        )

    def counts(self, entry: Entry) -> bool:
        """Whether an entry counts; see the top of this module."""
        known = self._counts.get(entry.hash)
        if known is None:
            known = self._counts[entry.hash] = self._judge(entry)
        return known

    def _judge(self, entry: Entry) -> bool:
        if entry.body.kind in ABOUT_PEOPLE:
            return self.people.problem(entry) is None
        return not (
            self._form_problems(entry)
            or any(not judged.counts for judged in self.people.judged(entry))
            or self._dependences(entry)
        )

    def may_loosen(self, entry: Entry) -> bool:
        """Whether an entry may permit, end, explain or inspect; see the top of this module."""
        known = self._loosens.get(entry.hash)
        if known is None:
            judged = self.people.judged(entry)
            known = self._loosens[entry.hash] = (
                bool(judged)
                and all(one.counts for one in judged)
                and not self._dependences(entry)
                and self.counts(entry)
            )
        return known

    def inspected_by(self, work: Entry) -> tuple[Entry, ...]:
        """Give the entries by which others looked at a piece of work, and that may loosen."""
        return tuple(filter(self.may_loosen, self._related(INSPECTS, work)))

    def notes(self, entry: Entry) -> tuple[str, ...]:
        """Say what is to be known about an entry, though nothing is wrong with it."""
        body = entry.body
        notes = list(self.people.notes(entry))
        if body.kind not in KINDS:
            notes.append(f"the kind {body.kind!r} is not known to this program; kept and shown")
        if body.occurred is not None:
            notes.append(f"late by {duration(body.occurred.late_s)}: {body.occurred.reason}")
        if body.time.behind_s:
            notes.append(
                f"the clock was {duration(body.time.behind_s)} behind an earlier entry of its chain"
            )
        for word, said in ((CORRECTS, "corrected"), (ENDS, "ended"), (SPENDS, "spent")):
            notes += [f"{said} by {other.name}" for other in self._hitting(word, entry)]
        return tuple(notes)

    def _form_problems(self, entry: Entry) -> tuple[str, ...]:
        body = entry.body
        about_people = self.people.problem(entry)
        if about_people:
            return (about_people,)
        if body.team != self.people.team:
            return ("it is not of this team",)
        wrong = _form_problem(entry)
        return (wrong,) if wrong else ()

    def _signature_problems(self, entry: Entry) -> list[str]:
        return [
            f"the signature {judged.signer.meaning!r} of "
            f"{person_name(judged.person_id or judged.signer.key)} counts for nothing: {judged.why}"
            for judged in self.people.judged(entry)
            if not judged.counts
        ]

    def _dependences(self, entry: Entry) -> list[str]:
        """Say where nobody looked, or at nobody's work, at their own, or at what was not there."""
        found = []
        inspected = entry.body.related(INSPECTS)
        if inspected and not entry.body.signers:
            found.append("it inspects, and no person signed it")
        for digest in inspected:
            work = self.order.get(digest)
            if work is None or not self.order.has_seen(entry, work):
                found.append(f"it inspects an entry that it had not seen ({digest[:12]}…)")
                continue
            if not self._counting_persons(work):
                found.append(f"it inspects {work.name}, on which no person's signature counts")
            same = self._whose(entry.body) & self._whose(work.body)
            if same:
                who = person_name(min(same, key=lambda p: (self.people.person(p) is None, p)))
                found.append(f"{who} signed {work.name}, which is inspected here")
        return found

    def _whose(self, body: Body) -> set[str]:
        """Give all persons who may stand behind the keys that sign, and the keys themselves."""
        found = {signer.key for signer in body.signers}
        for signer in body.signers:
            found |= self.people.may_belong_to(signer.key)
        return found

    def _relation_problems(self, entry: Entry) -> list[str]:
        found = []
        for relation in entry.body.relations:
            if relation.word == INSPECTS:
                continue
            other = self.order.get(relation.entry)
            if other is None:
                found.append(
                    f"it {relation.word} an entry that is not here ({relation.entry[:12]}…)"
                )
            elif not self.order.has_seen(entry, other):
                found.append(f"it {relation.word} {other.name}, which it had not seen")
        return found

    # --- restrictions

    @cached_property
    def _restrictions(self) -> list[Entry]:
        return [e for e in self.order if e.body.effect and e.body.effect.word == RESTRICTS]

    @cached_property
    def _restriction_bit(self) -> dict[str, int]:
        return {entry.hash: 1 << i for i, entry in enumerate(self._restrictions)}

    @cached_property
    def _restricting(self) -> dict[str, int]:
        """Subject -> restrictions on it, ended or not."""
        subjects: defaultdict[str, int] = defaultdict(int)
        for i, entry in enumerate(self._restrictions):
            subjects[_subject(entry)] |= 1 << i
        return subjects

    @cached_property
    def _restrictions_seen(self) -> dict[str, int]:
        return self.order.gathered(self._restriction_bit)

    @cached_property
    def _restrictions_later(self) -> dict[str, int]:
        return self.order.gathered_later(self._restriction_bit)

    @cached_property
    def _endings(self) -> dict[str, int]:
        """Hash of an entry -> restrictions that it ends."""
        endings: defaultdict[str, int] = defaultdict(int)
        for restriction in self._restrictions:
            for entry in self._related(ENDS, restriction):
                if self.order.has_seen(entry, restriction) and self.may_loosen(entry):
                    endings[entry.hash] |= self._restriction_bit[restriction.hash]
        return endings

    @cached_property
    def _ended_before(self) -> dict[str, int]:
        return self.order.gathered(self._endings)

    @cached_property
    def _ended(self) -> int:
        ended = 0
        for restrictions in self._endings.values():
            ended |= restrictions
        return ended

    def open_restrictions(self, on: str | None = None) -> tuple[Entry, ...]:
        """Give the restrictions on a subject that nothing has ended; on all when none is named."""
        if on is None:
            return self._named_restrictions(~self._ended & (1 << len(self._restrictions)) - 1)
        return self._named_restrictions(self._restricting.get(on, 0) & ~self._ended)

    def _named_restrictions(self, restrictions: int) -> tuple[Entry, ...]:
        return tuple(self._restrictions[i] for i in bits(restrictions))

    # --- permissions

    def permit(self, entry: Entry) -> Permit:
        """Say what a permission is worth now."""
        if not _permits(entry):
            return Permit(False, ("it permits nothing",), ())
        spent_by = tuple(self._hitting(SPENDS, entry))
        why = self._never_held(entry) + self._lost(entry)
        if entry.hash in self._twins:
            why.append(_made_twice(self._twins[entry.hash]))
        why += [f"spent by {spender.name}" for spender in spent_by]
        return Permit(not why, tuple(why), spent_by)

    def _never_held(self, permit: Entry) -> list[str]:
        """Say why a permission did not hold even when it was made."""
        why = []
        if not self.counts(permit):
            why.append("it does not count")
        if not permit.body.signers:
            why.append("no person signed it")
        if not why and not self.may_loosen(permit):
            why.append("a signature on it counts for nothing")
        return why + [text for _, text in self._open_before(permit)]

    def _open_before(self, permit: Entry) -> list[tuple[Entry, str]]:
        """Give the restrictions that a permission had seen and that were open then."""
        if not _permits(permit):
            return []
        seen = self._restricting.get(_subject(permit), 0) & self._restrictions_seen[permit.hash]
        still_open = seen & ~self._ended_before[permit.hash]
        return [
            (restriction, f"restricted by {restriction.name}, which it had seen open")
            for restriction in self._first(still_open)
        ]

    def _lost(self, permit: Entry, spender: Entry | None = None) -> list[str]:
        """Say by what a permission was lost, or was lost to its spender already."""
        why = []
        if spender is not None and not self.order.has_seen(spender, permit):
            why.append("its spender had not seen it")
        for word, said in ((ENDS, "ended"), (CORRECTS, "corrected")):
            others = (
                other
                for other in self._hitting(word, permit)
                if spender is None or not (other is spender or self.order.has_seen(other, spender))
            )
            why += [f"{said} by {other.name}" for other in islice(others, MOST_NAMED)]
        after = self._restricting.get(_subject(permit), 0) & ~self._restrictions_seen[permit.hash]
        if spender is not None:
            after &= ~self._restrictions_later[spender.hash]
            after &= ~self._restriction_bit.get(spender.hash, 0)
        later = self._restrictions_later[permit.hash]
        why += [f"restricted by {r.name}, made after it" for r in self._first(after & later)]
        why += [f"restricted by {r.name}, made elsewhere" for r in self._first(after & ~later)]
        return why

    def _first(self, restrictions: int) -> list[Entry]:
        return [self._restrictions[i] for i in islice(bits(restrictions), MOST_NAMED)]

    # --- what does not go together

    @cached_property
    def contradictions(self) -> tuple[Contradiction, ...]:
        """Give what does not go together, the same list on every device.

        First that in which an entry takes part on which a person's signature counts: a device that
        is nobody's can make up as much as it likes, with what times it likes.
        """
        made_twice = (
            Contradiction(self._twins[entry.hash], _made_twice(self._twins[entry.hash]))
            for entry in self.order
            if entry.hash in self._twins and entry is self._twins[entry.hash][0]
        )
        found = [(one.entries, one) for one in (*self.people.contradictions, *made_twice)]
        for entry in self.order:
            if _permits(entry):
                found += [(one.entries, one) for one in self._contradictions_of(entry)]
            # What permits nothing has no part in it when somebody spends it.
            found += [((entry,), one) for one in self._spends_nothing(entry)]
        found.sort(key=lambda one: not any(map(self._counting_persons, one[0])))
        return tuple(contradiction for _, contradiction in found)

    def _spends_nothing(self, spender: Entry) -> list[Contradiction]:
        spent = map(self.order.get, spender.body.related(SPENDS))
        return [
            Contradiction(
                (other, spender), f"{spender.name} spends {other.name}, which permits nothing"
            )
            for other in spent
            if other is not None and not _permits(other)
        ]

    def _contradictions_of(self, permit: Entry) -> list[Contradiction]:
        found = []
        for restriction, _ in self._open_before(permit):
            text = f"{permit.name} permits what {restriction.name}, which it had seen, restricts"
            found.append(Contradiction((restriction, permit), text))
        found += self._restricted_apart(permit)
        spenders = self._hitting(SPENDS, permit)
        if len(spenders) > 1 and permit is self._twins.get(permit.hash, (permit,))[0]:
            found.append(self._spent_twice(permit, spenders))
        spenders = self._related(SPENDS, permit)
        never = self._never_held(permit) if spenders else []
        for spender in spenders[:MOST_NAMED]:
            why = never + self._lost(permit, spender)
            if why:
                text = f"{spender.name} spends {permit.name}, which did not hold: {'; '.join(why)}"
                found.append(Contradiction((permit, spender), text))
        return found

    def _restricted_apart(self, permit: Entry) -> list[Contradiction]:
        apart = self._restricting.get(_subject(permit), 0)
        apart &= ~self._restrictions_seen[permit.hash] & ~self._restrictions_later[permit.hash]
        return [
            Contradiction(
                (permit, restriction),
                f"{permit.name} permits what {restriction.name} restricts; "
                "neither had seen the other, and the restriction wins",
            )
            for restriction in self._first(apart)
        ]

    def _spent_twice(self, permit: Entry, spenders: list[Entry]) -> Contradiction:
        apart = any(not self.order.has_seen(later, one) for one, later in pairwise(spenders))
        how = ", some without having seen the others" if apart else ", one after the other"
        names = ", ".join(spender.name for spender in spenders[:MOST_NAMED])
        more = f" and {len(spenders) - MOST_NAMED} more" if len(spenders) > MOST_NAMED else ""
        text = f"{permit.name} was spent {len(spenders)} times{how}: by {names}{more}"
        return Contradiction((permit, *spenders), text)

    @cached_property
    def unexplained_forks(self) -> tuple[Fork, ...]:
        """Give the forks that no two persons together have explained, all branches of them."""
        return tuple(fork for fork in self.order.forks() if not self._is_explained(fork))

    def _is_explained(self, fork: Fork) -> bool:
        every = set.intersection(
            *({e.hash for e in self._related(EXPLAINS, branch)} for branch in fork.entries)
        )
        return any(
            entry.hash in every
            and all(self.order.has_seen(entry, branch) for branch in fork.entries)
            and len(self._counting_persons(entry)) >= _WHO_EXPLAINS
            and self.may_loosen(entry)
            for entry in self._related(EXPLAINS, fork.entries[0])
        )

    def _counting_persons(self, entry: Entry) -> set[str]:
        judged = self.people.judged(entry)
        return {j.person_id for j in judged if j.counts and j.person_id is not None}


@lru_cache(maxsize=50_000)
def _form_problem(entry: Entry) -> str | None:
    """Say what is wrong with an entry's form; it never changes, and is asked after each entry."""
    return form_problem(entry.body)


def _permits(entry: Entry) -> bool:
    return entry.body.effect is not None and entry.body.effect.word == PERMITS


def _subject(entry: Entry) -> str:
    return entry.body.effect.on if entry.body.effect is not None else ""


def _twins(order: Order) -> dict[str, tuple[Entry, ...]]:
    """Give, under the hash of each entry that has any, all entries with the same body."""
    same: defaultdict[bytes, list[Entry]] = defaultdict(list)
    for entry in order:
        same[entry.data].append(entry)
    return {e.hash: tuple(twins) for twins in same.values() if len(twins) > 1 for e in twins}


def _made_twice(twins: tuple[Entry, ...]) -> str:
    return f"{twins[0].name} is there {len(twins)} times: the same text with other signatures"
