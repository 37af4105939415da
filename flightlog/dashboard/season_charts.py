"""Figures of the season as charts: one against another, and the course of one."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from flightlog.dashboard import parts
from flightlog.dashboard.plots import figure_of
from flightlog.operations.season_table import SeasonRow
from flightlog.reports.season_charts import (
    AIRCRAFT,
    DATE,
    PACK,
    Drawn,
    against,
    course,
    lacking_lines,
)
from flightlog.reports.season_words import MASS, MEASURES, ROLL, measures_of

_PLOT = {"displaylogo": False, "responsive": True}
_NO_FIT = "No line is fitted here: what the points show is for you to judge."


def against_each_other(rows: Sequence[SeasonRow]) -> None:
    """Draw a figure against another, both chosen."""
    first, second, third = st.columns([2, 2, 1])
    with first:
        y = _figure(rows, "Upwards", ROLL, "season-y")
    with second:
        x = _figure(rows, "Across", MASS, "season-x", dates=True)
    with third:
        by = _by("season-by")
    _draw(against(rows, x, y, by), "season-against")


def over_the_season(rows: Sequence[SeasonRow]) -> None:
    """Draw a figure over the flights in their order."""
    first, second = st.columns([4, 1])
    with first:
        y = _figure(rows, "Figure", ROLL, "season-course-of")
    with second:
        by = _by("season-course-by")
    _draw(course(rows, y, by), "season-course")


def _figure(
    rows: Sequence[SeasonRow], word: str, first: str, key: str, *, dates: bool = False
) -> str:
    options = [*([DATE] if dates else []), *measures_of(rows)]
    found = st.selectbox(
        word,
        options,
        index=options.index(first),
        format_func=lambda one: "Date" if one == DATE else MEASURES[one].title,
        key=key,
        persist_state="session",
    )
    return found or first


def _by(key: str) -> str:
    found = st.selectbox("A shape for each", [AIRCRAFT, PACK], key=key, persist_state="session")
    return found or AIRCRAFT


def _draw(drawn: Drawn, key: str) -> None:
    if drawn.chart.lacking:
        parts.nothing(drawn.chart.lacking, "Why flights are missing stands below.")
    else:
        st.plotly_chart(figure_of(drawn.chart), key=key, theme=None, config=_PLOT)
        parts.note(f"Bars are 95 % intervals. {_NO_FIT}")
    parts.lines(lacking_lines(drawn))
