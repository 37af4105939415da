"""Where the parts of a figure stand: panels, their legends, and the names of marks above them."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

from flightlog.reports.chart import Array, Bound, Chart, Mark, Panel
from flightlog.reports.svg_pieces import limits

PANEL_PX = {1: 300, 2: 210, 3: 165}
OTHERWISE_PX = 145
MAP_PX, MAP_HEADER_PX = 430, 102
"""The legend of a map takes three rows beside another chart."""
HEADER_PX, ROW_PX, FOOT_PX, TOOLS_PX = 32, 22, 56, 44
"""The last two stand below the lowest panel, and above all for the row of tools."""
LETTER_PX, SCREEN_PX = 9.0, 560.0
"""A letter is about so wide, and the narrowest chart that is looked at. [px]"""
UPRIGHT_PX = 7.5
"""A letter of an axis's name, which is cut where it is longer than its panel is high. [px]"""
MOST_ROWS = 4
LEAST_MARGIN_PX, MOST_MARGIN_PX = 16.0, 160.0


@dataclass(frozen=True, slots=True)
class Place:
    """Where a panel stands, as shares of the height of all of them.

    Attributes
    ----------
    number : int
        From 1, from the top.
    domain : tuple of float
        Bottom and top of its plot.
    step : float
        Height of a row of names above the first panel.
    above : float
        So many rows below the names are taken by the legend.
    ticks : int
        So many numbers upward, at the most.
    px : float
        How high its plot is.
    """

    number: int
    domain: tuple[float, float]
    step: float
    above: float
    ticks: int
    px: float

    @property
    def axis(self) -> str:
        """What the axis upward is called by lines."""
        return "y" if self.number == 1 else f"y{self.number}"

    @property
    def axis_name(self) -> str:
        """What it is called by the layout."""
        return "yaxis" if self.number == 1 else f"yaxis{self.number}"

    @property
    def legend(self) -> str:
        """What its legend is called."""
        return "legend" if self.number == 1 else f"legend{self.number}"


def spread(values: Sequence[Array | float]) -> tuple[float, float]:
    """Give the lowest and highest finite number of many; 0 and 0 without any."""
    return limits(values) or (0.0, 0.0)


def levels(marks: Sequence[Mark], across: tuple[float, float]) -> list[int | None]:
    """Give the row of each mark's name, from below; None where there is no room for it.

    A name stands right of its line, above the names that follow closely: no line goes through it.
    """
    per_px = ((across[1] - across[0]) or 1.0) / SCREEN_PX
    found: list[int | None] = [None] * len(marks)
    taken: list[tuple[float, int]] = []
    for n in sorted(range(len(marks)), key=lambda n: marks[n].x, reverse=True):
        if not marks[n].name:
            continue
        end = marks[n].x + (LETTER_PX * len(marks[n].name) + 10) * per_px
        row = max((below + 1 for place, below in taken if place < end), default=0)
        if row < MOST_ROWS:
            found[n] = row
            taken.append((marks[n].x, row))
    return found


def places_of(
    chart: Chart, panels: Sequence[Panel], rows: Sequence[int | None]
) -> tuple[list[Place], float]:
    """Give where each panel stands, and how high the whole figure is [px]."""
    names = 0 if chart.map else max((r + 1 for r in rows if r is not None), default=0)
    plot = MAP_PX if chart.map else PANEL_PX.get(len(panels), OTHERWISE_PX)
    full = MAP_HEADER_PX if chart.map else HEADER_PX
    heads = [full if has_legend(panel) else 10 for panel in panels]
    total = float(plot * len(panels) + sum(heads) + ROW_PX * names)
    places, top = [], total - ROW_PX * names
    for n, head in enumerate(heads, start=1):
        upper = top - head
        domain = max(0.0, (upper - plot) / total), upper / total
        places.append(Place(n, domain, ROW_PX / total, heads[0] / ROW_PX, max(3, plot // 36), plot))
        top = upper - plot
    return places, total + FOOT_PX + TOOLS_PX


def rows_within(text: str, px: float) -> list[str]:
    """Break a text into two rows where one is longer than there is room."""
    words = text.split()
    if len(words) < 2 or len(text) * UPRIGHT_PX <= px:
        return [text]
    middle = min(
        range(1, len(words)),
        key=lambda n: max(len(" ".join(words[:n])), len(" ".join(words[n:]))),
    )
    return [" ".join(words[:middle]), " ".join(words[middle:])]


def has_legend(panel: Panel) -> bool:
    """Whether there is more in a panel than the line that it is called by."""
    bands = any(one.low is not None and one.stroke != "points" for one in panel.lines)
    return len(panel.lines) > 1 or bands or bool(panel.spots) or bool(panel.bounds)


def is_far(bound: Bound, panel: Panel) -> bool:
    """Whether a limit lies so far from the lines that these would be pressed together."""
    low, high = spread([one.y for one in panel.lines])
    length = (high - low) or abs(high) or 1.0
    return not low - length <= bound.value <= high + length


def right_margin(marks: Sequence[Mark], across: tuple[float, float]) -> float:
    """Give the room that the name of a mark needs beyond the right end. [px]"""
    length = (across[1] - across[0]) or 1.0
    needed = [
        LETTER_PX * len(mark.name) + 10 - SCREEN_PX * (across[1] - mark.x) / length
        for mark in marks
    ]
    return min(MOST_MARGIN_PX, max([LEAST_MARGIN_PX, *needed]))
