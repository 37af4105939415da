"""A series as a chart: its flights, the line with its interval, ten flights ahead, its limits.

And the slope as a strip: a line with zero as a tick, the slope as a mark, its interval as a bar.
"""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from flightlog.figures import FIGURES
from flightlog.operations.trends import Course
from flightlog.prediction.trends import Ahead, Trend
from flightlog.prediction.wear import AHEAD
from flightlog.reports.chart import Bound, Chart, Line, Mark, Panel, Stroke
from flightlog.reports.look import INK, LINES
from flightlog.reports.plain import plain
from flightlog.reports.trends_words import BEYOND_DATA, edge_text, label_text, slope_text

_STEPS = 24
_WIDTH, _HEIGHT, _MARGIN = 420.0, 34.0, 12.0


def course_chart(course: Course) -> Chart:
    """Draw a series of the present part; one of too few flights says so."""
    part, trend = course.line.now, course.judged.trend
    kind = FIGURES[course.line.figure]
    id_ = f"trend-{course.line.id}-{course.line.figure}".replace(".", "-").replace("_", "-")
    title = f"{label_text(course)}, {course.line.thing} {plain(course.line.id, 60)}"
    word = "Cycle of the pack" if course.line.thing == "pack" else "Flight of the aircraft"
    if trend is None:
        return Chart(id_, title, word, lacking=f"{label_text(course)}: {course.judged.why}.")
    columns = np.array([(p.number, p.value, p.low, p.high) for p in part.points]).T
    flown = Line("flights", columns[0], columns[1], columns[2], columns[3], stroke="points")
    end = course.end
    ahead = f"next flights, {BEYOND_DATA}"
    lines = [
        flown,
        _line(course.level, trend.first, end, "line", "solid"),
        _line(course.flight, end, end + AHEAD, ahead, "dashed"),
    ]
    bounds = tuple(
        Bound(edge_text(course, state), state.edge.value, state.edge.op)
        for state in course.judged.edges
        if _is_near(state.edge.value, columns, trend)
    )
    marks = [
        Mark(f"{part.points[jump.place].name} stands out", float(part.points[jump.place].number))
        for jump in course.judged.jumps[-3:]
    ]
    return Chart(
        id_,
        title,
        word,
        "",
        (Panel(label_text(course), kind.unit, lines=lines, bounds=bounds),),
        marks=marks,
    )


def _line(
    of: Callable[[float], Ahead], first: float, last: float, name: str, stroke: Stroke
) -> Line:
    x = np.linspace(first, last, _STEPS)
    columns = np.array([(one.value, one.low, one.high) for one in map(of, x)]).T
    return Line(name, x, columns[0], columns[1], columns[2], stroke=stroke)


def _is_near(bound: float, columns: np.ndarray, trend: Trend) -> bool:
    """Whether a limit is near enough to be drawn: a far one would press all flights flat."""
    far = trend.flight(trend.last + AHEAD)
    low = min(float(columns[2].min()), far.low)
    high = max(float(columns[3].max()), far.high)
    room = 2 * (high - low)
    return low - room <= bound <= high + room


def slope_strip(course: Course) -> tuple[str, str]:
    """Draw the slope with its interval against zero, as SVG, and say the same in words."""
    trend = course.judged.trend
    says = f"Slope {slope_text(course)}"
    if trend is None:
        return "", says
    slope = trend.slope
    things = (0.0, slope.low, slope.high)
    left, right = min(things), max(things)
    size = (right - left) or 1.0

    def place(value: float) -> float:
        return _MARGIN + (value - left) / size * (_WIDTH - 2 * _MARGIN)

    middle = 0.5 * _HEIGHT
    low, at, high, zero = place(slope.low), place(slope.value), place(slope.high), place(0.0)
    diamond = f"{at:.1f},{middle - 7:.1f} {at + 7:.1f},{middle:.1f} {at:.1f},{middle + 7:.1f} "
    diamond += f"{at - 7:.1f},{middle:.1f}"
    svg = (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {_WIDTH:.0f} {_HEIGHT:.0f}" '
        f'width="{_WIDTH:.0f}" height="{_HEIGHT:.0f}">'
        f'<line x1="0" x2="{_WIDTH:.0f}" y1="{middle}" y2="{middle}" stroke="{INK}"/>'
        f'<rect x="{low:.1f}" width="{max(high - low, 1):.1f}" y="{middle - 4}" height="8" '
        f'fill="{LINES[3]}"/>'
        f'<line x1="{zero:.1f}" x2="{zero:.1f}" y1="2" y2="{_HEIGHT - 2:.0f}" stroke="{INK}" '
        'stroke-width="3"/>'
        f'<polygon points="{diamond}" fill="{INK}"/></svg>'
    )
    return svg, says
