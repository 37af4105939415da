"""What people entered that they measured or did on the ground, by its kind."""

from __future__ import annotations

import streamlit as st

from flightlog.dashboard import parts
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
SECTIONS = {
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
"""Name of a section -> what it shows; what to say, to do and to type where there is nothing."""


def show(desk: Desk, name: str) -> None:
    """Draw a section: its entries, the newest first, or what to do first."""
    what, none, do, command = SECTIONS[name]
    found = measured_on_ground(desk, [what])
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
