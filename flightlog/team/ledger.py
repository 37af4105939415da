"""The record read for the team: which entries count, by kind, and what rests on what.

Nothing here is kept: a ledger is a function of the entries, and is made anew when they are more.
It knows relations and signatures, and not what a kind means; that is read out in ``operations``.
"""

from __future__ import annotations

from collections import defaultdict
from collections.abc import Iterable
from datetime import datetime
from functools import cached_property

from flightlog.logbook.book import Logbook
from flightlog.logbook.entry import CITES, CORRECTS, Entry

AIRCRAFT, PACK, COMPONENT = "aircraft", "pack", "component"
THINGS = (AIRCRAFT, PACK, COMPONENT)
"""What an entry can be about; the keys of its content."""


def subject(thing: str, id_: str) -> str:
    """Give what an effect is on, like "aircraft:pannier"."""
    return f"{thing}:{id_}"


class Ledger:
    """What the record says.

    Parameters
    ----------
    book : Logbook
        Open; only read.
    """

    def __init__(self, book: Logbook) -> None:
        self.order = book.order
        self.people = book.people
        self.standing = book.standing
        self.now: datetime = book.now()
        """When it was read, by the logbook's clock (aware)."""

    @cached_property
    def _kinds(self) -> dict[str, list[Entry]]:
        kinds: defaultdict[str, list[Entry]] = defaultdict(list)
        for entry in self.order:
            if self.standing.counts(entry):
                kinds[entry.body.kind].append(entry)
        return kinds

    @cached_property
    def _related(self) -> dict[tuple[str, str], list[Entry]]:
        related: defaultdict[tuple[str, str], list[Entry]] = defaultdict(list)
        for entry in self.order:
            for relation in entry.body.relations:
                if self.standing.counts(entry):
                    related[relation.word, relation.entry].append(entry)
        return related

    # --- entries

    def of(self, kind: str, **said: object) -> tuple[Entry, ...]:
        """Give the entries of a kind that count and that nobody corrected, the oldest first.

        Parameters
        ----------
        kind : str
            As ``flying_kinds`` names it.
        **said
            Only those whose content says this: ``ledger.of(WEIGHING, aircraft="pannier")``.
        """
        return tuple(
            entry
            for entry in self._kinds.get(kind, ())
            if all(entry.body.content.get(key) == value for key, value in said.items())
            and not self.corrections(entry)
        )

    def last(self, kind: str, **said: object) -> Entry | None:
        """Give the last one of ``of``, None where there is none."""
        found = self.of(kind, **said)
        return found[-1] if found else None

    def corrections(self, entry: Entry) -> tuple[Entry, ...]:
        """Give the entries by which a person put this one right."""
        return tuple(
            filter(self.standing.may_loosen, self._related.get((CORRECTS, entry.hash), ()))
        )

    def naming(self, entry: Entry, word: str = CITES, kind: str = "") -> tuple[Entry, ...]:
        """Give the entries that count and have a relation to this one, the oldest first."""
        found = self._related.get((word, entry.hash), ())
        return tuple(e for e in found if not kind or e.body.kind == kind)

    def named(self, entry: Entry, word: str = CITES, kind: str = "") -> tuple[Entry, ...]:
        """Give the entries to which this one has a relation, as far as they are here and count."""
        found = map(self.order.get, entry.body.related(word))
        return tuple(
            e
            for e in found
            if e is not None and (not kind or e.body.kind == kind) and self.standing.counts(e)
        )

    def has_seen(self, later: Entry, earlier: Entry) -> bool:
        """Whether one entry was made in the knowledge of the other."""
        return self.order.has_seen(later, earlier)

    def unseen(self, of: Iterable[Entry], by: Entry) -> tuple[Entry, ...]:
        """Give those entries that one was made without: later ones, and ones made apart."""
        return tuple(e for e in of if e is not by and not self.order.has_seen(by, e))

    # --- signatures and times

    def persons(self, entry: Entry, meaning: str = "", role: str = "") -> tuple[str, ...]:
        """Give the persons whose signatures count, by id.

        Parameters
        ----------
        entry : Entry
            Of the record.
        meaning, role : str
            Only of signatures with this meaning, in this role; any where empty.
        """
        return tuple(
            judged.person_id
            for judged in self.people.judged(entry)
            if judged.counts
            and judged.person_id is not None
            and (not meaning or judged.signer.meaning == meaning)
            and (not role or judged.signer.role == role)
        )

    def when(self, entry: Entry) -> datetime:
        """Give when it happened, as claimed: the time of the entry, or earlier where it says so."""
        occurred = entry.body.occurred
        return occurred.utc if occurred is not None else entry.body.time.utc
