"""The lines of a panel as a figure of plotly takes them: bands, lines, spots, and limits.

Colour, stroke and sign tell the same; a print in greys loses nothing. Texts of a figure are a
subset of HTML: all of them go through `shown`.
"""

from __future__ import annotations

import json
import math
from collections.abc import Iterator, Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from flightlog.dashboard.plot_places import is_far, spread
from flightlog.reports.chart import Array, Bound, Chart, Line, Panel, Spot
from flightlog.reports.look import BAND, GREY, INK, LINES
from flightlog.reports.markup import escaped
from flightlog.reports.plain import plain
from flightlog.reports.thinning import thinned

LARGEST = 1e12
"""A larger number is none that anything of the kind measures; it is drawn as a gap."""
DASHES = {"solid": "solid", "dashed": "dash", "dotted": "dot", "points": "solid"}
BOUND_DASH = "longdashdot"
SIGNS = ("circle-open", "square-open", "triangle-up-open", "x-thin-open")
SPOTS = {"circle": 0, "square": 1, "triangle": 2, "cross": 3}
MOST_SIGNS = 120
"""Signs that stand for a line; more would lie on each other."""
_LONGEST = 90

Json = dict[str, Any]
Rows = NDArray[np.intp]


def shown(text: str) -> str:
    """Give a text as a figure shows it: no markup, no link, no formula, no place for a number."""
    clean = escaped(plain(text, _LONGEST).replace("\n", " "))
    return clean.replace("$", "&#36;").replace("%{", "&#37;{")


def traces_of(chart: Chart, panel: Panel, most: int) -> Iterator[Json]:
    """Give bands first, then lines, then spots, so that nothing is hidden; last the limits."""
    few = [_finite(thinned(one, _most(one, most), plane=chart.map)) for one in panel.lines]
    decimals = _decimals([one.y for one in few])
    inks, points = _inks(panel.lines), 0
    for one, ink in zip(few, inks, strict=True):
        if one.stroke != "points" and one.low is not None:
            yield from _band(one, ink)
    for one, ink in zip(few, inks, strict=True):
        yield _line(one, ink, panel, decimals, SIGNS[points % len(SIGNS)])
        points += one.stroke == "points"
    yield from (_spot(spot) for spot in panel.spots)
    yield from (_limit(bound, outside=is_far(bound, panel)) for bound in panel.bounds)


def _spot(spot: Spot) -> Json:
    label = {"text": [shown(spot.label)], "textposition": "top right"} if spot.label else {}
    return {
        "type": "scatter",
        "mode": "markers+text" if label else "markers",
        "name": shown(spot.name),
        "x": [spot.x],
        "y": [spot.y],
        "marker": _sign(SIGNS[SPOTS[spot.shape]], 12, INK),
        "hovertemplate": f"{shown(spot.name)}<extra></extra>",
        **label,
    }


def _limit(bound: Bound, *, outside: bool) -> Json:
    """Give the entry of a limit in the legend; its line is a shape."""
    return {
        "type": "scatter",
        "mode": "lines",
        "name": shown(bound.name) + (" (outside the picture)" if outside else ""),
        "x": [None],
        "y": [None],
        "line": {"color": INK, "width": 2, "dash": BOUND_DASH},
        "hoverinfo": "skip",
    }


def tell_once(traces: Sequence[Json]) -> None:
    """Tell each look once; what has the same name goes on and off together."""
    told: set[str] = set()
    for trace in traces:
        look = json.dumps([trace.get(key) for key in ("name", "line", "marker", "fill")])
        trace["legendgroup"] = trace["name"]
        trace["showlegend"] = look not in told
        told.add(look)


def _most(one: Line, most: int) -> int:
    """Give how many points are drawn: signs that stand for a line must not lie on each other."""
    return min(most, MOST_SIGNS) if one.stroke == "points" and one.low is None else most


def _finite(one: Line) -> Line:
    """Give the line with gaps where a number is none that can be drawn."""
    with np.errstate(invalid="ignore"):
        good = (np.abs(one.y) < LARGEST) & (np.abs(one.x) < LARGEST)
    if good.all():
        return one
    x, y = np.where(good, one.x, np.nan), np.where(good, one.y, np.nan)
    return Line(one.name, x, y, one.low, one.high, one.stroke, one.strong)


def _inks(lines: Sequence[Line]) -> list[str]:
    """Give each line its colour: strong ones first; thin ones behind them are grey."""
    inks = [GREY] * len(lines)
    own = [n for n, one in enumerate(lines) if one.strong or one.stroke != "solid"]
    for count, n in enumerate(sorted(own, key=lambda n: not lines[n].strong)):
        inks[n] = LINES[count % len(LINES)]
    return inks


def _line(one: Line, ink: str, panel: Panel, decimals: int, sign: str) -> Json:
    unit = f" {shown(panel.unit)}" if panel.unit else ""
    trace: Json = {
        "type": "scatter",
        "name": shown(one.name),
        "x": one.x,
        "y": one.y,
        "hovertemplate": f"%{{y:.{decimals}f}}{unit}",
        "connectgaps": False,
        "legendrank": 1000 if one.strong else 1001,
    }
    if one.stroke == "points":
        trace |= {"mode": "markers", "marker": _sign(sign, 11 if one.low is not None else 6, ink)}
        if one.low is not None and one.high is not None:
            trace["error_y"] = {
                "type": "data",
                "symmetric": False,
                "array": one.high - one.y,
                "arrayminus": one.y - one.low,
                "color": ink,
                "thickness": 1.5,
                "width": 4,
            }
        return trace
    width = (2.6 if one.stroke == "dotted" else 2.2) if one.strong else 1.2
    if not one.strong and one.stroke != "solid":
        width = 1.7
    return trace | {
        "mode": "lines",
        "line": {"color": ink, "width": width, "dash": DASHES[one.stroke]},
    }


def _sign(symbol: str, size: float, ink: str) -> Json:
    return {"symbol": symbol, "size": size, "color": ink, "line": {"color": ink, "width": 2}}


def _runs(one: Line) -> Iterator[Rows]:
    good = np.isfinite(one.x) & np.isfinite(one.y)
    with np.errstate(invalid="ignore"):
        for bound in (one.low, one.high):
            if bound is not None:
                good &= np.abs(bound) < LARGEST
    rows = np.flatnonzero(good)
    if rows.size:
        runs = np.split(rows, np.flatnonzero(np.diff(rows) > 1) + 1)
        yield from (run for run in runs if run.size > 1)


def _band(one: Line, ink: str) -> Iterator[Json]:
    """Give a band, in one piece however many stretches it has: over a gap nothing is filled."""
    low, high, stretches = one.low, one.high, list(_runs(one))
    if low is None or high is None or not stretches:
        return
    gap = np.array([np.nan])
    x = [part for rows in stretches for part in (gap, one.x[rows], one.x[rows][::-1])]
    y = [part for rows in stretches for part in (gap, high[rows], low[rows][::-1])]
    yield {
        "type": "scatter",
        "mode": "lines",
        "name": "95 % interval",
        "x": np.concatenate(x[1:]),
        "y": np.concatenate(y[1:]),
        "fill": "toself",
        "legendrank": 1002,
        "fillcolor": _washed(ink),
        "line": {"width": 0},
        "hoverinfo": "skip",
    }


def _washed(ink: str) -> str:
    red, green, blue = (int(ink[n : n + 2], 16) for n in (1, 3, 5))
    return f"rgba({red},{green},{blue},{BAND})"


def _decimals(values: Sequence[Array]) -> int:
    """Give how many decimals tell the values of a panel apart."""
    low, high = spread(values)
    return min(4, max(0, 2 - math.floor(math.log10(high - low)))) if high > low else 2
