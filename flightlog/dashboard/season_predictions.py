"""Prediction against outcome: how good the flight cards of the season were."""

from __future__ import annotations

import streamlit as st

from flightlog.dashboard import parts
from flightlog.dashboard.plots import figure_of
from flightlog.errors import FlightlogError
from flightlog.operations.card_season import calibration
from flightlog.operations.desk import Desk
from flightlog.reports.calibration_chart import calibration_chart
from flightlog.reports.calibration_words import (
    FLIGHT_HEAD,
    METHOD_HEAD,
    NUMBERS,
    WHY_HEAD,
    calibration_texts,
    flight_rows,
    method_rows,
    why_rows,
)
from flightlog.reports.markup import escaped

_PLOT = {"displaylogo": False, "responsive": True}


def show(desk: Desk) -> None:
    """Draw what was predicted of an aircraft's flights, and what came of it."""
    known = desk.versions.ids("aircraft")
    if not known:
        parts.nothing("No aircraft is in the record yet.", "Enter its file on Records.")
        return
    aircraft = known[0]
    if len(known) > 1:
        aircraft = st.selectbox(
            "Aircraft",
            known,
            format_func=parts.option,
            key="season-predicted-of",
            persist_state="session",
        )
    try:
        found = calibration(desk, aircraft)
    except FlightlogError as error:
        parts.refused(error)
        return
    first, *others = calibration_texts(found)
    parts.html(
        f"<p><strong>{escaped(first)}</strong></p>", *(f"<p>{escaped(t)}</p>" for t in others)
    )
    chart = calibration_chart(found)
    if not chart.lacking:
        st.plotly_chart(figure_of(chart), key="season-predicted", theme=None, config=_PLOT)
    if found.season.rows:
        parts.table(METHOD_HEAD, method_rows(found), NUMBERS)
        parts.heading("Flight by flight, in all years")
        parts.table(FLIGHT_HEAD, flight_rows(found), NUMBERS)
    whys = why_rows(found)
    if whys:
        with st.expander("Without a prediction, or not to be judged", key="season-unpredicted"):
            parts.table(WHY_HEAD, whys)
