"""What is wearing out: each thing that is named with its chart, and every other one on demand."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from flightlog.dashboard import parts
from flightlog.dashboard.plots import figure_of
from flightlog.operations.desk import Desk
from flightlog.operations.trends import Course, trends_answer
from flightlog.reports.markup import escaped
from flightlog.reports.trends_chart import course_chart, slope_strip
from flightlog.reports.trends_words import (
    CAUTION,
    HEAD,
    LOOKED,
    NUMBERS,
    SHAPES,
    course_texts,
    headline,
    label_text,
    series_rows,
)

_PLOT = {"displaylogo": False, "responsive": True}
_MOST = 6


def show(desk: Desk) -> None:
    """Draw what is named, a chart for each, and the table of all series."""
    answer = trends_answer(desk)
    for text in headline(answer):
        if answer.named:
            parts.warn(text)
        else:
            parts.html(f"<p><strong>{escaped(text)}</strong></p>")
    if not answer.courses:
        return
    parts.note(f"{LOOKED} {CAUTION}")
    for course in answer.named[:_MOST]:
        _course(course)
    parts.heading("All series")
    parts.table(HEAD, series_rows(answer), NUMBERS)
    _chosen(answer.courses)


def _chosen(courses: Sequence[Course]) -> None:
    """Draw the series that is chosen."""
    by_key = {course.key: course for course in courses}
    key = st.selectbox(
        "A series in full",
        list(by_key),
        index=None,
        format_func=lambda one: parts.option(_name(by_key[one])),
        placeholder="Choose one",
        key="season-trend",
        persist_state="session",
    )
    if key is not None:
        _course(by_key[key], chosen=True)


def _name(course: Course) -> str:
    word = course.judged.word
    return f"{label_text(course)}, {course.line.thing} {course.line.id}: {SHAPES[word]} {word}"


def _course(course: Course, *, chosen: bool = False) -> None:
    parts.heading(_name(course))
    svg, says = slope_strip(course)
    if svg:
        parts.html(parts.picture(svg, says), f"<p>{escaped(says)}</p>")
    chart = course_chart(course)
    if chart.lacking:
        parts.nothing(chart.lacking, "Fly on and import the logs.")
    else:
        key = f"season-trend-{chart.id}{'-chosen' if chosen else ''}"
        st.plotly_chart(figure_of(chart), key=key, theme=None, config=_PLOT)
    parts.html(*(f"<p>{escaped(text)}</p>" for text in course_texts(course)))
