"""How a figure of a thing went from ground test to ground test.

A series is of one figure of one part of one thing, with one serial and in one configuration; a
new serial is another thing, whatever its id. The first test is the baseline.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from datetime import datetime

from flightlog.errors import UsageError
from flightlog.ground_figures import GROUND_FIGURES
from flightlog.logbook.entry import Entry
from flightlog.operations.desk import Desk
from flightlog.operations.ground_baseline import counting_tests, quantity_of, stored_result
from flightlog.operations.ground_subject import GroundSubject, said_of
from flightlog.prediction.theil_sen import Slope
from flightlog.prediction.trends import FEWEST, Series, Trend, trend_of
from flightlog.uncertain import NORMAL_95, Uncertain


@dataclass(frozen=True, slots=True)
class Point:
    """One test of a series: its entry, when it was, and what it gave."""

    entry: Entry
    when: datetime
    figure: Uncertain


@dataclass(frozen=True, slots=True)
class GroundSeries:
    """One figure of one thing, from test to test.

    Attributes
    ----------
    test : str
        Kind of test.
    subject : GroundSubject
        What was tested.
    figure : str
        Key of `GROUND_FIGURES`.
    points : tuple of Point
        The oldest first; at least one.
    trend : Trend or None
        From test to test; None for fewer than `prediction.trends.FEWEST`.
    """

    test: str
    subject: GroundSubject
    figure: str
    points: tuple[Point, ...]
    trend: Trend | None

    @property
    def unit(self) -> str:
        """Unit of the figure."""
        return GROUND_FIGURES[self.figure].unit

    @property
    def change(self) -> Uncertain | None:
        """Last test less the first; their errors are taken as independent. None for one test."""
        if len(self.points) < 2:
            return None
        first, last = self.points[0].figure, self.points[-1].figure
        std = math.hypot(first.std, last.std)
        return Uncertain.of(last.value - first.value, std, self.unit, source="both tests")

    @property
    def is_shown(self) -> bool:
        """Whether the 95 % interval of the change leaves zero out."""
        change = self.change
        return change is not None and abs(change.value) > NORMAL_95 * change.std

    @property
    def slope(self) -> Slope | None:
        """Change from test to test with its 95 % interval; None for too few tests."""
        return self.trend.slope if self.trend is not None else None


def ground_history(
    desk: Desk, about: Mapping[str, str] | None = None, figure: str = ""
) -> tuple[GroundSeries, ...]:
    """Give all series of the ground tests that count, those of one test of one part together.

    Parameters
    ----------
    desk : Desk
        The record.
    about : mapping of str to str, optional
        "aircraft", "pack", "component" -> id: only of these things.
    figure : str, optional
        Only this figure.

    Raises
    ------
    UsageError
        If there is no such figure.
    """
    if figure and figure not in GROUND_FIGURES:
        raise UsageError(
            "there is no such figure of a ground test",
            where=figure[:60],
            fix=_nearest(figure),
        )
    asked = {thing: id_ for thing, id_ in (about or {}).items() if id_}
    found: dict[tuple[str, GroundSubject, str], list[Point]] = {}
    for entry in counting_tests(desk):
        subject = said_of(entry)
        if asked and asked.get(subject.thing) != subject.id:
            continue
        for id_, quantity in _figures(desk, entry):
            if not figure or id_ == figure:
                key = (entry.body.content["test"], subject, id_)
                point = Point(entry, desk.ledger.when(entry), quantity)
                found.setdefault(key, []).append(point)
    together = {key[:2]: place for place, key in reversed(list(enumerate(found)))}
    return tuple(
        GroundSeries(test, subject, id_, tuple(points), _trend(points))
        for (test, subject, id_), points in sorted(
            found.items(), key=lambda one: together[one[0][:2]]
        )
    )


def _nearest(figure: str) -> str:
    from flightlog.team_files.reading import near_miss

    known = list(GROUND_FIGURES)
    return near_miss(figure, known) or f"Figures: {', '.join(known[:12])} and others."


def _figures(desk: Desk, entry: Entry) -> Iterator[tuple[str, Uncertain]]:
    """Give the figures of a stored test that this program knows, in the units of today."""
    stored = stored_result(desk, entry)
    for id_, body in (stored or {}).get("figures", {}).items():
        if id_ in GROUND_FIGURES:
            quantity = quantity_of(body, GROUND_FIGURES[id_].unit)
            if quantity is not None:
                yield id_, quantity


def _trend(points: Sequence[Point]) -> Trend | None:
    if len(points) < FEWEST:
        return None
    series = Series.of(
        list(range(len(points))),
        [point.figure.value for point in points],
        [point.figure.std for point in points],
    )
    return trend_of(series) if len(series) >= FEWEST else None
