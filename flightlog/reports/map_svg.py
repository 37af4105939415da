"""A map for paper: metres east and north to one scale, with a scale bar and an arrow to north."""

from __future__ import annotations

from collections.abc import Iterator

from flightlog.reports.chart import Chart, Panel
from flightlog.reports.look import FAINT, INK
from flightlog.reports.numbers import with_unit
from flightlog.reports.svg_pieces import (
    SMALL,
    Axis,
    Sample,
    legend,
    limits,
    line,
    placed,
    point_signs,
    round_step,
    rule,
    samples,
    shape,
    spotted,
    svg,
    wide,
    words,
)

_LEFT, _RIGHT, _TOP, _ROW = 56.0, 10.0, 22.0, 17.0
_AXIS = 38.0
_LOWEST, _HIGHEST = 220.0, 620.0
_ROOM = 0.06
_LEAST_M = 10.0
_BAR = 0.15
"""So much of the width, or less, is the scale bar."""


def map_svg(chart: Chart, width: float = 720, height: float | None = None) -> str:
    """Draw the first panel of a chart as a map; see ``chart_svg``."""
    panel = chart.panels[0]
    entries = _entries(panel)
    places = placed(entries, 4, width - 4)
    rows = 1 + max((row for _, row in places), default=0)
    low, high = _ends(panel)
    room = width - _LEFT - _RIGHT
    if height is None:
        tall = room * (high[1] - low[1]) / (high[0] - low[0])
        tall = min(_HIGHEST, max(_LOWEST, tall))
    else:
        tall = max(60.0, height - _TOP - _AXIS - _ROW * rows)
    x, y = _axes(low, high, room, tall)
    bottom = _TOP + tall
    parts = [
        words(_LEFT, 14, with_unit(f"{panel.label},", panel.unit).rstrip(","), bold=True),
        *_grid(x, y),
        *_content(panel, x, y),
        *_scale(x),
        *_north(x),
        words(
            (x.begin + x.end) / 2,
            bottom + 33,
            with_unit(f"{chart.x_label},", chart.x_unit).rstrip(","),
            anchor="middle",
        ),
        legend(entries, places, bottom + _AXIS + 13, _ROW),
    ]
    return svg(width, bottom + _AXIS + _ROW * rows, chart.title, parts)


def _entries(panel: Panel) -> list[Sample]:
    kinds = {spot.name: spot.shape for spot in panel.spots}
    return [
        *samples(panel.lines, bands=False),
        *(Sample(name, shape(kind, 0, 0)) for name, kind in kinds.items()),
    ]


def _ends(panel: Panel) -> tuple[tuple[float, float], tuple[float, float]]:
    """Give the south-western and north-eastern corner of all that is drawn, with some room. [m]"""
    found = []
    for each, spots in (
        ([one.x for one in panel.lines], [s.x for s in panel.spots]),
        ([one.y for one in panel.lines], [s.y for s in panel.spots]),
    ):
        low, high = limits([*each, *spots]) or (0.0, 0.0)
        room = max(_ROOM * (high - low), (_LEAST_M - (high - low)) / 2)
        found.append((low - room, high + room))
    (west, east), (south, north) = found
    return (west, south), (east, north)


def _axes(
    low: tuple[float, float], high: tuple[float, float], wide_px: float, tall_px: float
) -> tuple[Axis, Axis]:
    """Give both axes to one scale; what is left over goes to both sides of the shorter one."""
    metre = min(wide_px / (high[0] - low[0]), tall_px / (high[1] - low[1]))
    more = [
        (px / metre - (b - a)) / 2 for px, a, b in zip((wide_px, tall_px), low, high, strict=True)
    ]
    x = Axis(low[0] - more[0], high[0] + more[0], _LEFT, _LEFT + wide_px)
    y = Axis(low[1] - more[1], high[1] + more[1], _TOP + tall_px, _TOP)
    return x, y


def _grid(x: Axis, y: Axis) -> Iterator[str]:
    """Draw a metric grid with the same step both ways."""
    step = round_step(max((x.high - x.low) / 8, (y.high - y.low) / 8))
    for value, text in x.every(step):
        yield rule(x.at(value), y.begin, x.at(value), y.end, FAINT)
        yield words(x.at(value), y.begin + 16, text, anchor="middle", size=SMALL)
    for value, text in y.every(step):
        yield rule(x.begin, y.at(value), x.end, y.at(value), FAINT)
        yield words(x.begin - 7, y.at(value) + 4, text, anchor="end", size=SMALL)
    yield (
        f'<rect x="{x.begin:.1f}" y="{y.end:.1f}" width="{x.end - x.begin:.1f}" '
        f'height="{y.begin - y.end:.1f}" fill="none" stroke="{INK}" stroke-width="1.2"/>'
    )


def _content(panel: Panel, x: Axis, y: Axis) -> Iterator[str]:
    most = int(4 * (x.end - x.begin))
    for one, sign in zip(panel.lines, point_signs(panel.lines), strict=True):
        yield line(one, x, y, most, plane=True, sign=sign)
    for spot in panel.spots:
        yield from spotted(spot, x, y)


def _scale(x: Axis) -> Iterator[str]:
    """Draw a bar of a round length above the map, where no track runs under it."""
    metre = (x.end - x.begin) / (x.high - x.low)
    length = round_step(_BAR * (x.high - x.low) / 2.5)
    text = f"{length:g} m" if length < 1000 else f"{length / 1000:g} km"
    right = x.end - 44 - wide(text, SMALL)
    left = right - length * metre
    yield f'<path d="M{left:.1f} 6v9H{right:.1f}v-9" fill="none" stroke="{INK}" stroke-width="2"/>'
    yield words(right + 6, 16, text, size=SMALL)


def _north(x: Axis) -> Iterator[str]:
    """Draw an arrow to true north beside the bar."""
    at = x.end - 19
    yield (f'<path d="M{at:.1f} 18V2m-5 7l5 -7l5 7" fill="none" stroke="{INK}" stroke-width="2"/>')
    yield words(at + 8, 16, "N", bold=True, size=SMALL)
