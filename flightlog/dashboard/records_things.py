"""Aircraft, packs and components on the screen: what each was used, and what is due."""

from __future__ import annotations

import streamlit as st

from flightlog.dashboard import parts
from flightlog.errors import FlightlogError
from flightlog.operations.desk import Desk
from flightlog.reports.hangar import overview_lines, thing_lines
from flightlog.reports.record_words import THING_HEAD, thing_rows
from flightlog.team.ledger import AIRCRAFT, COMPONENT, PACK

_NUMBERS = ("Hours", "Landings", "Flights", "Cycles")
_TITLES = {AIRCRAFT: "Aircraft", PACK: "Packs", COMPONENT: "Components"}


def show(desk: Desk) -> None:
    """Draw a table for each kind of thing, and one thing in full."""
    things: list[tuple[str, str]] = []
    for thing, word in _TITLES.items():
        parts.heading(word)
        rows = thing_rows(desk, thing)
        things += [(thing, row[0]) for row in rows]
        if rows:
            parts.table(THING_HEAD[thing], rows, _NUMBERS)
        else:
            parts.nothing(f"No {thing} has a file in force.", overview_lines(desk, thing)[0])
    if not things:
        return
    chosen = st.selectbox(
        "One in full",
        things,
        index=None,
        format_func=lambda one: parts.option(f"{one[0]} {one[1]}"),
        placeholder="Choose one",
        key="records-thing",
        persist_state="session",
    )
    if chosen is None:
        return
    try:
        parts.lines(thing_lines(desk, *chosen))
    except FlightlogError as error:
        parts.refused(error)
