"""The flight card before a flight: what is expected of it, signed by engineer and pilot."""

from __future__ import annotations

from dataclasses import replace

import streamlit as st

from flightlog.dashboard import before_today, hands, parts
from flightlog.dashboard.before_hands import who_signs
from flightlog.errors import FlightlogError
from flightlog.operations.card_worth import ENGINEER, PILOT
from flightlog.operations.cards import draft_card
from flightlog.operations.desk import Desk
from flightlog.operations.load_sheet import latest_sheet
from flightlog.operations.plan import Plan
from flightlog.operations.point_files import chosen_points, find_points
from flightlog.reports.load_today_view import kept_view, on_page
from flightlog.reports.load_today_words import units_word

SIGNED = "before-card"
"""Key of what is signed here."""
_BUILD_UP = "takeoff-build-up"


def show(desk: Desk, plan: Plan) -> None:
    """Draw the card of the load sheet in force, and let two sign it."""
    parts.heading("Sign the flight card")
    sheet = latest_sheet(desk, plan.aircraft)
    if sheet is None:
        parts.nothing("There is no card without a load sheet.", "Sign the load sheet first.")
        return
    units = int(sheet.body.content["units"])
    drawn_up = st.checkbox(
        parts.label(f"Draw up the card for {units_word(units)}, as the load sheet has them"),
        key="before-card-drawn-up",
        persist_state="session",
    )
    if drawn_up:
        _card(desk, plan, units)


def _card(desk: Desk, plan: Plan, units: int) -> None:
    try:
        # Abort point and energy are told for the largest number that is looked at.
        asked = replace(before_today.asked(desk, plan), most_units=units)
        answer = kept_view(desk, plan, asked).answer
    except FlightlogError as error:
        parts.warn(f"There is no card: {on_page(error.found)}.")
        return
    if answer.withheld:
        parts.warn("There is no card, as no number is given: the reasons stand above.")
        return
    points = find_points(_BUILD_UP)
    chosen = st.multiselect(
        "Test points of this flight",
        [point.name for point in points.points],
        key="before-card-points",
        persist_state="session",
        placeholder="none",
    )
    left, right = st.columns(2)
    with left:
        engineer = who_signs(desk, (ENGINEER,), "Computed by", "before-card-engineer")
    with right:
        pilot = who_signs(
            desk, (PILOT,), "Flown by", "before-card-pilot", (engineer,) if engineer else ()
        )
    if engineer is None or pilot is None:
        return
    hands.signed(
        desk,
        lambda: draft_card(
            desk,
            answer,
            units,
            chosen_points(points, chosen) if chosen else None,
            computed_by=engineer,
            accepted_by=pilot,
        ),
        key=SIGNED,
        button="Sign the flight card",
    )
