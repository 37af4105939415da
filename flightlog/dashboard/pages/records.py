"""Records: what the team keeps, and whether it is whole."""

from __future__ import annotations

from collections.abc import Callable

import streamlit as st

from flightlog.dashboard import (
    parts,
    records_crew,
    records_defects,
    records_files,
    records_incidents,
    records_logbook,
    records_matrix,
    records_things,
    shell,
)
from flightlog.errors import FlightlogError
from flightlog.operations.desk import Desk

_SECTIONS: dict[str, Callable[[Desk], None]] = {
    "Logbook": records_logbook.show,
    "Defects": records_defects.show,
    "Crew": records_crew.show,
    "Aircraft and packs": records_things.show,
    "Inspection matrix": records_matrix.show,
    "Incidents": records_incidents.show,
    "Files": records_files.show,
}
"""Only the one that is chosen is drawn, so that a page is there at once."""


def show() -> None:
    """Draw the page."""
    with shell.at_desk() as desk:
        if desk is None:
            return
        parts.title("Records", "What did the team write down, who signed it, and is it whole?")
        names = list(_SECTIONS)
        section = st.segmented_control(
            "Section",
            names,
            default=names[0],
            required=True,
            key="records-section",
            label_visibility="collapsed",
            persist_state="session",
        )
        try:
            _SECTIONS[section or names[0]](desk)
        except FlightlogError as error:
            parts.refused(error)
