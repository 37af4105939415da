"""After the flight: did it meet the rules and its own limits, and under what was it flown."""

from __future__ import annotations

import streamlit as st

from flightlog.dashboard import after_parts, parts, shell, taking
from flightlog.operations.positions import named
from flightlog.operations.sorties import SortieRecord, sorties
from flightlog.reports.flights import WITHOUT


def show() -> None:
    """Draw the page."""
    with shell.at_desk() as desk:
        if desk is None:
            return
        which, take = st.columns([2, 3], gap="medium")
        with take:
            taking.take(desk)
        flights = list(reversed(sorties(desk)))
        if not flights:
            taking.last()
            parts.nothing(
                "No flight is in the record yet.",
                "Drop its log above, or type 'flightlog import LOG'.",
            )
            return
        if taking.is_asking():  # no other flight's answer may be read as that of the log
            return
        with which:
            flight = _chosen(flights)
        taking.last()
        if taking.came_to_nothing():
            parts.note(f"Nothing of it was entered. Below stands another flight: {_told(flight)}.")
        after_parts.flight(desk, flight)
        parts.cautions()


def _chosen(flights: list[SortieRecord]) -> SortieRecord:
    """Ask which flight; the last one, or the one that was chosen elsewhere, stands first."""
    by_name = {named(flight.entry): flight for flight in flights}
    wanted = st.session_state.get("sortie")
    names = list(by_name)
    name = st.selectbox(
        "Flight",
        names,
        index=names.index(wanted) if wanted in by_name else 0,
        format_func=lambda one: parts.option(_told(by_name[one])),
        # A key of its own for what was chosen elsewhere, which else would not be taken over.
        key=f"after-flight-{wanted if wanted in by_name else ''}",
    )
    return by_name[name or names[0]]


def _told(flight: SortieRecord) -> str:
    when = f"{flight.began:%Y-%m-%d %H:%M} UTC"
    what = " with ".join(part for part in (flight.aircraft, flight.pack) if part)
    mark = "" if flight.release is not None else f", {WITHOUT.lower()}"
    return f"{when}, {what or 'aircraft not known'}, {named(flight.entry)}{mark}"
