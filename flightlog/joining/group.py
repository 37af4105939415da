"""Which of several recordings are copies, and which are of one flight."""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from flightlog.estimation.alignment import Alignment
from flightlog.joining.copies import has_rows_of, is_beginning
from flightlog.joining.likely import START_S, LikelyCopies, LikelyPartners
from flightlog.joining.match import match
from flightlog.joining.sketch import Sketch

MARGIN_S = 5.0
"""Rows of a partner are kept so far beyond the ends of the recording that it joins [s]."""

MOVING_M_S = 2.5
"""A walk: what is faster may be a flight [m/s]."""

PAUSE_S = 20.0
"""Motions with less rest between them belong together [s]."""

FLIGHT_S = 20.0
"""A shorter motion is not worth a debrief of its own [s]."""

PRINTED = ("dataflash-text",)
"""Formats that hold rounded what another form of the same log holds exactly."""

Span = tuple[float, float]


@dataclass(frozen=True, slots=True)
class Copy:
    """A recording that is left out.

    Attributes
    ----------
    index, of : int
        It, and the one that stands for it.
    code : {"same-recording", "longer-copy"}
        Finding of the one that stands.
    message : str
        What was recognised, about the one that stands.
    """

    index: int
    of: int
    code: str
    message: str


@dataclass(frozen=True, slots=True)
class Link:
    """A partner of a group.

    Attributes
    ----------
    index : int
        Which recording.
    alignment : Alignment
        How it lies on the first of the group.
    """

    index: int
    alignment: Alignment


@dataclass(frozen=True, slots=True)
class Group:
    """Recordings that are shown as one.

    Attributes
    ----------
    primary : int
        The one on whose clock they are shown: the best source.
    partners : tuple of Link
        The others, better sources first.
    elsewhere : tuple of (float, float)
        Stretches of the primary that are shown with other groups. [s]
    hosts : tuple of int
        The primaries of those.
    unaligned : tuple of (int, str)
        Recordings that overlap and could not be aligned, and why.
    """

    primary: int
    partners: tuple[Link, ...] = ()
    elsewhere: tuple[Span, ...] = ()
    hosts: tuple[int, ...] = ()
    unaligned: tuple[tuple[int, str], ...] = ()

    @property
    def members(self) -> tuple[int, ...]:
        """All recordings of the group."""
        return (self.primary, *(link.index for link in self.partners))


@dataclass(frozen=True, slots=True)
class Grouping:
    """What several recordings have to do with each other.

    Attributes
    ----------
    groups : tuple of Group
        In the order in which the first of their members was given.
    copies : tuple of Copy
        What was left out.
    files : tuple of str
        Names of all recordings that were given.
    """

    groups: tuple[Group, ...]
    copies: tuple[Copy, ...]
    files: tuple[str, ...]

    def why_left_out(self, copy: Copy) -> str:
        """Say in a sentence why a copy is left out."""
        return why_left_out(copy.code, self.files[copy.index], self.files[copy.of])

    def is_plain(self, one: Group) -> bool:
        """Ask whether a group is nothing but its one recording, as that was read."""
        of_copies = any(copy.of in one.members for copy in self.copies)
        return not (one.partners or one.elsewhere or one.unaligned or of_copies)


def why_left_out(code: str, file: str, of: str) -> str:
    """Say in a sentence why a copy is left out.

    Parameters
    ----------
    code : str
        See `Copy`.
    file, of : str
        How it, and the one that stands for it, are called.
    """
    if code == "longer-copy":
        return f"{file}: left out, {of} is a longer copy of it"
    return f"{file}: left out, it is the same recording as {of}"


def group(sketches: Sequence[Sketch]) -> Grouping:
    """Sort recordings into flights and copies.

    A recording may join several others: a transmitter's file of a whole day and the logs of
    each flight. What flew in it and in no better source makes a group of its own.

    Parameters
    ----------
    sketches : sequence of Sketch
        In the order in which they were given.
    """
    copies = find_copies(sketches)
    left_out = {c.index for c in copies}
    kept = [i for i in range(len(sketches)) if i not in left_out]
    kept.sort(key=lambda i: sketches[i].rank, reverse=True)
    likely = LikelyPartners(sketches)
    hosts: list[_Host] = []
    for one in kept:
        joined: list[tuple[_Host, Alignment]] = []
        for place in likely.of(one, [host.index for host in hosts]):
            host = hosts[place]
            found = match(sketches[host.index], sketches[one])
            if found.alignment is not None:
                joined.append((host, found.alignment))
            elif found.unaligned:
                host.unaligned.append((one, found.unaligned))
        for host, alignment in joined:
            host.partners.append(Link(one, alignment))
        spans = [_span(sketches[host.index], alignment) for host, alignment in joined]
        taken, rest_s = _shown_elsewhere(sketches[one], spans)
        if not joined or rest_s >= FLIGHT_S:
            hosts.append(_Host(one, taken, tuple(host.index for host, _ in joined)))
    groups = [host.group() for host in hosts]
    groups.sort(key=lambda g: (g.primary if g.hosts else min(g.members), g.primary))
    return Grouping(tuple(groups), copies, tuple(s.file for s in sketches))


@dataclass(slots=True)
class _Host:
    """A group while it grows."""

    index: int
    elsewhere: tuple[Span, ...]
    hosts: tuple[int, ...]
    partners: list[Link] = field(default_factory=list)
    unaligned: list[tuple[int, str]] = field(default_factory=list)

    def group(self) -> Group:
        return Group(
            self.index, tuple(self.partners), self.elsewhere, self.hosts, tuple(self.unaligned)
        )


def _span(host: Sketch, alignment: Alignment) -> Span:
    """Ends of a host on the clock of what joins it."""
    offset = alignment.clock.offset_s
    return host.start_s - offset - MARGIN_S, host.end_s - offset + MARGIN_S


def _shown_elsewhere(one: Sketch, spans: Iterable[Span]) -> tuple[tuple[Span, ...], float]:
    """Stretches that better sources show, whole motions with them; longest motion that is left."""
    motions = _motions(one)
    taken = []
    for start, end in spans:
        touched = [(a, b) for a, b in motions if a <= end and b >= start]
        taken.append((min([start, *(a for a, _ in touched)]), max([end, *(b for _, b in touched)])))
    left = [b - a for a, b in motions if not any(a <= e and b >= s for s, e in taken)]
    return tuple(taken), max(left, default=0.0)


def _motions(one: Sketch) -> list[Span]:
    """Stretches in which it moves."""
    times = one.speed.time_s[one.speed.value > MOVING_M_S]
    if not len(times):
        return []
    breaks = np.flatnonzero(np.diff(times) > PAUSE_S) + 1
    return [(float(part[0]), float(part[-1])) for part in np.split(times, breaks)]


# --- copies


def find_copies(sketches: Sequence[Sketch]) -> tuple[Copy, ...]:
    """Find what is left out: the same content, the beginning of a longer file, the same rows."""
    copies: list[Copy] = []
    stands: list[int] = []
    by_content: dict[str, int] = {}
    for index, one in enumerate(sketches):
        first = by_content.setdefault(one.sha256, index)
        if first == index:
            stands.append(index)
        else:
            copies.append(_same(index, first, one))
    # Longer ones first, so that each copy is told of the longest.
    stands.sort(key=lambda i: (sketches[i].size, -i), reverse=True)
    heads = {i: _head(sketches[i]) for i in stands}
    likely = LikelyCopies(sketches, stands)
    left_out: set[int] = set()
    for place, short in enumerate(stands):
        if short in left_out:
            continue
        for long in (stands[n] for n in likely.before(place)):
            if long in left_out:
                continue
            found = _shorter(short, long, sketches, heads)
            if found is not None:
                copies.append(found)
                left_out.add(found.index)
                break
    return _told_of_the_last(copies)


def _same(index: int, of: int, one: Sketch) -> Copy:
    return Copy(
        index, of, "same-recording", f"{one.file} was given as well: the same content, byte by byte"
    )


def _head(one: Sketch) -> bytes:
    if one.path is None:
        return b""
    try:
        with one.path.open("rb") as file:
            return file.read(512)
    except OSError:
        return b""


def _shorter(
    short: int, long: int, sketches: Sequence[Sketch], heads: dict[int, bytes]
) -> Copy | None:
    """Whether one is nothing but a part of the other, and if so which."""
    one, two = sketches[short], sketches[long]
    if one.path is not None and two.path is not None and one.size < two.size:
        head = heads[short]
        same_head = bool(head) and heads[long].startswith(head)
        if same_head and is_beginning(one.path, two.path, one.size):
            return Copy(
                short,
                long,
                "longer-copy",
                f"{one.file} ({one.size} bytes) is the beginning of it ({two.size} bytes), "
                "byte by byte",
            )
    if abs(one.start_s - two.start_s) > START_S:
        return None
    if _holds(one) > _holds(two):
        short, long, one, two = long, short, two, one
    return _same_rows(short, long, one, two)


def _holds(one: Sketch) -> tuple[int, bool]:
    """How much a form of the same rows holds: how many, then whether with all their digits."""
    return len(one.latitude_deg.value), one.format not in PRINTED


def _same_rows(short: int, long: int, one: Sketch, two: Sketch) -> Copy | None:
    if not (set(one.tables) <= set(two.tables) and has_rows_of(two, one)):
        return None
    what = "" if one.format == two.format else f", as {one.format}"
    if two.duration_s - one.duration_s > 2.0:
        return Copy(
            short,
            long,
            "longer-copy",
            f"{one.file} holds its rows up to {one.end_s:.1f} s{what}; it goes on to "
            f"{two.end_s:.1f} s",
        )
    return Copy(short, long, "same-recording", f"{one.file} was given as well: the same rows{what}")


def _told_of_the_last(copies: Sequence[Copy]) -> tuple[Copy, ...]:
    """Lead each copy to the recording that stands in the end."""
    of = {c.index: c.of for c in copies}

    def stands(index: int) -> int:
        # A copy stands for another only if it is larger, so this ends.
        return stands(of[index]) if index in of else index

    return tuple(replace(c, of=stands(c.of)) for c in copies)
