"""A chart for the screen: panels over each other that are zoomed and read off together.

One axis across for all of them; nothing in a figure leads off the laptop. Lines are thinned so
that every peak stays.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import TYPE_CHECKING

from flightlog.dashboard.plot_places import (
    ROW_PX,
    TOOLS_PX,
    Place,
    has_legend,
    is_far,
    levels,
    places_of,
    right_margin,
    rows_within,
    spread,
)
from flightlog.dashboard.plot_traces import BOUND_DASH, Json, shown, tell_once, traces_of
from flightlog.reports.chart import Array, Chart, Panel
from flightlog.reports.look import FAINT, FONT, GREY, INK, PAPER, SMALL_PX

if TYPE_CHECKING:
    import plotly.graph_objects as go

LEFT_PX = 76
"""For numbers and name of an axis upward."""
NEEDLESS = (
    *("sendChartToCloud", "sendDataToCloud", "editInChartStudio"),  # nothing leaves the laptop
    *("select2d", "lasso2d", "autoScale2d", "toggleSpikelines"),
)
"""Buttons that a chart of ours must not have, or has no use for."""


def figure_of(chart: Chart, *, most: int = 2000) -> go.Figure:
    """Give a chart as a figure of plotly.

    Parameters
    ----------
    chart : Chart
        What to draw. One that lacks everything says so.
    most : int
        So many points of each line are drawn, at the most; at least 16.

    Returns
    -------
    plotly.graph_objects.Figure
        To be shown with ``theme=None``, which leaves its own look.
    """
    import plotly.graph_objects as go

    panels = [panel for panel in chart.panels if panel.lines]
    if not panels:
        return go.Figure(layout=_empty(chart))
    spans: list[Array | float] = [
        *(one.x for p in panels for one in p.lines),
        *(m.x for m in chart.marks),
    ]
    across = spread(spans)
    rows = levels(chart.marks, across)
    places, height = places_of(chart, panels, rows)
    data: list[Json] = []
    for panel, place in zip(panels, places, strict=True):
        axes = {"xaxis": "x", "yaxis": place.axis, "legend": place.legend}
        data += [trace | axes for trace in traces_of(chart, panel, most)]
    tell_once(data)
    layout = _layout(chart, panels, places, height)
    if chart.map:
        _as_map(layout, chart, panels[0])
    else:
        layout["xaxis"] |= {"range": _room(across, panels)}
        layout["margin"]["r"] = right_margin(chart.marks, across)
        _mark(layout, chart, rows, places)
    _left_out(layout, chart.left_out, height)
    return go.Figure(data=data, layout=layout)


def _empty(chart: Chart) -> Json:
    text = "<br>".join(shown(row) for row in _rows(chart.lacking or "There is nothing to draw."))
    said = {"text": text, "showarrow": False, "x": 0, "y": 1, "xref": "paper", "yref": "paper"}
    return {
        **_base(),
        "height": 120,
        "xaxis": {"visible": False},
        "yaxis": {"visible": False},
        "annotations": [{**said, "xanchor": "left", "yanchor": "top", "align": "left"}],
    }


def _rows(text: str) -> list[str]:
    """Break a long text into rows that fit on a narrow screen."""
    rows = [""]
    for word in text.split():
        if len(rows[-1]) + len(word) > 80:
            rows.append(word)
        else:
            rows[-1] = f"{rows[-1]} {word}".strip()
    return rows


def _room(across: tuple[float, float], panels: Sequence[Panel]) -> list[float]:
    """Give the ends of the axis across: room beside single points, none beside lines."""
    low, high = across
    points = all(one.stroke == "points" for panel in panels for one in panel.lines)
    room = (0.04 if points else 0.005) * ((high - low) or 1.0)
    return [low - room, high + room]


# --- layout


def _base() -> Json:
    return {
        "font": {"family": FONT, "size": SMALL_PX, "color": INK},
        "paper_bgcolor": PAPER,
        "plot_bgcolor": PAPER,
        "margin": {"l": LEFT_PX, "r": 16, "t": TOOLS_PX, "b": 56},
        "modebar": {"remove": list(NEEDLESS), "orientation": "h", "color": GREY},
        "hoverlabel": {"font": {"size": SMALL_PX, "color": INK}, "bgcolor": PAPER},
        "showlegend": True,
    }


def _axis(title: str, unit: str) -> Json:
    text = shown(title) + (f" ({shown(unit)})" if unit else "")
    return {
        "title": {"text": text, "standoff": 8, "font": {"size": SMALL_PX}},
        "tickfont": {"size": SMALL_PX},
        "gridcolor": FAINT,
        "linecolor": INK,
        "linewidth": 1.4,
        "showline": True,
        "zeroline": False,
        "ticks": "outside",
        "exponentformat": "none",
    }


def _layout(chart: Chart, panels: Sequence[Panel], places: Sequence[Place], height: float) -> Json:
    """Give all axes: one across for all panels, so that they are zoomed and read together."""
    layout = _base() | {"height": height, "uirevision": chart.id, "shapes": [], "annotations": []}
    layout["xaxis"] = _axis(chart.x_label, chart.x_unit) | {
        "anchor": places[-1].axis,
        "hoverformat": ".1f",
        "unifiedhovertitle": {"text": f"{shown(chart.x_label)} %{{x:.1f}} {shown(chart.x_unit)}"},
        "showspikes": True,
        "spikemode": "across",
        "spikethickness": 1,
        "spikecolor": INK,
        "spikedash": "dot",
    }
    points = all(one.stroke == "points" for panel in panels for one in panel.lines)
    closest = chart.map or points
    layout["hovermode"] = "closest" if closest else "x unified"
    if not closest:
        layout["hoversubplots"] = "axis"
    for panel, place in zip(panels, places, strict=True):
        axis = _axis(panel.label, panel.unit)
        rows = rows_within(axis["title"]["text"], place.px)
        if len(rows) > 1:
            axis["title"]["text"] = "<br>".join(rows)
            layout["margin"]["l"] = LEFT_PX + ROW_PX
        layout[place.axis_name] = axis | {
            "domain": list(place.domain),
            "anchor": "x",
            "nticks": place.ticks,
        }
        layout[place.legend] = {
            "orientation": "h",
            "x": 0,
            "xanchor": "left",
            "y": place.domain[1],
            "yanchor": "bottom",
            "font": {"size": SMALL_PX},
            "visible": has_legend(panel),
            "bgcolor": PAPER,
        }
        _bounds(layout, panel, place)
    return layout


def _bounds(layout: Json, panel: Panel, place: Place) -> None:
    """Draw limits as level lines, but those that lie far from what was flown."""
    for bound in panel.bounds:
        if is_far(bound, panel):
            continue
        at = bound.value
        ends = {"xref": "paper", "x0": 0, "x1": 1, "yref": place.axis, "y0": at, "y1": at}
        pen = {"color": INK, "width": 2, "dash": BOUND_DASH}
        layout["shapes"].append({"type": "line", "line": pen, **ends})
        options = layout[place.axis_name].setdefault("autorangeoptions", {"include": []})
        options["include"].append(at)


def _left_out(layout: Json, text: str, height: float) -> None:
    """Say below the figure what is not drawn."""
    rows = _rows(text) if text else []
    if not rows:
        return
    layout["height"] = height + ROW_PX * len(rows)
    layout["margin"]["b"] += ROW_PX * len(rows)
    layout["annotations"].append(
        {
            **{"xref": "paper", "x": 0, "xanchor": "left", "align": "left", "showarrow": False},
            **{"yref": "paper", "y": 0, "yanchor": "top", "yshift": -54},
            **{"text": "<br>".join(shown(row) for row in rows), "font": {"size": SMALL_PX}},
        }
    )


def _mark(layout: Json, chart: Chart, rows: Sequence[int | None], places: Sequence[Place]) -> None:
    """Draw events as upright lines over all panels, with their names above the first one."""
    top, step = places[0].domain[1], places[0].step
    for mark, row in zip(chart.marks, rows, strict=True):
        upright = {"xref": "x", "yref": "paper", "layer": "below"}
        if mark.low is not None and mark.high is not None:
            layout["shapes"].append(
                {
                    **upright,
                    **{"type": "rect", "x0": mark.low, "x1": mark.high, "y0": 0, "y1": top},
                    **{"fillcolor": "rgba(20,20,20,0.14)", "line": {"width": 0}},
                }
            )
        end = top if row is None else top + step * (row + places[0].above + 0.8)
        pen = {"color": INK, "width": 2.4 if mark.limit else 1.1}
        pen |= {"dash": BOUND_DASH} if mark.limit else {}
        layout["shapes"].append(
            {**upright, "type": "line", "x0": mark.x, "x1": mark.x, "y0": 0, "y1": end, "line": pen}
        )
        if row is not None:
            layout["annotations"].append(
                {
                    **{"xref": "x", "x": mark.x, "xanchor": "left", "xshift": 2},
                    **{"yref": "paper", "y": top + step * (row + places[0].above)},
                    **{"yanchor": "bottom", "showarrow": False, "borderpad": 0},
                    **{"text": shown(mark.name), "font": {"size": SMALL_PX}},
                }
            )


# --- the map


def _as_map(layout: Json, chart: Chart, panel: Panel) -> None:
    """Give both axes one scale, a bar of a round length and an arrow to north."""
    west, east = spread([*(one.x for one in panel.lines), *(s.x for s in panel.spots)])
    south, north = spread([*(one.y for one in panel.lines), *(s.y for s in panel.spots)])
    length = _round_length(max(east - west, north - south, 1.0) / 5)
    size = max(east - west, north - south, 1.0)
    below = south - 0.1 * size
    room = {"autorangeoptions": {"include": [below - 0.05 * size]}}
    layout["yaxis"] |= {"scaleanchor": "x", "scaleratio": 1, **room}
    layout["xaxis"] |= {"showspikes": False}
    bar = {"type": "line", "xref": "x", "yref": "y", "line": {"color": INK, "width": 3}}
    layout["shapes"].append(bar | {"x0": west, "x1": west + length, "y0": below, "y1": below})
    layout["annotations"] += [
        {
            **{"x": west + length / 2, "y": below, "yanchor": "bottom", "showarrow": False},
            "text": f"{length:g} m",
        },
        {
            **{"xref": "paper", "yref": "paper", "x": 1, "xanchor": "right"},
            "y": layout["yaxis"]["domain"][1],
            **{"yanchor": "top", "text": "↑<br>N", "showarrow": False},
            "font": {"size": 20},
        },
    ]


def _round_length(most: float) -> float:
    """Give the greatest 1, 2 or 5 with any power of ten that is not more. [m]"""
    power = 10.0 ** math.floor(math.log10(most)) if most > 0 else 1.0
    return max(s * power for s in (1.0, 2.0, 5.0) if s * power <= max(most, power))
