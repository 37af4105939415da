"""Load and balance before a flight: tried at once, seen in its envelope, then signed."""

from __future__ import annotations

import streamlit as st

from flightlog.dashboard import before_card, before_today, hands, parts
from flightlog.dashboard.before_hands import who_signs
from flightlog.errors import FlightlogError
from flightlog.logbook.entry import Signer
from flightlog.operations.desk import Desk
from flightlog.operations.load_sheet import (
    MOST_UNITS,
    ROLE,
    Load,
    latest_sheet,
    outside_text,
    sheet_draft,
    typed_items,
    worked_out,
)
from flightlog.operations.next_flight import NextFlight
from flightlog.operations.plan import Plan
from flightlog.operations.weighing import weighing_fault
from flightlog.reports.envelope_svg import envelope_svg, envelope_words
from flightlog.reports.load_words import added_rows, number_rows

SIGNED = "before-load"
"""Key of what is signed here."""
_ITEMS, _MASS = "before-load-items", "before-load-unit-mass"


def show(desk: Desk, now: NextFlight) -> None:
    """Draw the section."""
    plan = now.plan
    before_today.show(desk, plan)
    for one in now.found:
        if one.name in ("weighing", "load"):
            (parts.note if one.holds else parts.warn)(f"{one.name}: {one.says}")
    left, right = st.columns([2, 3], gap="large")
    with left:
        parts.heading("Try a load")
        units, items, mass = _typed(desk, plan)
    try:
        found, _ = worked_out(
            desk, plan.aircraft, plan.pack, units, items, unit_mass=mass, tried=True
        )
    except FlightlogError as error:
        with right:
            parts.warn(error.sentence().removeprefix("--item: "))
        return
    with right:
        _picture(desk, plan, found)
    _numbers(found)
    _sign(desk, plan, units, items, mass)
    before_card.show(desk, plan)


def _typed(desk: Desk, plan: Plan) -> tuple[int, list[str], str]:
    """Ask what is on board; it begins with what the last sheet says."""
    sheet = latest_sheet(desk, plan.aircraft)
    units = st.number_input(
        "Payload units",
        min_value=0,
        max_value=MOST_UNITS,
        value=int(sheet.body.content["units"]) if sheet is not None else 0,
        step=1,
        key=before_today.UNITS,
        persist_state="session",
    )
    declared = desk.aircraft(plan.aircraft).payload_unit_kg
    mass = st.text_input(
        "Mass of one unit as weighed, kg",
        placeholder=f"{declared:g} by the aircraft's file" if declared is not None else "",
        key=_MASS,
        persist_state="session",
        autocomplete="off",
    )
    items = st.text_area(
        "Else on board, a line each: what,kg,station,how many",
        value="\n".join(typed_items(sheet)) if sheet is not None else "",
        placeholder="camera,0.12,payload",
        key=_ITEMS,
        persist_state="session",
        height=80,
    )
    lines = [line.strip() for line in items.splitlines() if line.strip()]
    return int(units), lines, mass.strip()


def _numbers(found: Load) -> None:
    left, right = st.columns(2, gap="large")
    with left:
        parts.table(["", "value", "± (2 std)"], number_rows(found), numbers=("value", "± (2 std)"))
    with right:
        head = ["on board", "kg", "at, m", "station"]
        parts.table(head, added_rows(found), numbers=("kg", "at, m"))


def _picture(desk: Desk, plan: Plan, found: Load) -> None:
    verdict = found.verdict
    word = "inside" if verdict.inside else "outside"
    says = "the worst corner lies inside the envelope" if verdict.inside else outside_text(verdict)
    parts.state(word, says)
    envelope = desk.aircraft(plan.aircraft).balance
    if envelope is not None:
        drawn = envelope_svg(verdict, envelope, name="before-envelope")
        parts.html(parts.picture(drawn, envelope_words(verdict)))


def _sign(desk: Desk, plan: Plan, units: int, items: list[str], mass: str) -> None:
    why = weighing_fault(desk, desk.aircraft(plan.aircraft))
    parts.heading("Sign the load sheet")
    if why:
        parts.warn(f"Only tried; it can't be signed: {why}.")
        return
    by = who_signs(desk, (ROLE,), "Made by", "before-load-by")
    if by is None:
        return
    hands.signed(
        desk,
        lambda: sheet_draft(
            desk,
            plan.aircraft,
            plan.pack,
            units,
            [Signer(by, "performed", ROLE)],
            items,
            unit_mass=mass,
        ),
        key=SIGNED,
        button="Sign the load sheet",
    )
