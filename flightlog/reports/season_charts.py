"""Charts over the flights of a season: a figure against another, and the course of one.

A flight is drawn where it has both numbers. Which flights lack one, and why, is told beside the
chart. No line is fitted: what a season shows is judged by eye here.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass

import numpy as np

from flightlog.operations.season_table import Number, SeasonRow, Verdict
from flightlog.reports.chart import Bound, Chart, Line, Panel
from flightlog.reports.numbers import with_unit
from flightlog.reports.plain import plain
from flightlog.reports.season_words import MEASURES, Measure

DATE = "date"
"""Id of the date as what a figure is drawn against."""
AIRCRAFT, PACK = "aircraft", "pack"
FEWEST = 3
"""Fewer points are no course of anything."""
MOST_GROUPS = 4
"""So many shapes can be told apart; all further groups share the last one."""

_DAY_S = 86_400.0


@dataclass(frozen=True, slots=True)
class Lacking:
    """Why some flights are not in a chart."""

    why: str
    flights: tuple[str, ...]


@dataclass(frozen=True, slots=True)
class Drawn:
    """A chart, how many flights are in it, and why the others are not.

    Attributes
    ----------
    chart : Chart
        Its ``lacking`` says why it is empty.
    shown : tuple of SeasonRow
        The flights that are drawn.
    lacking : tuple of Lacking
        The others, by reason; the commonest first.
    """

    chart: Chart
    shown: tuple[SeasonRow, ...]
    lacking: tuple[Lacking, ...]


def against(rows: Sequence[SeasonRow], x: str, y: str, by: str = AIRCRAFT) -> Drawn:
    """Draw a figure against another, or against the date; each aircraft or pack with its shape.

    Parameters
    ----------
    rows : sequence of SeasonRow
        The flights.
    x : str
        Key of `MEASURES`, or `DATE`.
    y : str
        Key of `MEASURES`.
    by : {"aircraft", "pack"}
        What has a shape of its own.
    """
    upward = MEASURES[y]
    shown = tuple(row for row in rows if not _why(row, (x, y)))
    across, unit = _dates(shown) if x == DATE else _axis(MEASURES[x])
    title = f"{upward.label} against {'the date' if x == DATE else MEASURES[x].label.lower()}"
    chart = Chart(
        id=_id("against", x, y),
        title=title,
        x_label=across,
        x_unit=unit,
        panels=_panel(shown, _places(shown, x), upward, by, ()) if shown else (),
        lacking="" if shown else "No flight here has both numbers; the reasons stand below.",
    )
    return Drawn(chart, shown, _lacking(rows, (x, y)))


def course(rows: Sequence[SeasonRow], y: str, by: str = AIRCRAFT) -> Drawn:
    """Draw a figure over the flights in the order in which they were flown, with its limits.

    Parameters
    ----------
    rows : sequence of SeasonRow
        The flights, in order.
    y : str
        Key of `MEASURES`.
    by : {"aircraft", "pack"}
        What has a shape of its own.
    """
    upward = MEASURES[y]
    shown = tuple(row for row in rows if not _why(row, (y,)))
    places = [float(k) for k, row in enumerate(rows, start=1) if row in shown]
    enough = len(shown) >= FEWEST
    chart = Chart(
        id=_id("course", y),
        title=f"{upward.label} over the season",
        x_label="Flights in the order in which they were flown",
        x_unit="",
        panels=_panel(shown, places, upward, by, _bounds(rows, y)) if enough else (),
        lacking="" if enough else _too_few(len(shown), upward),
    )
    return Drawn(chart, shown, _lacking(rows, (y,)))


def _too_few(count: int, measure: Measure) -> str:
    have = {0: "No flight has", 1: "One flight has", 2: "Two flights have"}[count]
    return f"{have} this figure: {measure.label}. From fewer than three nothing can be seen."


# --- what is drawn


def _panel(
    shown: Sequence[SeasonRow],
    places: Sequence[float],
    measure: Measure,
    by: str,
    bounds: Sequence[Bound],
) -> tuple[Panel, ...]:
    groups: dict[str, list[tuple[float, Number]]] = {}
    names = _group_names(shown, by)
    for row, place in zip(shown, places, strict=True):
        groups.setdefault(names[_group(row, by)], []).append((place, row.figures[measure.id]))
    lines = [_line(name, sorted(points, key=_x)) for name, points in groups.items()]
    return (Panel(measure.label, measure.unit, lines=lines, bounds=bounds),)


def _x(point: tuple[float, Number]) -> float:
    return point[0]


def _line(name: str, points: Sequence[tuple[float, Number]]) -> Line:
    columns = np.array([(x, n.value, n.low, n.high) for x, n in points], dtype=np.float64)
    x, y, low, high = columns.T
    return Line(plain(name, 60), x, y, low, high, stroke="points")


def _group(row: SeasonRow, by: str) -> str:
    return (row.record.pack if by == PACK else row.record.aircraft) or f"{by} not known"


def _group_names(shown: Iterable[SeasonRow], by: str) -> dict[str, str]:
    """Give the name under which each group is drawn; the last shape is for all that remain."""
    every = sorted({_group(row, by) for row in shown})
    rest = every[MOST_GROUPS - 1 :]
    names = {one: one for one in every}
    if len(every) > MOST_GROUPS:
        names.update((one, f"{len(rest)} others") for one in rest)
    return names


def _places(shown: Sequence[SeasonRow], x: str) -> list[float]:
    if x != DATE:
        return [row.figures[x].value for row in shown]
    first = min((row.record.began for row in shown), default=None)
    return [(row.record.began - first).total_seconds() / _DAY_S for row in shown if first]


def _dates(shown: Sequence[SeasonRow]) -> tuple[str, str]:
    first = min((row.record.began for row in shown), default=None)
    return (f"Days since {first:%Y-%m-%d %H:%M} UTC" if first else "Days"), "d"


def _axis(measure: Measure) -> tuple[str, str]:
    return measure.label, measure.unit


def _bounds(rows: Iterable[SeasonRow], figure: str) -> tuple[Bound, ...]:
    """Give the limits by which the latest flights judged a figure, each once."""
    found: dict[str, Verdict] = {}
    for row in rows:
        found.update((v.limit, v) for v in row.verdicts if v.figure == figure)
    return tuple(_bound(verdict) for verdict in found.values())


def _bound(verdict: Verdict) -> Bound:
    word = "at most" if verdict.op == "<=" else "at least"
    limit = with_unit(f"{verdict.bound:g}", verdict.unit)
    source = f" ({plain(verdict.source, 40)})" if verdict.source else ""
    return Bound(f"{word} {limit}{source}", verdict.bound, "<=" if verdict.op == "<=" else ">=")


def _id(*parts: str) -> str:
    return "-".join(parts).replace(".", "-").replace("_", "-")


# --- what is not


def _why(row: SeasonRow, figures: Iterable[str]) -> str:
    """Say why a flight has not all of some numbers, "" where it has."""
    for figure in figures:
        if figure != DATE and (why := row.why_lacking(figure)):
            return f"{MEASURES[figure].label}: {plain(why, 300)}"
    return ""


def _lacking(rows: Iterable[SeasonRow], figures: Sequence[str]) -> tuple[Lacking, ...]:
    reasons: dict[str, list[str]] = {}
    for row in rows:
        if why := _why(row, figures):
            reasons.setdefault(why, []).append(row.name)
    found = [Lacking(why, tuple(names)) for why, names in reasons.items()]
    return tuple(sorted(found, key=lambda one: -len(one.flights)))


def lacking_lines(drawn: Drawn) -> list[str]:
    """Say how many flights are in a chart, and why the others are not."""
    total = len(drawn.shown) + sum(len(one.flights) for one in drawn.lacking)
    lines = [f"{len(drawn.shown)} of {total} flights have what is drawn here."]
    for one in drawn.lacking:
        count = "1 flight lacks" if len(one.flights) == 1 else f"{len(one.flights)} flights lack"
        lines.append(f"{count} {one.why} ({', '.join(one.flights[:6])})")
    return lines
