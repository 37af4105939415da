"""Ground tests: what the record holds today that was measured on the ground."""

from __future__ import annotations

import streamlit as st

from flightlog.dashboard import parts, shell
from flightlog.errors import FlightlogError
from flightlog.operations.desk import Desk
from flightlog.operations.ground_record import (
    CHARGED,
    DONE,
    SET,
    SHOWN,
    WEIGHED,
    measured_on_ground,
)
from flightlog.reports.markup import escaped
from flightlog.reports.record_words import GROUND_HEAD, ground_rows

_MOST = 60
_ALL = "all"
_SECTIONS = {
    "Weighings": (
        WEIGHED,
        "No weighing is in the record.",
        "Put the aircraft on scales without its pack, and enter what they read:",
        "flightlog balance weigh --help",
    ),
    "Charges of packs": (
        CHARGED,
        "No charge is in the record.",
        "After each charge enter what the charger put back, with voltage and resistance:",
        "flightlog team charge PACK --voltage V --charge AH --by WHO",
    ),
    "Parameter baselines": (
        SET,
        "No baseline is in the record.",
        "Set the autopilot up, have somebody look at it afresh, and enter its parameters:",
        "flightlog team baseline LOG --aircraft ID --by WHO --by WHO",
    ),
    "Clauses measured": (
        SHOWN,
        "No clause was shown by measuring yet.",
        "Measure what the rule book asks for, wing and structure among it, and enter it:",
        "flightlog clauses record CLAUSE --rules ID --aircraft ID --how measured --state shown "
        "--text TEXT --by WHO",
    ),
    "Inspections and service": (
        DONE,
        "No periodic inspection or service is in the record.",
        "Do what is due, and enter it:",
        "flightlog team done TASK --aircraft ID --by WHO",
    ),
}


def show() -> None:
    """Draw the page."""
    with shell.at_desk() as desk:
        if desk is None:
            return
        parts.title(
            "Ground tests", "What was measured and done on the ground, and when was it last?"
        )
        parts.note(
            "Files of a thrust stand, of discharges and of ring-downs are not read yet. Shown here "
            "is what people entered into the record."
        )
        section = st.segmented_control(
            "What to look at",
            list(_SECTIONS),
            default=next(iter(_SECTIONS)),
            required=True,
            key="ground-section",
            label_visibility="collapsed",
            persist_state="session",
        )
        _section(desk, section or next(iter(_SECTIONS)))


def _section(desk: Desk, name: str) -> None:
    what, none, do, command = _SECTIONS[name]
    try:
        found = measured_on_ground(desk, [what])
    except FlightlogError as error:
        parts.refused(error)
        return
    if not found:
        parts.nothing(none, do, command)
        return
    things = sorted({f"{one.thing} {one.id}" for one in found})
    thing = st.selectbox(
        "Of",
        [_ALL, *things],
        format_func=parts.option,
        key=f"ground-of-{what}",
        persist_state="session",
    )
    meant = [one for one in found if thing in (_ALL, None, f"{one.thing} {one.id}")]
    parts.table(GROUND_HEAD, ground_rows(desk, meant[:_MOST]))
    if len(meant) > _MOST:
        parts.note(f"{len(meant) - _MOST} older ones stand in the logbook, on Records.")
    parts.html(f"<p>To enter one: <code>{escaped(command)}</code></p>")
