"""A chart for paper: panels over each other with one axis across, in black and greys.

What the chart tells by strokes and words it tells without colour. Nothing is loaded from anywhere,
and the same picture goes into a page of HTML and into a PDF.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

from flightlog.reports.chart import Bound, Chart, Mark, Panel
from flightlog.reports.look import FAINT, INK, SHADE
from flightlog.reports.map_svg import map_svg
from flightlog.reports.numbers import with_unit
from flightlog.reports.svg_pieces import (
    SAMPLE,
    SMALL,
    TEXT,
    Axis,
    Point,
    Sample,
    box,
    folded,
    legend,
    limits,
    line,
    placed,
    point_signs,
    rule,
    samples,
    shape,
    spotted,
    svg,
    wide,
    words,
)

_LEFT, _RIGHT, _MOST_RIGHT = 54.0, 14.0, 150.0
_HEADER, _UNDER, _ROW, _FOOT, _APART = 19.0, 4.0, 16.0, 38.0, 9.0
_PANEL, _LEAST_PANEL = {1: 230.0, 2: 150.0, 3: 120.0}, 36.0
_OTHERWISE = 105.0
_MOST_LEVELS = 4
_ROOM = 0.07
_BOUND = "12 4 2 4"
_FARTHEST_BOUND = 1.0
"""A bound is drawn if that makes the axis longer by no more than its own length."""


def chart_svg(chart: Chart, width: float = 720, height: float | None = None) -> str:
    """Draw a chart for paper.

    Parameters
    ----------
    chart : Chart
        What to draw. One that lacks everything says so.
    width : float
        Of the picture. [px]
    height : float, optional
        Of the picture; as high as its panels need when not given. [px]

    Returns
    -------
    str
        An ``<svg>`` without ids, styles, scripts or anything from outside.
    """
    panels = [p for p in chart.panels if limits([*(one.y for one in p.lines)]) is not None]
    if not panels:
        return _nothing(chart, width)
    if chart.map:
        return map_svg(chart, width, height)
    sheet = _Sheet.of(chart, panels, width, height)
    parts = [*_marks_behind(sheet)]
    for panel, place in zip(panels, sheet.places, strict=True):
        parts += _panel(panel, place, sheet)
    parts += [*_marks(sheet), *_foot(sheet)]
    return svg(width, sheet.height, chart.title, parts)


def _nothing(chart: Chart, width: float) -> str:
    text = chart.lacking or "There is nothing to draw."
    rows = folded(text, width - 20, TEXT)
    parts = [words(10, 22 + 18 * n, row) for n, row in enumerate(rows)]
    return svg(width, 22 + 18 * len(rows), f"{chart.title}: {text}", parts)


# --- where everything stands


@dataclass(frozen=True, slots=True)
class _Place:
    """Where a panel stands, its legend, and those of its bounds that its axis takes in. [px]"""

    header: float
    y: Axis
    entries: list[Sample]
    legend: list[Point]
    bounds: list[Bound]

    @property
    def top(self) -> float:
        return self.y.end

    @property
    def bottom(self) -> float:
        return self.y.begin


@dataclass(frozen=True, slots=True)
class _Sheet:
    """A chart with the places of all its parts."""

    chart: Chart
    x: Axis
    places: list[_Place]
    levels: list[int | None]
    foot: list[str]
    height: float

    @classmethod
    def of(
        cls, chart: Chart, panels: Sequence[Panel], width: float, height: float | None
    ) -> _Sheet:
        x = _across(chart, panels, width)
        levels = _levels(chart.marks, x)
        above = _ROW * (max((n for n in levels if n is not None), default=-1) + 1)
        ends = [_upward(panel) for panel in panels]
        entries = _legends(panels, [off for _, _, off in ends])
        legends = [
            placed(each, _LEFT, width - 4, _title_wide(panel) + 14)
            for panel, each in zip(panels, entries, strict=True)
        ]
        headers = [_HEADER + _ROW * max((row for _, row in each), default=0) for each in legends]
        foot = folded(chart.left_out, width - 8)
        between = (_APART + _UNDER) * (len(panels) - 1)
        taken = above + sum(headers) + between + _FOOT + _ROW * len(foot)
        high = _PANEL.get(len(panels), _OTHERWISE)
        if height is not None:
            high = max(_LEAST_PANEL, (height - taken) / len(panels))
        top, places = 0.0, []
        for n, panel in enumerate(panels):
            low, upper, off = ends[n]
            plot = top + headers[n] + (above if n == 0 else _UNDER)
            y = Axis(low, upper, plot + high, plot)
            inside = [bound for bound in panel.bounds if bound not in off]
            places.append(_Place(top, y, entries[n], legends[n], inside))
            top = plot + high + _APART
        return cls(chart, x, places, levels, foot, top - _APART + _FOOT + _ROW * len(foot))


def _title(panel: Panel) -> str:
    return f"{panel.label}, {panel.unit}" if panel.unit else panel.label


def _title_wide(panel: Panel) -> float:
    return wide(_title(panel), bold=True)


def _legends(panels: Sequence[Panel], off: Sequence[Sequence[Bound]]) -> list[list[Sample]]:
    """Give the legend of each panel: what a panel above has told is not told again."""
    told: set[Sample] = set()
    legends = []
    for panel, away in zip(panels, off, strict=True):
        new = [entry for entry in _entries(panel, away) if entry not in told]
        told.update(new)
        legends.append(new)
    return legends


def _entries(panel: Panel, off: Sequence[Bound]) -> list[Sample]:
    """Give all entries of a panel; a single line is what the panel is called."""
    entries = samples(panel.lines)
    if len(panel.lines) == 1:
        entries = entries[1:]
    kinds = {spot.name: spot.shape for spot in panel.spots}
    entries += [Sample(name, shape(kind, 0, 0)) for name, kind in kinds.items()]
    half = SAMPLE / 2 - 2
    for bound in panel.bounds:
        where = " (outside the picture)" if bound in off else ""
        drawn = rule(-half, 0, half, 0, INK, 1.8, _BOUND)
        entries.append(Sample(f"{bound.name}{where}", drawn))
    return entries


def _across(chart: Chart, panels: Sequence[Panel], width: float) -> Axis:
    """Give the axis across, with room for the name of a mark near its right end."""
    lines = [one.x for panel in panels for one in panel.lines]
    spots = [spot.x for panel in panels for spot in panel.spots]
    low, high = limits([*lines, *spots, *(mark.x for mark in chart.marks)]) or (0.0, 1.0)
    if all(one.stroke == "points" for panel in panels for one in panel.lines):
        room = 0.04 * (high - low) or 1.0
        low, high = low - room, high + room
    if high <= low:
        low, high = low - 0.5, high + 0.5
    right = _RIGHT
    for mark in chart.marks:
        share = (mark.x - low) / (high - low)
        needed = wide(mark.name, SMALL) + 4
        if share > 0:
            right = max(right, (_LEFT + share * (width - _LEFT) + needed - width) / share)
    return Axis(low, high, _LEFT, width - min(right, _MOST_RIGHT, 0.4 * width))


def _upward(panel: Panel) -> tuple[float, float, list[Bound]]:
    """Give the ends of the axis upward, and the bounds that lie too far away to be drawn."""
    bands = [b for one in panel.lines for b in (one.low, one.high) if b is not None]
    lines = [one.y for one in panel.lines]
    low, high = limits([*lines, *bands, *(spot.y for spot in panel.spots)]) or (0.0, 1.0)
    length = (high - low) or abs(high) or 1.0
    off = []
    first, last = low, high
    for bound in panel.bounds:
        if low - _FARTHEST_BOUND * length <= bound.value <= high + _FARTHEST_BOUND * length:
            first, last = min(first, bound.value), max(last, bound.value)
        else:
            off.append(bound)
    room = _ROOM * ((last - first) or abs(last) or 1.0)
    return first - room, last + room, off


def _levels(marks: Sequence[Mark], x: Axis) -> list[int | None]:
    """Give the row of each name above the plot, from below; None where there is no room.

    A name stands right of its line and above the names that follow it closely, so that no line
    goes through a name.
    """
    order = sorted(range(len(marks)), key=lambda n: marks[n].x, reverse=True)
    levels: list[int | None] = [None] * len(marks)
    taken: list[tuple[float, int]] = []
    for n in order:
        at = x.at(marks[n].x)
        if not marks[n].name:
            continue
        end = at + wide(marks[n].name, SMALL) + 8
        level = max((below + 1 for place, below in taken if place < end), default=0)
        if level < _MOST_LEVELS:
            levels[n] = level
            taken.append((at, level))
    return levels


# --- drawing


def _panel(panel: Panel, place: _Place, sheet: _Sheet) -> Iterator[str]:
    x, y = sheet.x, place.y
    yield words(_LEFT, place.header + 14, _title(panel), bold=True)
    yield legend(place.entries, place.legend, place.header + 14, _ROW)
    last_at = math.inf
    for value, text in y.ticks(max(2, int((y.begin - y.end) / 32))):
        at = y.at(value)
        yield rule(x.begin, at, x.end, at, FAINT)
        if last_at - at >= SMALL:  # a number must not lie on another
            yield words(x.begin - 7, at + 4, text, anchor="end", size=SMALL)
            last_at = at
    last = place is sheet.places[-1]
    for value, text in x.ticks(max(3, int((x.end - x.begin) / 72))):
        yield rule(x.at(value), y.end, x.at(value), y.begin, FAINT)
        if last:
            yield words(x.at(value), y.begin + 16, text, anchor="middle", size=SMALL)
    yield _frame(x, y)
    signs = point_signs(panel.lines)
    most = max(64, int(2 * (x.end - x.begin)))
    for one, sign in zip(panel.lines, signs, strict=True):
        yield line(one, x, y, most, sign=sign)
    for spot in panel.spots:
        yield from spotted(spot, x, y)
    for bound in place.bounds:
        at = y.at(bound.value)
        yield rule(x.begin, at, x.end, at, INK, 1.8, _BOUND)


def _frame(x: Axis, y: Axis) -> str:
    return (
        f'<path d="M{x.begin:.1f} {y.end:.1f}V{y.begin:.1f}H{x.end:.1f}" fill="none" '
        f'stroke="{INK}" stroke-width="1.4"/>'
    )


def _marks_behind(sheet: _Sheet) -> Iterator[str]:
    for mark in sheet.chart.marks:
        if mark.low is None or mark.high is None:
            continue
        left, right = sheet.x.at(mark.low), sheet.x.at(mark.high)
        for place in sheet.places:
            yield box(left, place.top, max(right - left, 0.5), place.bottom - place.top, SHADE)


def _marks(sheet: _Sheet) -> Iterator[str]:
    for mark, level in zip(sheet.chart.marks, sheet.levels, strict=True):
        at = sheet.x.at(mark.x)
        width, dash = (2.0, _BOUND) if mark.limit else (1.1, "")
        for place in sheet.places:
            yield rule(at, place.top, at, place.bottom, INK, width, dash)
        if level is not None:
            base = sheet.places[0].top - 4 - _ROW * level
            yield rule(at, base - 9, at, sheet.places[0].top, INK, 0.8)
            yield words(at + 4, base, mark.name, size=SMALL)


def _foot(sheet: _Sheet) -> Iterator[str]:
    bottom = sheet.places[-1].bottom
    label = with_unit(f"{sheet.chart.x_label},", sheet.chart.x_unit).rstrip(",")
    yield words((sheet.x.begin + sheet.x.end) / 2, bottom + 33, label, anchor="middle")
    for n, text in enumerate(sheet.foot):
        yield words(4, bottom + _FOOT + 12 + _ROW * n, text, size=SMALL)
