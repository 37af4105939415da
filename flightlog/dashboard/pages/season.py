"""Season: what was flown, what it came to, and what is due."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from flightlog.dashboard import (
    parts,
    season_charts,
    season_first,
    season_predictions,
    season_table,
    season_trends,
    shell,
)
from flightlog.operations.season_table import SeasonRow, in_year, season_rows, years_of

_SORTIES, _AGAINST, _COURSE = "Sorties", "Figures against each other", "Course of a figure"
_PREDICTED = "Prediction against outcome"
_WEARING = "What is wearing out"


def show() -> None:
    """Draw the page."""
    with shell.at_desk() as desk:
        if desk is None:
            return
        every = season_rows(desk)
        rows = in_year(every, _year(every))
        season_first.show(desk, rows)
        if not every:
            parts.nothing(
                "No flight is in the record yet.",
                "Import the log of the first one on the page After, or by a command:",
                "flightlog import LOG",
            )
            return
        view = st.segmented_control(
            "What to look at",
            [_SORTIES, _WEARING, _AGAINST, _COURSE, _PREDICTED],
            default=_SORTIES,
            required=True,
            key="season-view",
            label_visibility="collapsed",
            persist_state="session",
        )
        if view == _AGAINST:
            season_charts.against_each_other(rows)
        elif view == _COURSE:
            season_charts.over_the_season(rows)
        elif view == _WEARING:
            season_trends.show(desk)
        elif view == _PREDICTED:
            season_predictions.show(desk)
        else:
            season_table.show(desk, rows)


def _year(every: Sequence[SeasonRow]) -> int | None:
    """Draw the head of the page, and give the year that is chosen; None for all."""
    left, right = st.columns([4, 1], vertical_alignment="bottom")
    with left:
        parts.title("Season", "What was flown, what does not go together, and what is due next?")
    with right:
        return st.selectbox(
            "Season",
            [*years_of(every), None],
            format_func=lambda one: "all years" if one is None else str(one),
            key="season-year",
            persist_state="session",
        )
