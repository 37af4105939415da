"""Links between entries: what an entry follows and has seen is there, and came before it.

Each cause is one break. That an entry is missing, or was changed so that nothing finds it by its
hash, is noticed by all that rest on it; they are counted, and not listed each by itself.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

from flightlog.logbook.check_report import Break
from flightlog.logbook.codes import code
from flightlog.logbook.entry import Entry, device_name
from flightlog.logbook.stored import CheckedRow


@dataclass(frozen=True, slots=True)
class Links:
    """What the rows come to together.

    Parameters
    ----------
    team : str
        Id of the team; empty if no entry is whole.
    entries : dict
        Hash -> entry, of those whose signatures all fit, in the order received.
    received : dict
        Hash -> place in that order.
    broken : dict
        Stored hash -> row, of those that can't be read or whose signatures don't fit.
    breaks : tuple of Break
        In the order received.
    """

    team: str
    entries: dict[str, Entry]
    received: dict[str, int]
    broken: dict[str, CheckedRow]
    breaks: tuple[Break, ...]


def check_links(rows: Sequence[CheckedRow]) -> Links:
    """Check how rows hang together.

    Parameters
    ----------
    rows : sequence of CheckedRow
        All of them, in the order received.
    """
    look = _Look()
    for row in rows:
        look.shelve(row)
    team = look.team()
    for digest, entry in look.entries.items():
        # Nearly all entries are without fault: one quick look at each.
        problems = look.problems_of(entry, team)
        if problems:
            look.problems.setdefault(look.received[digest], []).extend(problems)
    breaks = [*look.row_breaks(rows), *look.gap_breaks()]
    breaks.sort(key=lambda one: one.received or 0)
    return Links(team, look.entries, look.received, look.broken, tuple(breaks))


@dataclass(slots=True)
class _Gap:
    """An entry that is not there."""

    first: Entry
    """The one that notices it first."""
    follower: Entry | None = None
    """One of those that come after it in its own chain."""
    noticed: int = 0


@dataclass(slots=True)
class _Look:
    founding: Entry | None = None
    entries: dict[str, Entry] = field(default_factory=dict)
    received: dict[str, int] = field(default_factory=dict)
    broken: dict[str, CheckedRow] = field(default_factory=dict)
    broken_places: dict[tuple[str, int], CheckedRow] = field(default_factory=dict)
    problems: dict[int, list[str]] = field(default_factory=dict)
    rest_on: dict[int, int] = field(default_factory=dict)
    gaps: dict[str, _Gap] = field(default_factory=dict)

    def shelve(self, checked: CheckedRow) -> None:
        """Put a row where links find it, each entry once."""
        row, entry = checked.row, checked.entry
        if checked.problems:
            self.problems[row.received] = list(checked.problems)
        if entry is None or not checked.genuine:
            # In a damaged file the columns may hold values of any kind.
            if isinstance(row.hash, str):
                self.broken.setdefault(row.hash, checked)
            if isinstance(row.device, str) and isinstance(row.number, int):
                self.broken_places.setdefault((row.device, row.number), checked)
        elif entry.hash in self.entries:
            first = self.received[entry.hash]
            self.problems.setdefault(row.received, []).append(f"it stands in row {first} already")
        else:
            self.entries[entry.hash] = entry
            self.received[entry.hash] = row.received
            if checked.founds and self.founding is None:
                self.founding = entry

    def team(self) -> str:
        """Give the id of the team; where its founding is not here, that of any entry."""
        some = self.founding or next(iter(self.entries.values()), None)
        return some.body.team if some is not None else ""

    def problems_of(self, entry: Entry, team: str) -> list[str]:
        """What is wrong with the links of an entry that is whole by itself."""
        problems = []
        body, parents = entry.body, entry.parents
        place = self.received[entry.hash]
        if body.team != team:
            problems.append("it is of another team")
        for parent in parents:
            before = self.entries.get(parent)
            if before is None:
                self._note_gap(entry, parent)
            elif self.received[parent] > place:
                problems.append(f"it was received before {before.name}, which it has seen")
        before = self.entries.get(body.previous) if body.previous is not None else None
        if before is not None and before.body.device != body.device:
            problems.append(f"it follows {before.name}, of another device")
        elif before is not None and before.body.number + 1 != body.number:
            problems.append(f"it follows {before.name}, so its number is wrong")
        if not parents and entry is not self.founding:
            problems.append("it begins a chain without having seen the founding")
        return problems

    def _note_gap(self, entry: Entry, parent: str) -> None:
        follows = parent == entry.body.previous
        culprit = self.broken.get(parent)
        if culprit is None and follows:
            # Its stored hash was changed as well; what is left is its place in the chain.
            culprit = self.broken_places.get((entry.body.device, entry.body.number - 1))
        if culprit is not None:
            place = culprit.row.received
            self.rest_on[place] = self.rest_on.get(place, 0) + 1
            return
        gap = self.gaps.setdefault(parent, _Gap(entry))
        gap.noticed += 1
        if follows and gap.follower is None:
            gap.follower = entry

    # --- breaks

    def row_breaks(self, rows: Iterable[CheckedRow]) -> Iterable[Break]:
        """One break for each row with problems; alike ones of a device are one."""
        grouped: dict[tuple[str, str], Break] = {}
        for checked in rows:
            place = checked.row.received
            if place not in self.problems:
                continue
            found = "; ".join(dict.fromkeys(self.problems[place]))
            rest = self.rest_on.get(place, 0)
            key = (checked.row.device, found)
            one = grouped.get(key)
            grouped[key] = (
                replace(one, alike=one.alike + 1, rest_on_it=one.rest_on_it + rest)
                if one is not None
                else Break(place, checked.name, found, rest_on_it=rest)
            )
        return grouped.values()

    def gap_breaks(self) -> Iterable[Break]:
        """One break for each entry, or run of a chain, that is not there."""
        for digest, gap in self.gaps.items():
            place, noticed = self.received[gap.first.hash], gap.noticed - 1
            if gap.follower is None:
                found = f"missing; {gap.first.name} has seen it"
                yield Break(place, f"an entry ({code(digest)})", found, rest_on_it=noticed)
            else:
                yield Break(place, *self._run(gap.follower), rest_on_it=noticed)

    def _run(self, follower: Entry) -> tuple[str, str]:
        """Name the run of entries that is missing before one, and say so."""
        device, last = follower.body.device, follower.body.number - 1
        numbers = {e.body.number for e in self.entries.values() if e.body.device == device}
        numbers |= {number for broken, number in self.broken_places if broken == device}
        first = max((n for n in numbers if n <= last), default=0) + 1
        short = device_name(device)
        if first >= last:
            return f"entry {last} of device {short}", f"missing; {follower.name} follows it"
        return (
            f"entries {first} to {last} of device {short}",
            f"missing; {follower.name} follows them",
        )
