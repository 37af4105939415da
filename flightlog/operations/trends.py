"""What is wearing out: the watched figures of all aircraft and packs, and what is named of each."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from typing import cast

from flightlog.errors import NotEnoughDataError, UsageError
from flightlog.figures import FIGURES, FREE_NAME
from flightlog.operations.desk import Desk
from flightlog.operations.sorties import sorties
from flightlog.operations.trends_limits import edges_of
from flightlog.operations.trends_series import Line, Part, accumulated, lines_of
from flightlog.operations.trends_watched import SINK, WATCHED, Kind, watched_kind
from flightlog.operations.usage import AIRCRAFT, PACK
from flightlog.prediction.trends import Ahead, Trend, trend_of
from flightlog.prediction.wear import NAMED, Judged, Watched, judge
from flightlog.team_files.reading import near_miss

STEPS = (1, 5, 10)
"""Flights ahead that are told of."""


@dataclass(frozen=True, slots=True)
class Course:
    """A series with what is said of it.

    Attributes
    ----------
    line : Line
        Its flights.
    kind : Kind
        What is watched of it.
    judged : Judged
        Of its present part.
    before : tuple of (Part, Trend or None)
        Earlier parts, each a series of its own.
    landings : tuple of (float, int, int) or None
        Of the sink rate: sum of its squares [m²/s²] since the gear was fitted, of how many
        landings, and how many lack it.
    """

    line: Line
    kind: Kind
    judged: Judged
    before: tuple[tuple[Part, Trend | None], ...]
    landings: tuple[float, int, int] | None

    @property
    def end(self) -> float:
        """Number of the latest flight, whether it has the figure or not."""
        trend = self.judged.trend
        return max(float(self.line.now.last), trend.last if trend is not None else 0.0)

    def level(self, number: float) -> Ahead:
        """Give the line at a flight of the present part; only where there is a trend."""
        return self._possible(number, Trend.level)

    def flight(self, number: float) -> Ahead:
        """Give what a flight is expected to show; only where there is a trend."""
        return self._possible(number, Trend.flight)

    def _possible(self, number: float, of: Callable[[Trend, float], Ahead]) -> Ahead:
        """Keep within what the figure can be."""
        if self.judged.trend is None:
            raise NotEnoughDataError(self.judged.why, fix="Fly on and import the logs.")
        found = of(self.judged.trend, number)
        least, most = self.kind.within
        value, low, high = (min(max(x, least), most) for x in (found.value, found.low, found.high))
        return replace(found, value=value, low=low, high=high)

    @property
    def key(self) -> str:
        """A word of its own: thing, id and figure."""
        return f"{self.line.thing} {self.line.id} {self.line.figure}"


@dataclass(frozen=True, slots=True)
class TrendsAnswer:
    """What is wearing out.

    Attributes
    ----------
    courses : tuple of Course
        Those that were asked for, what is named first.
    series : int
        How many were looked at, and share the level.
    flights : int
        How many flights the record has of what was asked for.
    in_record : int
        How many it has of whatever.
    """

    courses: tuple[Course, ...]
    series: int
    flights: int
    in_record: int

    @property
    def named(self) -> tuple[Course, ...]:
        """Those of which something is named."""
        return tuple(course for course in self.courses if course.judged.named)


def trends_answer(desk: Desk, aircraft: str = "", pack: str = "", figure: str = "") -> TrendsAnswer:
    """Say what is wearing out.

    Whatever is asked for, all watched series of the record share the level: the answer to a
    question does not change with how it is put.

    Parameters
    ----------
    desk : Desk
        The record.
    aircraft, pack, figure : str
        Ids; all where empty.

    Raises
    ------
    UsageError
        If the record knows no such thing, or the figure is not watched.
    """
    for kind, id_ in ((AIRCRAFT, aircraft), (PACK, pack)):
        if id_:
            desk.version(kind, id_)
    if figure:
        _check_figure(figure)
    every = all_courses(desk)
    wanted = [
        course
        for course in every
        if (not figure or course.line.figure == figure)
        and (
            (not aircraft and not pack)
            or (course.line.thing, course.line.id) in ((AIRCRAFT, aircraft), (PACK, pack))
        )
    ]
    named = sorted(wanted, key=lambda course: _rank(course.judged.word))
    flights = max((course.line.now.last for course in wanted), default=0)
    return TrendsAnswer(tuple(named), len(every), flights, len(sorties(desk)))


def _rank(word: str) -> int:
    """The worst first; what is not named keeps the order of the figures."""
    return NAMED.index(word) if word in NAMED else len(NAMED)


def _check_figure(figure: str) -> None:
    if watched_kind(figure) is None:
        raise UsageError(
            "is none of the figures that are watched, which are fewer than those of the table",
            where=figure[:60],
            fix=" ".join(_watched_instead(figure)),
        )


def _watched_instead(figure: str) -> Iterable[str]:
    if figure in FIGURES:
        yield f"'flightlog trends --table --figure {figure}' gives it flight by flight."
    else:
        yield "'flightlog trends --table' has the others, flight by flight."
        if near := near_miss(figure, (*WATCHED, *FIGURES)):
            yield near
    yield f"Watched are {', '.join(WATCHED)}; {FREE_NAME} is that of the surface, like elevator."


def all_courses(desk: Desk) -> tuple[Course, ...]:
    """Give all watched series of the record with what is said of each."""
    known = desk.kept.get("trends")
    if known is None:
        known = desk.kept["trends"] = tuple(_courses(desk, lines_of(desk)))
    return cast(tuple[Course, ...], known)


def _courses(desk: Desk, lines: Iterable[Line]) -> Iterable[Course]:
    kinds = [(line, watched_kind(line.figure)) for line in lines]
    known = [(line, kind) for line, kind in kinds if kind is not None]
    watched = [
        Watched(
            line.now.series,
            kind.practical,
            edges_of(desk, line, kind),
            latest=float(line.now.last),
            likely=kind.likely,
        )
        for line, kind in known
    ]
    for (line, kind), said in zip(known, judge(watched), strict=True):
        before = tuple((part, _trend(part)) for part in line.parts[:-1])
        landings = accumulated(line, lambda p: p.value**2) if line.figure == SINK else None
        yield Course(line, kind, said, before, landings)


def _trend(part: Part) -> Trend | None:
    try:
        return trend_of(part.series)
    except NotEnoughDataError:
        return None
