"""Several logs on the command line: which are of one flight, and reading them once if it can be.

Sketches of all logs are kept, and of the recordings themselves the last ones that were read, up
to a budget: a folder of hundreds of logs has to fit into a field laptop.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, field
from pathlib import Path
from typing import TYPE_CHECKING

from flightlog.cli import wall

if TYPE_CHECKING:
    from flightlog.joining import Group, Grouping, Sketch
    from flightlog.recording import Recording

BUDGET_BYTES = 150_000_000
"""Recordings are kept while their files are not larger than this together; in memory they are
two to three times as large [bytes]."""

Reader = Callable[[Path], "Recording"]


class Shelf:
    """Recordings that were read, as many as the budget takes; others are read again.

    Parameters
    ----------
    read : callable
        Reads one log.
    budget : int
        Size of the files whose recordings are kept. [bytes]
    """

    def __init__(self, read: Reader, budget: int = BUDGET_BYTES) -> None:
        self._read = read
        self._budget = budget
        self._kept: dict[Path, Recording] = {}

    def take(self, log: Path) -> Recording:
        """Give the recording of a log."""
        recording = self._kept.pop(log, None)
        if recording is None:
            recording = self._read(log)
        self._kept[log] = recording  # the last one that was used goes last
        while sum(r.receipt.size for r in self._kept.values()) > self._budget:
            del self._kept[next(iter(self._kept))]
        return recording


@dataclass(frozen=True, slots=True)
class Flight:
    """What makes one debrief: one log, or several of one flight.

    Attributes
    ----------
    logs : tuple of Path
        All of them, the one that is debriefed first.
    group : Group or None
        None for a log that stands by itself because it could not be looked at.
    """

    logs: tuple[Path, ...]
    group: Group | None = None

    @property
    def name(self) -> str:
        """File names, for messages."""
        return " + ".join(log.name for log in self.logs)


@dataclass(frozen=True, slots=True)
class Plan:
    """What is to be debriefed, in order.

    Attributes
    ----------
    flights : tuple of Flight
        One debrief each.
    left_out : tuple of str
        A sentence for each log that is a copy of another.
    """

    flights: tuple[Flight, ...]
    left_out: tuple[str, ...] = ()
    _shelf: Shelf | None = None
    _grouping: Grouping | None = None
    _places: tuple[Path, ...] = field(default=())

    def read(self, flight: Flight) -> Recording:
        """Read a flight's logs and join them."""
        from flightlog.joining import join_group

        if flight.group is None or self._grouping is None or self._shelf is None:
            raise ValueError("a flight that was not looked at has to be read by itself")
        shelf, places = self._shelf, self._places
        return join_group(flight.group, self._grouping, lambda i: shelf.take(places[i]))


def plan_flights(logs: Sequence[Path], read: Reader) -> Plan:
    """Look at all logs and sort them into flights.

    A log that can't be read, for whatever reason, stands by itself: its own debrief says why.

    Parameters
    ----------
    logs : sequence of Path
        In the order of the command line.
    read : callable
        Reads one log.
    """
    from flightlog.joining import group

    shelf = Shelf(read)
    sketches: list[Sketch] = []
    places: list[int] = []
    for number, log in enumerate(logs):
        seen = wall.tried(lambda log=log: _sketch(shelf, log))  # type: ignore[misc]
        if seen is not None:
            sketches.append(seen)
            places.append(number)
    grouping = wall.tried(lambda: group(sketches))
    if grouping is None:
        return Plan(tuple(Flight((log,)) for log in logs))
    flights = [(number, Flight((log,))) for number, log in enumerate(logs) if number not in places]
    for one in grouping.groups:
        members = [places[i] for i in one.members]
        order = members[0] if one.hosts else min(members)
        flights.append((order, Flight(tuple(logs[m] for m in members), one)))
    flights.sort(key=lambda pair: pair[0])
    return Plan(
        tuple(flight for _, flight in flights),
        tuple(grouping.why_left_out(copy) for copy in grouping.copies),
        shelf,
        grouping,
        tuple(logs[p] for p in places),
    )


def _sketch(shelf: Shelf, log: Path) -> Sketch:
    from flightlog.joining import sketch

    return sketch(shelf.take(log), log)
