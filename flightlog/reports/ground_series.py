"""Figures of ground tests over time: a table for each test of a part, and a figure as a chart."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

import numpy as np

from flightlog.figures import LEVEL
from flightlog.ground_figures import GROUND_FIGURES
from flightlog.operations.ground_history import GroundSeries
from flightlog.reports.chart import Chart, Line, Panel
from flightlog.reports.ground_history_words import (
    HISTORY_HEAD,
    history_cells,
    label_of,
    title_of,
)
from flightlog.reports.ground_words import FIRST_SAID
from flightlog.uncertain import Uncertain

SERIES_HEAD = HISTORY_HEAD
SERIES_NUMBERS = ("Tests", "First", "Last", "Change since the first", "95 % interval")
_UNITS = (("Days", 86_400.0), ("Hours", 3_600.0), ("Minutes", 60.0))
"""What time is counted in: the first of which there are two."""
_ROOM = 0.04


def grouped(every: Iterable[GroundSeries]) -> list[tuple[str, list[GroundSeries]]]:
    """Put the series of one kind of test of one part together, under their title."""
    found: dict[str, list[GroundSeries]] = {}
    for series in every:
        found.setdefault(title_of(series), []).append(series)
    return [(title, _in_order(group)) for title, group in found.items()]


def _in_order(group: Sequence[GroundSeries]) -> list[GroundSeries]:
    order = GROUND_FIGURES.ordered([series.figure for series in group])
    return sorted(group, key=lambda series: order.index(series.figure))


def series_rows(every: Sequence[GroundSeries]) -> list[tuple[str, ...]]:
    """Give series as rows of `SERIES_HEAD`."""
    return [history_cells(series) for series in every]


def first_looked_at(group: Sequence[GroundSeries]) -> int:
    """Give the place of the figure that is looked at first: what answers the test's question."""
    figures = [one.figure for one in group]
    wanted = FIRST_SAID.get(group[0].test, ())
    return next((figures.index(figure) for figure in wanted if figure in figures), 0)


def series_chart(series: GroundSeries) -> Chart:
    """Draw a figure from test to test, each with its 95 % interval, and the first one's level."""
    id_ = f"ground-{series.test}-{series.figure}".replace(".", "-").replace("_", "-")
    label, first = label_of(series), series.points[0].when
    title = f"{label} over time"
    if len(series.points) < 2:
        return Chart(id_, title, lacking="One test only: the next one shows whether it moves.")
    seconds = np.array([(p.when - first).total_seconds() for p in series.points])
    unit, one_s = next(u for u in _UNITS if seconds[-1] >= 2 * u[1] or u is _UNITS[-1])
    x = seconds / one_s
    values, low, high = np.array([_ends(point.figure) for point in series.points]).T
    room = _ROOM * (float(x[-1]) or 1.0)
    ends = np.array([-room, float(x[-1]) + room])
    lines = (
        Line("tests, 95 % interval", x, values, low, high, stroke="points"),
        Line("first test", ends, np.array([values[0], values[0]]), stroke="dashed"),
    )
    since = f"{unit} since the first test, {first:%Y-%m-%d}"
    return Chart(id_, title, since, "", (Panel(label, series.unit, lines=lines),))


def _ends(figure: Uncertain) -> tuple[float, float, float]:
    low, high = figure.interval(LEVEL)
    return figure.value, low, high
