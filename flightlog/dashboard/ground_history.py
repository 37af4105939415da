"""Ground tests of the record: how each figure of a thing went from test to test, and the tests."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from flightlog.dashboard import parts, sheet_parts
from flightlog.dashboard.plots import figure_of
from flightlog.operations.desk import Desk
from flightlog.operations.ground_history import GroundSeries, ground_history
from flightlog.operations.ground_record import TESTED, measured_on_ground
from flightlog.operations.ground_subject import GroundSubject
from flightlog.reports.ground_history_words import NOTE, label_of, trend_text
from flightlog.reports.ground_series import (
    SERIES_HEAD,
    SERIES_NUMBERS,
    first_looked_at,
    grouped,
    series_chart,
    series_rows,
)
from flightlog.reports.markup import escaped
from flightlog.reports.record_words import GROUND_HEAD, ground_rows

SECTION = "Bench tests"
"""Name of this section among those of the page."""
SECTIONS = "ground-section"
"""Key of which section is shown."""
_OF = "ground-history-of"
_MOST = 60


def turn_to(subject: GroundSubject) -> None:
    """Show a thing the next time that this is drawn."""
    st.session_state[SECTIONS] = SECTION
    st.session_state[_OF] = f"{subject.thing} {subject.id}"


def show(desk: Desk) -> None:
    """Draw the tests of a thing that is chosen: its series, a chart of one, the entries."""
    tests = measured_on_ground(desk, [TESTED])
    if not tests:
        parts.nothing(
            "No ground test is in the record.",
            "Drop its files above, or reduce and enter it:",
            "flightlog groundtest KIND FILE --help",
        )
        return
    things = {f"{one.thing} {one.id}": (one.thing, one.id) for one in tests}
    if st.session_state.get(_OF) not in things:
        st.session_state.pop(_OF, None)
    left, right = st.columns([1, 2], gap="medium")
    with left:
        name = st.selectbox(
            "Of", list(things), format_func=parts.option, key=_OF, persist_state="session"
        )
    thing, id_ = things[name or next(iter(things))]
    groups = dict(grouped(ground_history(desk, {thing: id_})))
    with right:
        title = st.selectbox(
            "Which tests",
            list(groups),
            format_func=parts.option,
            key=f"ground-tests-{thing}-{id_}-{len(groups)}",
        )
    group = groups.get(title or "", [])
    if group:
        _series(group, title or "")
    else:
        parts.note("No test of it counts: each was put right, or nobody signed it in a role.")
    parts.heading("Its tests")
    meant = [one for one in tests if (one.thing, one.id) == (thing, id_)]
    parts.table(GROUND_HEAD, ground_rows(desk, meant[:_MOST]))
    if len(meant) > _MOST:
        parts.note(f"{len(meant) - _MOST} older ones stand in the logbook, on Records.")


def _series(group: Sequence[GroundSeries], title: str) -> None:
    parts.table(SERIES_HEAD, series_rows(group), SERIES_NUMBERS)
    parts.note(NOTE)
    by_figure = {series.figure: series for series in group}
    figure = st.selectbox(
        "A figure over time",
        list(by_figure),
        index=first_looked_at(group),
        format_func=lambda one: parts.option(label_of(by_figure[one])),
        key=f"ground-figure-{title}",
    )
    chosen = by_figure[figure or group[0].figure]
    drawn = series_chart(chosen)
    made = None if drawn.lacking else figure_of(drawn)
    sheet_parts.chart(drawn, made, f"ground-history-{drawn.id}")
    if trend := trend_text(chosen):
        parts.html(f"<p>{escaped(f'Trend: {trend}')}</p>")
