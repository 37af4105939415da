"""The sheet of a choice for a mission: one page, with roll against energy of the propellers."""

from __future__ import annotations

from collections.abc import Iterator
from datetime import datetime

from flightlog.operations.ground_choice import GroundChoice
from flightlog.reports.chart_svg import chart_svg
from flightlog.reports.ground_choice_words import (
    CAUTION,
    basis_texts,
    candidate_texts,
    head_texts,
    mission_name,
)
from flightlog.reports.ground_pareto_chart import pareto_chart
from flightlog.reports.ground_sheet import NO_RECORD
from flightlog.reports.sheet_content import Band, Block, Picture, SheetContent, Words, wide

_WIDTH, _HEIGHT = 820.0, 250.0
"""Size of the chart, in its own units; it is as wide as the page."""


def choice_sheet(answer: GroundChoice, *, made: datetime) -> SheetContent:
    """Give the sheet of a choice.

    Parameters
    ----------
    answer : GroundChoice
        What was weighed.
    made : datetime
        When the sheet is made (aware).
    """
    first, *others = head_texts(answer)
    return SheetContent(
        title=mission_name(answer),
        subtitle="Propeller and pack for a mission",
        team=NO_RECORD,
        headline=first,
        top=(Words("", tuple(others)),) if others else (),
        parts=(tuple(_bands(answer)),),
        notes=(CAUTION,),
        heads=(),
        made=made,
    )


def _bands(answer: GroundChoice) -> Iterator[Band]:
    chart = pareto_chart(answer)
    drawn = "" if chart.lacking else chart_svg(chart, _WIDTH, _HEIGHT)
    yield wide(Picture(chart.title, drawn, chart.lacking))
    columns: list[tuple[Block, ...]] = []
    for told in candidate_texts(answer):
        (_, name), *lines = told
        columns.append((Words(name, tuple(text for _, text in lines)),))
    for i in range(0, len(columns), 2):
        pair = tuple(columns[i : i + 2])
        yield Band(pair, (1.0,) * len(pair))
    yield wide(Words("What it rests on", tuple(basis_texts(answer))))
