"""Small charts of one channel over time, as SVG that a page holds within itself.

Black and grey only, so that a print on paper loses nothing. Values are drawn to the scale of their
own lowest and highest; a gap in the data stays a gap in the line.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from itertools import pairwise

from flightlog.reports.look import FAINT, GREY, INK
from flightlog.reports.markup import escaped

_WIDE, _HIGH = 760.0, 130.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 96.0, 12.0, 8.0, 22.0
_ON_SCREEN = 1.5
"""Words of 11 px are 16 px high then."""
_STEPS_S = (1.0, 2.0, 5.0, 10.0, 20.0, 60.0, 300.0, 3600.0)
_MOST_TICKS = 9

Point = tuple[float, float]


@dataclass(frozen=True, slots=True)
class _Frame:
    """Where times and values lie in the picture."""

    begin: float
    end: float
    low: float
    high: float

    def x(self, time_s: float) -> float:
        share = (time_s - self.begin) / ((self.end - self.begin) or 1.0)
        return _LEFT + (_WIDE - _LEFT - _RIGHT) * share

    def y(self, value: float) -> float:
        # Halves first: the difference of two numbers may be none that a float holds.
        half = self.high / 2.0 - self.low / 2.0
        share = (value / 2.0 - self.low / 2.0) / half if half > 0 else 0.5
        return _HIGH - _BOTTOM - (_HIGH - _TOP - _BOTTOM) * share


def line_chart(
    time_s: Sequence[float],
    value: Sequence[float],
    unit: str = "",
    *,
    span: tuple[float, float],
    gaps: Sequence[bool] = (),
) -> str:
    """Draw one channel as a line, with axes: time in seconds, values in their unit.

    Parameters
    ----------
    time_s, value : sequence of float
        Times that rise, and values; finite, at least one.
    unit : str
        Of the values; not escaped yet.
    span : tuple of float
        First and last time of the axis [s].
    gaps : sequence of bool
        Whether there is no line to each point from the one before it; none without it.
    """
    frame = _Frame(*span, min(value), max(value))
    parts = [
        f'<svg viewBox="0 0 {_WIDE:.0f} {_HIGH:.0f}" width="100%" font-size="11" '
        f'font-family="sans-serif" fill="{INK}">',
        *_axes(frame, unit),
    ]
    for run in _runs(list(zip(time_s, value, strict=True)), gaps):
        places = [f"{frame.x(t):.1f},{frame.y(v):.1f}" for t, v in run]
        if len(places) == 1:
            x, _, y = places[0].partition(",")
            parts.append(f'<circle cx="{x}" cy="{y}" r="1.5" fill="{INK}"/>')
        else:
            parts.append(f'<polyline points="{" ".join(places)}" fill="none" stroke="{INK}"/>')
    return "".join((*parts, "</svg>"))


def _axes(frame: _Frame, unit: str) -> Iterator[str]:
    bottom = _HIGH - _BOTTOM
    yield (
        f'<rect x="{_LEFT}" y="{_TOP}" width="{_WIDE - _LEFT - _RIGHT}" height="{bottom - _TOP}" '
        f'fill="none" stroke="{GREY}"/>'
    )
    for tick in _ticks(frame.begin, frame.end):
        x = frame.x(tick)
        shade = GREY if tick == 0 else FAINT
        yield f'<path d="M{x:.1f} {_TOP}V{bottom}" stroke="{shade}"/>'
        label = f"{tick:g} s" if tick == 0 else f"{tick:g}"
        yield f'<text x="{x:.1f}" y="{_HIGH - 7}" text-anchor="middle">{label}</text>'
    values = (frame.high, frame.low) if frame.high > frame.low else (frame.low,)
    for value, number in zip(values, _numbers(values), strict=True):
        text = escaped(f"{number} {unit}".strip())
        yield f'<text x="{_LEFT - 5}" y="{frame.y(value) + 4:.1f}" text-anchor="end">{text}</text>'


def _numbers(values: Sequence[float]) -> list[str]:
    """Write values with so many digits that they can be told from each other."""
    for digits in range(4, 17):
        found = [f"{value:.{digits}g}" for value in values]
        if len(set(found)) == len(values):
            return found
    return [repr(value) for value in values]


def _ticks(begin: float, end: float) -> list[float]:
    step = next((s for s in _STEPS_S if (end - begin) / s <= _MOST_TICKS), end - begin or 1.0)
    first = math.ceil(begin / step)
    return [step * n for n in range(first, math.floor(end / step) + 1)][: _MOST_TICKS + 1]


def _runs(points: Sequence[Point], gaps: Sequence[bool]) -> Iterator[list[Point]]:
    """Cut a line where it has gaps."""
    starts = [0, *(i for i, gap in enumerate(gaps) if gap and i), len(points)]
    for start, end in pairwise(starts):
        yield list(points[start:end])


def as_image(svg: str) -> str:
    """Give a chart as a picture that stands by itself, so large that a screen shows its words."""
    wide, high = _ON_SCREEN * _WIDE, _ON_SCREEN * _HIGH
    sized = f'<svg xmlns="http://www.w3.org/2000/svg" width="{wide:g}" height="{high:g}" '
    return svg.replace("<svg ", sized, 1).replace(' width="100%"', "", 1)
