"""Which entry has seen which: the partial order that chains and seen heads define.

Clocks play no part. An entry has seen another one if a way leads to it through ``previous`` and
``seen``. For two entries of which neither has seen the other the word is *concurrent*.

Each entry belongs to a *strand*: a run of entries of one device without a branch. Where a chain
forks, each branch is a strand of its own. For each entry a row of numbers says how far into
each strand it has seen, so that a question costs one comparison.
"""

from __future__ import annotations

from collections.abc import Collection, Iterable, Iterator, Mapping
from copy import copy
from dataclasses import dataclass
from heapq import heapify, heappop, heappush

from flightlog.errors import LogbookError
from flightlog.logbook.entry import Entry

MOST_STRANDS = 512
"""More chains and branches than this are no team's logbook."""

_UNSEEN = -1


@dataclass(frozen=True, slots=True)
class Fork:
    """Entries of one device that follow the same entry: a copied folder or a rewritten chain."""

    device: str
    number: int
    entries: tuple[Entry, ...]


class Order:
    """The partial order of a set of entries.

    Parameters
    ----------
    entries : iterable of Entry
        In any order. Entries given twice count once.

    Raises
    ------
    LogbookError
        If an entry follows one that is not there (``strict``), or there are more than
        ``MOST_STRANDS`` strands.

    Notes
    -----
    Sorting is the same for the same set of entries on every device: an entry comes after all
    that it has seen; among those that are free to come next, the one with the earliest claimed
    time, and then the smallest hash.
    """

    def __init__(self, entries: Iterable[Entry], *, strict: bool = True) -> None:
        self._by_hash = {entry.hash: entry for entry in entries}
        self.missing: dict[str, str] = {}
        """Hash of an entry that is not there -> hash of one that follows it."""
        self._children = self._find_children(strict)
        self._strand: dict[str, tuple[int, int]] = {}
        self._clock: dict[str, tuple[int, ...]] = {}
        self._strands: list[int] = []
        self._sorted = self._sort()
        for entry in self._sorted:
            self._place(entry)

    def followed_by(self, entry: Entry) -> Order:
        """Give the order of these entries and one more.

        An entry that has seen all others comes last, and nothing else moves: then this costs
        little, where making the order anew costs time that grows with the record.

        Raises
        ------
        LogbookError
            As when the order is made anew.
        """
        tips = {h for h, children in self._children.items() if not children}
        if entry.hash in self or self.missing or not tips <= set(entry.parents):
            return Order([*self._sorted, entry])
        longer = copy(self)
        longer._by_hash = {**self._by_hash, entry.hash: entry}
        longer._children = {**self._children, entry.hash: []}
        for parent in entry.parents:
            if parent not in self:
                return Order([*self._sorted, entry])  # which says what is missing
            longer._children[parent] = [*self._children[parent], entry.hash]
        longer.missing = {}
        longer._strand, longer._clock = dict(self._strand), dict(self._clock)
        longer._strands = list(self._strands)
        longer._sorted = [*self._sorted, entry]
        longer._place(entry)
        return longer

    def _find_children(self, strict: bool) -> dict[str, list[str]]:
        children: dict[str, list[str]] = {h: [] for h in self._by_hash}
        for entry in self._by_hash.values():
            for parent in entry.parents:
                if parent in children:
                    children[parent].append(entry.hash)
                elif strict:
                    raise LogbookError(
                        f"it follows an entry that is not here ({parent[:12]}…)", where=entry.name
                    )
                else:
                    self.missing.setdefault(parent, entry.hash)
        return children

    def _sort(self) -> list[Entry]:
        waits = {
            h: sum(parent in self._by_hash for parent in set(entry.parents))
            for h, entry in self._by_hash.items()
        }
        free = [self._key(entry) for h, entry in self._by_hash.items() if not waits[h]]
        heapify(free)
        done = []
        while free:
            entry = self._by_hash[heappop(free)[1]]
            done.append(entry)
            for child in dict.fromkeys(self._children[entry.hash]):
                waits[child] -= 1
                if not waits[child]:
                    heappush(free, self._key(self._by_hash[child]))
        # A hash can't be inside of what it is computed from, so there is no circle.
        return done

    @staticmethod
    def _key(entry: Entry) -> tuple[float, str]:
        return entry.body.time.utc.timestamp(), entry.hash

    def _place(self, entry: Entry) -> None:
        """Give an entry its strand, its place there, and how far it has seen."""
        clock = self._merged(entry)
        parent = self._by_hash.get(entry.body.previous or "")
        if parent is not None and parent.body.device == entry.body.device:
            strand, place = self._strand[parent.hash]
            if place == self._strands[strand]:  # still the last one of its strand
                strand, place = strand, place + 1
            else:
                strand, place = self._new_strand(), 0
        else:
            strand, place = self._new_strand(), 0
        self._strands[strand] = place
        self._strand[entry.hash] = (strand, place)
        self._clock[entry.hash] = clock

    def _merged(self, entry: Entry) -> tuple[int, ...]:
        """How far into each strand an entry has seen, itself left out."""
        parents = [h for h in dict.fromkeys(entry.parents) if h in self._by_hash]
        if not parents:
            return ()
        width = max(max(len(self._clock[h]), self._strand[h][0] + 1) for h in parents)
        merged = [_UNSEEN] * width
        for parent in parents:
            clock = self._clock[parent]
            merged[: len(clock)] = map(max, merged, clock)
            strand, place = self._strand[parent]
            merged[strand] = max(merged[strand], place)
        return tuple(merged)

    def _new_strand(self) -> int:
        if len(self._strands) == MOST_STRANDS:
            raise LogbookError(
                f"there are more than {MOST_STRANDS} chains and branches of chains",
                fix="No team has so many devices; the record was made up.",
            )
        self._strands.append(_UNSEEN)
        return len(self._strands) - 1

    def __len__(self) -> int:
        return len(self._sorted)

    def __iter__(self) -> Iterator[Entry]:
        """Give the entries so that each comes after all that it has seen."""
        return iter(self._sorted)

    def __contains__(self, digest: object) -> bool:
        return digest in self._by_hash

    def get(self, digest: str) -> Entry | None:
        """Give the entry with a hash, None where there is none."""
        return self._by_hash.get(digest)

    def has_seen(self, later: Entry, earlier: Entry) -> bool:
        """Whether ``later`` has seen ``earlier``; no entry has seen itself."""
        strand, place = self._strand[earlier.hash]
        clock = self._clock[later.hash]
        return strand < len(clock) and clock[strand] >= place

    def concurrent(self, one: Entry, other: Entry) -> bool:
        """Whether neither of two different entries has seen the other."""
        return (
            one.hash != other.hash
            and not self.has_seen(one, other)
            and not self.has_seen(other, one)
        )

    def gathered(self, marks: Mapping[str, int]) -> dict[str, int]:
        """For each entry, the marks of all that it has seen, joined.

        Parameters
        ----------
        marks : mapping
            Hash of an entry -> its marks, as the bits of an integer.

        Returns
        -------
        dict
            Hash of every entry -> bits. Many questions about few entries cost one pass this way.
        """
        seen: dict[str, int] = {}
        for entry in self._sorted:
            total = 0
            for parent in entry.parents:
                if parent in seen:
                    total = _joined(total, _joined(seen[parent], marks.get(parent, 0)))
            seen[entry.hash] = total
        return seen

    def gathered_later(self, marks: Mapping[str, int]) -> dict[str, int]:
        """For each entry, the marks of all that have seen it, joined; see ``gathered``."""
        later = dict.fromkeys(self._by_hash, 0)
        for entry in reversed(self._sorted):
            passed = _joined(later[entry.hash], marks.get(entry.hash, 0))
            for parent in entry.parents:
                if parent in later:
                    later[parent] = _joined(later[parent], passed)
        return later

    def tips(self) -> tuple[Entry, ...]:
        """Give the entries that no other entry has seen: together they cover all."""
        return tuple(entry for entry in self._sorted if not self._children[entry.hash])

    def chain(self, device: str) -> tuple[Entry, ...]:
        """Give the entries of one device, in order."""
        return tuple(entry for entry in self._sorted if entry.body.device == device)

    def devices(self) -> tuple[str, ...]:
        """Give the devices, in the order in which they appear."""
        return tuple(dict.fromkeys(entry.body.device for entry in self._sorted))

    def forks(self) -> tuple[Fork, ...]:
        """Give the places where a device has two entries after one and the same entry."""
        followers: dict[tuple[str, str | None], list[Entry]] = {}
        for entry in self._sorted:
            followers.setdefault((entry.body.device, entry.body.previous), []).append(entry)
        return tuple(
            Fork(device, group[0].body.number, tuple(group))
            for (device, _), group in followers.items()
            if len(group) > 1
        )


def count_strands(entries: Collection[Entry]) -> int:
    """Count the chains and branches of a set of entries, which holds all that each follows."""
    # Each entry opens a strand, but for one of those that follow the same entry.
    return len(entries) - len({e.body.previous for e in entries if e.body.previous is not None})


def _joined(one: int, other: int) -> int:
    # Neighbours mostly have the same marks; giving back one of the two keeps them one object.
    both = one | other
    if both == one:
        return one
    return other if both == other else both
