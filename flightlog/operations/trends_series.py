"""The series of the record: a figure of an aircraft or a pack, from flight to flight.

The numbers are those of the stored debriefs. A flight that lacks a figure is missing and keeps its
number; it is never taken for zero.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass
from datetime import UTC, datetime
from itertools import pairwise

from flightlog.operations.desk import Desk
from flightlog.operations.flight_numbers import FlightNumbers, flight_numbers
from flightlog.operations.sorties import sorties
from flightlog.operations.trends_breaks import Break, aircraft_breaks, pack_breaks
from flightlog.operations.trends_watched import watched_ids, watched_kind
from flightlog.operations.usage import AIRCRAFT, PACK
from flightlog.prediction.trends import Series
from flightlog.uncertain import NORMAL_95

_FIRST = "the first flight of the record"


@dataclass(frozen=True, slots=True)
class Point:
    """A flight that has the figure.

    Attributes
    ----------
    number : int
        Of the flight of the aircraft, or of the cycle of the pack.
    name : str
        By which commands know the flight.
    began : datetime
        When.
    value, low, high : float
        With the 95 % interval, in the unit of the figure.
    """

    number: int
    name: str
    began: datetime
    value: float
    low: float
    high: float

    @property
    def std(self) -> float:
        """Standard uncertainty, of the wider side."""
        return max(self.high - self.value, self.value - self.low, 0.0) / NORMAL_95


@dataclass(frozen=True, slots=True)
class Part:
    """A stretch of flights in one state.

    Attributes
    ----------
    since : str
        What began it.
    first, last : int
        Numbers of its flights, whether they have the figure or not.
    points : tuple of Point
        Those that have it.
    lacking : tuple of (str, str)
        Name and reason of those that lack it.
    """

    since: str
    first: int
    last: int
    points: tuple[Point, ...]
    lacking: tuple[tuple[str, str], ...]

    @property
    def series(self) -> Series:
        """What the trend is made of."""
        return Series.of(
            [p.number for p in self.points],
            [p.value for p in self.points],
            [p.std for p in self.points],
            [p.began.astimezone(UTC).toordinal() for p in self.points],
        )


@dataclass(frozen=True, slots=True)
class Line:
    """A figure of one thing over all its flights, in parts; the last one is the present.

    Attributes
    ----------
    thing : {"aircraft", "pack"}
        What it is of.
    id : str
        Of its file.
    figure : str
        Figure id.
    parts : tuple of Part
        At least one.
    """

    thing: str
    id: str
    figure: str
    parts: tuple[Part, ...]

    @property
    def now(self) -> Part:
        """The part that goes on."""
        return self.parts[-1]


def lines_of(desk: Desk) -> list[Line]:
    """Give all watched series of the record: aircraft by aircraft, then pack by pack."""
    flown = {id_: flight_numbers(desk, id_) for id_ in _aircraft(desk)}
    found: list[Line] = []
    for id_, flights in flown.items():
        breaks = aircraft_breaks(desk, id_, [f.record for f in flights])
        found += _lines(AIRCRAFT, id_, flights, breaks, 0)
    every = [flight for flights in flown.values() for flight in flights]
    every.sort(key=lambda f: (f.record.began, f.record.number))
    for id_ in sorted({f.record.pack for f in every if f.record.pack}):
        flights = [f for f in every if f.record.pack == id_]
        breaks = pack_breaks(desk, id_, [f.record for f in flights])
        found += _lines(PACK, id_, flights, breaks, _cycles_before(desk, id_))
    return found


def _aircraft(desk: Desk) -> list[str]:
    return sorted({flight.aircraft for flight in sorties(desk)})


def _cycles_before(desk: Desk, pack: str) -> int:
    return desk.pack(pack).cycles_before if pack in desk.versions.ids("pack") else 0


def _lines(
    thing: str, id_: str, flights: Sequence[FlightNumbers], breaks: Sequence[Break], before: int
) -> list[Line]:
    known = {figure for flight in flights for figure in flight.figures}
    found = []
    for figure in watched_ids(known):
        kind = watched_kind(figure)
        if kind is not None and id_ and kind.of_pack == (thing == PACK):
            mine = [one for one in breaks if one.ends(figure)]
            found.append(Line(thing, id_, figure, _parts(figure, flights, mine, before)))
    return found


def _parts(
    figure: str, flights: Sequence[FlightNumbers], breaks: Sequence[Break], before: int
) -> tuple[Part, ...]:
    starts, says = [0], [_FIRST]
    for place, (earlier, later) in enumerate(pairwise(flights), start=1):
        between = [b for b in breaks if earlier.record.began < b.at <= later.record.began]
        if between:
            starts.append(place)
            says.append("; ".join(dict.fromkeys(b.says for b in between)))
    ends = [*starts[1:], len(flights)]
    return tuple(
        _part(figure, said, flights, range(start, end), before)
        for said, start, end in zip(says, starts, ends, strict=True)
    )


def _part(
    figure: str, said: str, flights: Sequence[FlightNumbers], places: range, before: int
) -> Part:
    points, lacking = [], []
    for place in places:
        flight = flights[place]
        number = flight.figures.get(figure)
        if number is None or not math.isfinite(number.value):
            lacking.append((flight.name, flight.why_lacking(figure)))
            continue
        points.append(
            Point(
                before + place + 1,
                flight.name,
                flight.record.began,
                number.value,
                number.low,
                number.high,
            )
        )
    return Part(
        said, before + places.start + 1, before + places.stop, tuple(points), tuple(lacking)
    )


def accumulated(line: Line, of: Callable[[Point], float]) -> tuple[float, int, int]:
    """Add something up over the landings of the present part.

    Returns
    -------
    total : float
        Over those that have the figure.
    counted, missing : int
        How many have it, and how many don't.
    """
    points = line.now.points
    return math.fsum(map(of, points)), len(points), len(line.now.lacking)
