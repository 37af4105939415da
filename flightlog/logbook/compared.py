"""Heads that were noted elsewhere, compared with the record: what was cut off or written anew.

A head is the hash of one entry, and so of all that this entry had seen. If it is here, nothing
of that was taken away or changed. What was added after it was noted, it can't tell.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property
from typing import Protocol

from flightlog.logbook.check_report import Break, count
from flightlog.logbook.codes import Head, head_code, head_text
from flightlog.logbook.entry import Entry, device_name
from flightlog.logbook.links import Links

_MOST_NAMED = 3


class Remembered(Protocol):
    """A head with its device, as ``DeviceMemory`` keeps it."""

    @property
    def device(self) -> str:
        """Public key of the device."""

    @property
    def number(self) -> int:
        """Place of the entry in its chain."""

    @property
    def hash(self) -> str:
        """Hash of the entry."""


@dataclass
class Comparison:
    """Compares heads with a record.

    Parameters
    ----------
    links : Links
        The record.

    Attributes
    ----------
    lines : list of str
        What came of the heads that are here.
    breaks : list of Break
        Those that are not, or that say another number.
    """

    links: Links

    def __post_init__(self) -> None:
        """Begin with nothing compared."""
        self.lines: list[str] = []
        self.breaks: list[Break] = []
        self._beyond: list[Break] = []
        self._ends: dict[str, int] = {}
        self._somewhere: dict[str, None] = {}
        self._seen_by_kept: set[str] = set()

    @property
    def older(self) -> str:
        """Which entries are missing, if all breaks are heads beyond the ends of chains."""
        if not self._beyond or len(self._beyond) < len(self.breaks):
            return ""
        missing = [_cut(d, self._lasts.get(d, 0), n) for d, n in self._ends.items()]
        missing += self._somewhere
        more = len(missing) - _MOST_NAMED
        return "; ".join(missing[:_MOST_NAMED]) + (
            f"; and more in {more} others" if more > 0 else ""
        )

    def typed(self, head: Head, kept: Sequence[Remembered] = ()) -> None:
        """Compare a head that was typed from paper; one that is remembered too is known better."""
        name = f"head {head_text(head)}"
        entry = next((e for h, e in self.links.entries.items() if head.fits(h)), None)
        if entry is not None:
            if head.number in (None, entry.body.number):
                self.lines.append(f"{name}: {self._here(entry)}")
            else:
                found = f"the code is that of {entry.name}, and the number before it another one"
                self.breaks.append(Break(None, name, found))
            return
        if self._is_broken(name, (h for h in self.links.broken if _fits(head, h))):
            return
        known = next((k for k in kept if head.fits(k.hash)), None)
        if known is not None and head.number in (None, known.number):
            self._not_here(name, known)
        else:
            self._typed_not_here(name, head)

    def remembered(self, kept: Remembered) -> None:
        """Compare a head that this laptop remembers; of those that others vouch for no line."""
        if kept.hash in self._seen_by_kept:
            return
        name = f"head {head_code(kept.number, kept.hash)}, which this laptop remembers"
        entry = self.links.entries.get(kept.hash)
        if entry is not None:
            self.lines.append(f"{name}: {self._here(entry, self._seen_by_kept)}")
        elif not self._is_broken(name, (h for h in self.links.broken if h == kept.hash)):
            self._not_here(name, kept)

    def _not_here(self, name: str, kept: Remembered) -> None:
        last = self._lasts.get(kept.device, 0)
        if last < kept.number:
            self._ends[kept.device] = max(kept.number, self._ends.get(kept.device, 0))
            one = Break(None, name, f"not here: {_cut(kept.device, last, kept.number)}")
            self._beyond.append(one)
        else:
            found = (
                f"not here, but another entry {kept.number} of device "
                f"{device_name(kept.device)}: the chain was written anew"
            )
            one = Break(None, name, found)
        self.breaks.append(one)

    @cached_property
    def _lasts(self) -> dict[str, int]:
        lasts: dict[str, int] = {}
        for entry in self.links.entries.values():
            device, number = entry.body.device, entry.body.number
            lasts[device] = max(number, lasts.get(device, 0))
        return lasts

    def _is_broken(self, name: str, hashes: Iterable[str]) -> bool:
        """Whether the entry is one of the broken ones, which are named already."""
        digest = next(iter(hashes), None)
        if digest is not None:
            self.lines.append(f"{name}: {self.links.broken[digest].name}, which is broken")
        return digest is not None

    def _here(self, head: Entry, vouched: set[str] | None = None) -> str:
        seen, waiting = {head.hash}, [head]
        whole = True
        while waiting:
            for parent in waiting.pop().parents:
                before = self.links.entries.get(parent)
                whole = whole and before is not None
                if before is not None and parent not in seen:
                    seen.add(parent)
                    waiting.append(before)
        if not whole:
            return f"{head.name} is here, but not all that it had seen"
        if vouched is not None:
            vouched |= seen
        earlier = count(len(seen) - 1, "entry", "entries")
        return f"{head.name} is here, and all that it had seen: {earlier} before it"

    def _typed_not_here(self, name: str, head: Head) -> None:
        if head.number is None:
            found = "not here: entries at an end are missing, or the record is another one"
            self.breaks.append(Break(None, name, found))
            return
        short = {d: last for d, last in self._lasts.items() if last < head.number}
        if not short:
            found = (
                "not here, though every chain is long enough: its own was written anew, or is "
                "missing as a whole"
            )
            self.breaks.append(Break(None, name, found))
            return
        cut = [_cut(d, last, head.number) for d, last in list(short.items())[:_MOST_NAMED]]
        where = f"{', or '.join(cut)}, or a whole chain"
        one = Break(None, name, f"not here: {where}")
        self.breaks.append(one)
        if len(short) == len(self._lasts):
            self._beyond.append(one)
            self._somewhere[where] = None


def _fits(head: Head, stored: object) -> bool:
    """Whether a stored hash, which may be damaged, is the one that was typed."""
    try:
        return isinstance(stored, str) and len(stored) == 64 and head.fits(stored)
    except ValueError:
        return False


def _cut(device: str, last: int, number: int) -> str:
    """Say which entries of a device are missing, up to one with a number."""
    name = f"of device {device_name(device)}"
    if number == last + 1:
        return f"entry {number} {name} is missing"
    return f"entries {last + 1} to {number} {name} are missing"


def compared(links: Links, heads: Sequence[Head], remembered: Sequence[Remembered]) -> Comparison:
    """Compare all heads with a record."""
    comparison = Comparison(links)
    for head in heads:
        comparison.typed(head, remembered)
    # The latest first: it has mostly seen all the others.
    for kept in sorted(remembered, key=lambda kept: -links.received.get(kept.hash, 0)):
        comparison.remembered(kept)
    return comparison
