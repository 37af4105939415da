"""Pieces of pictures for paper: plain SVG 1.1 with nothing from anywhere, in black and greys.

Texts are escaped here and nowhere else. There are no ids and no styles, so that any number of
pictures can stand on one page.
"""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from flightlog.reports.chart import Array, Line, Spot
from flightlog.reports.look import INK, PAPER, SHADE, THIN
from flightlog.reports.markup import escaped
from flightlog.reports.plain import plain
from flightlog.reports.thinning import thinned

TEXT, SMALL = 13.0, 12.0
"""Sizes of letters: names, and numbers of axes. [px]"""
_BESIDE = 8
"""Between a spot and its label. [px]"""
DASHES = {"solid": "", "dashed": "9 5", "dotted": "1.5 4.5", "points": ""}
SHAPES = ("circle", "square", "triangle", "cross")
LARGEST = 1e12
"""A larger number is none that anything of the kind measures; it is drawn as a gap."""
_SMALLEST = 1e-300
_APART = 7.0
_LETTER = 0.54
_STEPS = (1.0, 2.0, 5.0, 10.0)

Point = tuple[float, float]


def svg(width: float, height: float, says: str, parts: Sequence[str]) -> str:
    """Give a whole picture; ``says`` is read out where it can't be seen."""
    return (
        f'<svg xmlns="http://www.w3.org/2000/svg" viewBox="0 0 {width:g} {height:g}" '
        f'width="{width:g}" height="{height:g}" role="img" aria-label="{clean(says, 300)}" '
        f'font-family="sans-serif" font-size="{TEXT:g}" fill="{INK}">{"".join(parts)}</svg>'
    )


def clean(text: str, longest: int = 80) -> str:
    """Give a text of one line that is only text."""
    return escaped(plain(text, longest).replace("\n", " "))


def words(
    x: float, y: float, text: str, *, anchor: str = "start", size: float = TEXT, bold: bool = False
) -> str:
    """Write a text; y is where its letters stand."""
    weight = ' font-weight="bold"' if bold else ""
    return (
        f'<text x="{x:.1f}" y="{y:.1f}" text-anchor="{anchor}" font-size="{size:g}"{weight}>'
        f"{clean(text, 160)}</text>"
    )


def wide(text: str, size: float = TEXT, *, bold: bool = False) -> float:
    """Say about how wide a text is. [px]"""
    return (1.08 if bold else 1.0) * _LETTER * size * len(text)


def folded(text: str, room: float, size: float = SMALL) -> list[str]:
    """Break a text into lines that fit into some room [px]."""
    lines = [""]
    for word in text.split():
        longer = f"{lines[-1]} {word}".strip()
        if lines[-1] and wide(longer, size) > room:
            lines.append(word)
        else:
            lines[-1] = longer
    return lines if lines[0] else []


def rule(
    x1: float, y1: float, x2: float, y2: float, ink: str = INK, width: float = 1.0, dash: str = ""
) -> str:
    """Draw a straight line."""
    dashes = f' stroke-dasharray="{dash}"' if dash else ""
    return (
        f'<line x1="{x1:.1f}" y1="{y1:.1f}" x2="{x2:.1f}" y2="{y2:.1f}" stroke="{ink}" '
        f'stroke-width="{width:g}"{dashes}/>'
    )


def box(x: float, y: float, width: float, height: float, fill: str) -> str:
    """Draw a filled box."""
    return (
        f'<rect x="{x:.1f}" y="{y:.1f}" width="{width:.1f}" height="{height:.1f}" fill="{fill}"/>'
    )


def shape(kind: str, x: float, y: float, size: float = 5.0) -> str:
    """Draw a sign around a place, with paper around it."""
    edge = f'fill="{PAPER}" stroke="{INK}" stroke-width="1.8"'
    if kind == "square":
        corner, side = f'x="{x - size:.1f}" y="{y - size:.1f}"', 2 * size
        return f'<rect {corner} width="{side:g}" height="{side:g}" {edge}/>'
    if kind == "triangle":
        up, down, side = y - 1.2 * size, y + 0.9 * size, 1.2 * size
        return f'<path d="M{x:.1f} {up:.1f}L{x + side:.1f} {down:.1f}H{x - side:.1f}Z" {edge}/>'
    if kind == "cross":
        long = 2 * size
        arms = f"l{long:g} {long:g}m0 {-long:g}l{-long:g} {long:g}"
        pen_ = f'fill="none" stroke="{INK}" stroke-width="2"'
        return f'<path d="M{x - size:.1f} {y - size:.1f}{arms}" {pen_}/>'
    return f'<circle cx="{x:.1f}" cy="{y:.1f}" r="{size:g}" {edge}/>'


# --- axes


@dataclass(frozen=True, slots=True)
class Axis:
    """From which number to which an axis goes, and where that is on the picture."""

    low: float
    high: float
    begin: float
    end: float

    def at(self, value: float) -> float:
        """Give the place of a number; what lies beyond the axis stands at its end. [px]"""
        share = (value - self.low) / ((self.high - self.low) or 1.0)
        return self.begin + min(1.0, max(0.0, share)) * (self.end - self.begin)

    def places(self, values: Array) -> Array:
        """Give the places of many numbers. [px]"""
        share = (values - self.low) / ((self.high - self.low) or 1.0)
        return np.asarray(self.begin + np.clip(share, 0.0, 1.0) * (self.end - self.begin))

    def ticks(self, most: int) -> list[tuple[float, str]]:
        """Give round numbers on the axis, about so many, with their text; two at least."""
        if not (math.isfinite(self.low) and math.isfinite(self.high) and self.high > self.low):
            return []
        step = round_step((self.high - self.low) / max(1, most))
        found = self.every(step)
        return found if len(found) > 1 else self.every(round_step(0.4 * step))

    def every(self, step: float) -> list[tuple[float, str]]:
        """Give all multiples of a step on the axis, with their text."""
        first, last = math.ceil(self.low / step - 1e-9), math.floor(self.high / step + 1e-9)
        decimals = min(9, max(0, -math.floor(math.log10(step) + 1e-9)))
        # Adding nothing makes 0 of -0.
        found = [round(step * n, decimals) + 0.0 for n in range(first, last + 1)]
        return [(value, f"{value:.{decimals}f}") for value in found]


def spotted(spot: Spot, x: Axis, y: Axis) -> Iterator[str]:
    """Draw a spot, and its label on the side where there is room."""
    at, level = x.at(spot.x), y.at(spot.y)
    yield shape(spot.shape, at, level)
    if spot.label:
        left = at + _BESIDE + wide(spot.label, SMALL) > x.end
        place, anchor = (at - _BESIDE, "end") if left else (at + _BESIDE, "start")
        yield words(place, level - 10, spot.label, anchor=anchor, size=SMALL)


def round_step(least: float) -> float:
    """Give the next 1, 2 or 5 with any power of ten that is not less."""
    least = max(least, _SMALLEST)  # shares of a smaller number come to nothing
    power = 10.0 ** math.floor(math.log10(least))
    return next(power * s for s in _STEPS if power * s >= least * (1 - 1e-9))


def limits(values: Sequence[Array | float]) -> tuple[float, float] | None:
    """Give the lowest and highest number of many; None without any."""
    flat = np.concatenate(
        [np.atleast_1d(np.asarray(v, dtype=np.float64)) for v in values] or [np.empty(0)]
    )
    good = flat[np.abs(flat) < LARGEST]  # which is false for NaN
    return (float(good.min()), float(good.max())) if good.size else None


# --- lines


def line(one: Line, x: Axis, y: Axis, most: int, *, plane: bool = False, sign: int = 0) -> str:
    """Draw a line with its band, with at most so many points.

    Parameters
    ----------
    one : Line
        What to draw.
    x, y : Axis
        Where.
    most : int
        So many points are drawn, at the most.
    plane : bool
        Whether x is a place too, as on a map.
    sign : int
        Which of `SHAPES` its points have.
    """
    few = thinned(one, most, plane=plane)
    stretches = list(runs(few))
    if one.stroke == "points":
        return "".join(_points(few, rows, x, y, sign) for rows in stretches)
    band = "".join(_band(few, rows, x, y) for rows in stretches)
    return band + "".join(_stroke(few, rows, x, y) for rows in stretches)


def runs(one: Line) -> Iterator[NDArray[np.intp]]:
    """Give the rows of each stretch of a line that has no gap."""
    with np.errstate(invalid="ignore"):
        good = (np.abs(one.y) < LARGEST) & (np.abs(one.x) < LARGEST)
    rows = np.flatnonzero(good)
    if rows.size:
        yield from np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1)


def pen(one: Line) -> str:
    """Give how a line is drawn: strong, with a stroke of its own, or thin behind the others."""
    if one.strong:
        ink, width = INK, 2.2 if one.stroke != "dotted" else 2.6
    elif one.stroke == "solid":
        ink, width = THIN, 1.1
    else:
        ink, width = INK, 1.4
    dash = f' stroke-dasharray="{DASHES[one.stroke]}"' if DASHES[one.stroke] else ""
    return f'stroke="{ink}" stroke-width="{width:g}" stroke-linejoin="round"{dash}'


def _stroke(one: Line, rows: NDArray[np.intp], x: Axis, y: Axis) -> str:
    places = np.column_stack([x.places(one.x[rows]), y.places(one.y[rows])])
    if len(places) == 1:  # a line of one point has no length
        places = places + np.array([[-1.0, 0.0], [1.0, 0.0]])
    return f'<polyline points="{_listed(places)}" fill="none" {pen(one)}/>'


def _band(one: Line, rows: NDArray[np.intp], x: Axis, y: Axis) -> str:
    if one.low is None or one.high is None:
        return ""
    good = rows[np.isfinite(one.low[rows]) & np.isfinite(one.high[rows])]
    if good.size < 2:
        return ""
    across = x.places(one.x[good])
    upper = np.column_stack([across, y.places(one.high[good])])
    lower = np.column_stack([across, y.places(one.low[good])])[::-1]
    return f'<polygon points="{_listed(np.concatenate([upper, lower]))}" fill="{SHADE}"/>'


def _points(one: Line, rows: NDArray[np.intp], x: Axis, y: Axis, sign: int) -> str:
    """Draw single points, each with its interval; those that would lie on another are left out."""
    parts: list[str] = []
    last: Point | None = None
    for row in rows.tolist():
        at = x.at(float(one.x[row])), y.at(float(one.y[row]))
        if last is not None and math.dist(at, last) < _APART and one.low is None:
            continue
        last = at
        if one.low is not None and one.high is not None:
            ends = y.at(float(one.low[row])), y.at(float(one.high[row]))
            parts.append(rule(at[0], ends[0], at[0], ends[1], INK, 1.4))
        parts.append(shape(SHAPES[sign % len(SHAPES)], *at, 3.6 if one.low is not None else 2.4))
    return "".join(parts)


def _listed(places: Array) -> str:
    return " ".join(f"{px:.1f},{py:.1f}" for px, py in places.tolist())


# --- legends


@dataclass(frozen=True, slots=True)
class Sample:
    """An entry of a legend: how something is drawn, and what it is."""

    name: str
    drawn: str
    """A picture in a box of `SAMPLE` by 12 pixels whose middle is the origin."""


SAMPLE = 34.0


def samples(lines: Sequence[Line], *, bands: bool = True) -> list[Sample]:
    """Give the legend of lines, strong ones first; those that look alike share an entry."""
    found: dict[str, list[str]] = {}
    signed = zip(lines, point_signs(lines), strict=True)
    for one, sign in sorted(signed, key=lambda pair: not pair[0].strong):
        if one.stroke == "points":
            drawn = shape(SHAPES[sign % len(SHAPES)], 0, 0, 3.6)
        else:
            half = SAMPLE / 2 - 2
            drawn = f'<path d="M{-half:g} 0H{half:g}" fill="none" {pen(one)}/>'
        found.setdefault(drawn, []).append(one.name)
    entries = [Sample(", ".join(names), drawn) for drawn, names in found.items()]
    if bands and any(one.low is not None and one.stroke != "points" for one in lines):
        entries.append(Sample("95 % interval", box(2 - SAMPLE / 2, -5, SAMPLE - 4, 10, SHADE)))
    return entries


def point_signs(lines: Sequence[Line]) -> list[int]:
    """Count the lines that are drawn as points, so that each has a sign of its own."""
    signs, count = [], 0
    for one in lines:
        signs.append(count)
        count += one.stroke == "points"
    return signs


def placed(entries: Sequence[Sample], left: float, right: float, first: float = 0.0) -> list[Point]:
    """Give where each entry begins, in rows: x [px] and number of the row.

    The first row begins further right by ``first``.
    """
    places: list[Point] = []
    x, row = left + first, 0
    for entry in entries:
        size = SAMPLE + 6 + wide(entry.name, SMALL) + 14
        if x > left and x + size > right + 14:
            x, row = left, row + 1
        places.append((x, row))
        x += size
    return places


def legend(entries: Sequence[Sample], places: Sequence[Point], top: float, step: float) -> str:
    """Draw a legend whose rows begin at ``top``, a step [px] apart."""
    parts = []
    for entry, (x, row) in zip(entries, places, strict=True):
        y = top + row * step
        parts.append(
            f'<g transform="translate({x + SAMPLE / 2:.1f} {y - 4:.1f})">{entry.drawn}</g>'
        )
        parts.append(words(x + SAMPLE + 5, y, entry.name, size=SMALL))
    return "".join(parts)
