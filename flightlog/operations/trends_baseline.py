"""What figures were on sound flights of the present configuration: the baseline of an aircraft."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from flightlog.operations.desk import Desk
from flightlog.operations.trends import Course, all_courses
from flightlog.operations.usage import AIRCRAFT
from flightlog.prediction.trends import FEWEST
from flightlog.prediction.wear import STANDS_OUT

_NOT_OF_THE_DAY = ("surface.", "vibration.", "link.margin", "landing.sink_rate")
"""How the ids begin of figures that are compared with a baseline within one flight; what a lap or
a climb takes depends on the load and the day."""


@dataclass(frozen=True, slots=True)
class BaselineLine:
    """A figure with what it was, or why that is not given.

    Attributes
    ----------
    figure : str
        Figure id.
    value, spread : float
        Median, and standard deviation of one flight about it, in the unit of the figure.
    flights : int
        From so many.
    why : str
        Why it is no baseline; "" where it is one.
    """

    figure: str
    value: float
    spread: float
    flights: int
    why: str = ""


def baseline_lines_of(desk: Desk, aircraft: str) -> list[BaselineLine]:
    """Give the baseline of an aircraft, from the flights of its present configuration.

    A flight that stood out is no sound one and is left out. A figure of which something is named
    has no baseline: what it was before it wore is not what it is now.

    Parameters
    ----------
    desk : Desk
        The record.
    aircraft : str
        Id of its file.

    Raises
    ------
    UsageError
        If the record knows no such aircraft.
    """
    desk.version(AIRCRAFT, aircraft)
    return [
        _line(course)
        for course in all_courses(desk)
        if (course.line.thing, course.line.id) == (AIRCRAFT, aircraft)
        and course.line.figure.startswith(_NOT_OF_THE_DAY)
    ]


def _line(course: Course) -> BaselineLine:
    figure, judged = course.line.figure, course.judged
    out = {jump.place for jump in judged.jumps}
    points = [p for k, p in enumerate(course.line.now.points) if k not in out]
    if len(points) < FEWEST:
        have = "1 sound flight" if len(points) == 1 else f"{len(points)} sound flights"
        return BaselineLine(figure, 0.0, 0.0, len(points), f"{have}, {FEWEST} are needed")
    if judged.named and judged.word != STANDS_OUT:
        return BaselineLine(figure, 0.0, 0.0, len(points), f"{judged.word}: look at it first")
    values = np.array([p.value for p in points])
    spread = float(np.std(values, ddof=1))
    # What every flight is uncertain by, few flights may not have shown.
    least = float(np.median([p.std for p in points])) / math.sqrt(len(points))
    return BaselineLine(figure, float(np.median(values)), max(spread, least), len(points))
