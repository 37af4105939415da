"""What a chart shows, apart from how it is drawn.

A chart is made once and drawn twice: on the screen, where it can be zoomed, and on paper. Both
show the same lines, bands and marks with the same names and units. Colour never tells anything
alone: each line of a panel has a stroke of its own, so that a print in greys keeps them apart.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.floating[Any]]
Stroke = Literal["solid", "dashed", "dotted", "points"]


@dataclass(frozen=True, slots=True, eq=False)
class Line:
    """One line of a panel.

    Attributes
    ----------
    name : str
        In words, as the legend has it.
    x, y : array
        Shape (n,), x rising except on a map; NaN in y is a gap.
    low, high : array or None
        The 95 % interval of y, drawn as a band; both or none.
    stroke : {"solid", "dashed", "dotted", "points"}
        How it is drawn; no two lines of a panel alike.
    strong : bool
        Whether it is what the chart is about.
    """

    name: str
    x: Array
    y: Array
    low: Array | None = None
    high: Array | None = None
    stroke: Stroke = "solid"
    strong: bool = True


@dataclass(frozen=True, slots=True)
class Mark:
    """An event at one place of the x axis, over all panels.

    Attributes
    ----------
    name : str
        In words: "lift-off".
    x : float
        Where.
    low, high : float or None
        Its 95 % interval, drawn as a band; both or none.
    limit : bool
        Whether it is a limit and no event; drawn heavier, in strokes.
    """

    name: str
    x: float
    low: float | None = None
    high: float | None = None
    limit: bool = False


@dataclass(frozen=True, slots=True)
class Spot:
    """A place on a map, or a point of a panel, with its name.

    Attributes
    ----------
    name : str
        In words.
    x, y : float
        In the units of the axes.
    shape : {"circle", "square", "triangle", "cross"}
        No two kinds of a chart alike.
    label : str
        A word or two drawn beside it, where several are of one shape; else "".
    """

    name: str
    x: float
    y: float
    shape: Literal["circle", "square", "triangle", "cross"] = "circle"
    label: str = ""


@dataclass(frozen=True, slots=True)
class Bound:
    """A limit as a level line: "at most 40 m (clause 4.2)"."""

    name: str
    value: float
    op: Literal["<=", ">="] = "<="


@dataclass(frozen=True, slots=True)
class Panel:
    """Lines over one y axis; the panels of a chart share its x axis."""

    label: str
    unit: str
    lines: Sequence[Line] = ()
    spots: Sequence[Spot] = ()
    bounds: Sequence[Bound] = ()


@dataclass(frozen=True, slots=True)
class Chart:
    """A picture of one question.

    Attributes
    ----------
    id : str
        A word of small letters and hyphens.
    title : str
        What it answers.
    x_label, x_unit : str
        Of the shared axis.
    panels : sequence of Panel
        From top to bottom; none where ``lacking`` says why.
    marks : sequence of Mark
        Events over all panels.
    map : bool
        Whether x and y are metres east and north, drawn to one scale, with a scale bar and north.
    lacking : str
        Why there is nothing to draw, with the sensor that is missing; else "".
    left_out : str
        What is not drawn beside the rest for want of a sensor, and what to log; else "".
    """

    id: str
    title: str
    x_label: str = ""
    x_unit: str = ""
    panels: Sequence[Panel] = ()
    marks: Sequence[Mark] = field(default=())
    map: bool = False
    lacking: str = ""
    left_out: str = ""


def together(id_: str, title: str, *charts: Chart) -> Chart:
    """Lay charts over one x axis, so that what is zoomed or read in one is in all.

    Parameters
    ----------
    id_, title : str
        Of the result.
    *charts : Chart
        With the same x axis; what one lacks, the result says beside the panels of the others.

    Raises
    ------
    ValueError
        If they have different axes, or one is a map.
    """
    drawn = [chart for chart in charts if chart.panels]
    if any(chart.map for chart in charts) or len({(c.x_label, c.x_unit) for c in drawn}) > 1:
        raise ValueError("charts of different axes can't be laid over one another")
    said = " ".join(filter(None, (chart.lacking or chart.left_out for chart in charts)))
    if not drawn:
        return Chart(id_, title, lacking=said)
    return Chart(
        id_,
        title,
        drawn[0].x_label,
        drawn[0].x_unit,
        [panel for chart in drawn for panel in chart.panels],
        list(dict.fromkeys(mark for chart in drawn for mark in chart.marks)),
        left_out=said,
    )
