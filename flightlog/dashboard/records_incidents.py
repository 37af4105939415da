"""Incidents on the screen: what was entered, the last minute, and the sheet."""

from __future__ import annotations

import streamlit as st

from flightlog.dashboard import parts
from flightlog.logbook.entry import Entry
from flightlog.operations.desk import Desk
from flightlog.operations.incident import happened, incidents, sources_of
from flightlog.operations.incident_record import around
from flightlog.operations.last_minute import Timeline, timeline
from flightlog.operations.positions import named
from flightlog.reports.cautions import LITHIUM, PEOPLE, PROPELLER
from flightlog.reports.incident_sheet import (
    DUTIES,
    incident_sheet,
    last_minute_html,
    timeline_table,
)
from flightlog.reports.line_chart import as_image
from flightlog.reports.markup import escaped
from flightlog.reports.record_words import INCIDENT_HEAD, incident_lines, incident_rows

_REPORT = (
    "flightlog incident report SOURCE... --aircraft ID --pack ID --facts TEXT",
    "flightlog incident add INCIDENT SOURCE...",
    "flightlog incident opinion INCIDENT TEXT --by WHO",
)
_MOST_KEPT = 2
_LAID: dict[tuple[str, ...], Timeline] = {}
"""Last minutes that were laid out; reading the logs of one takes seconds."""


def show(desk: Desk) -> None:
    """Draw the incidents, and one of them."""
    parts.heading("Incidents")
    found = incidents(desk)
    with st.expander("When something went wrong", key="records-incident-first"):
        for text in (LITHIUM, PROPELLER, PEOPLE):
            parts.warn(text)
        parts.html(*(f"<p><code>{escaped(command)}</code></p>" for command in _REPORT))
        parts.note(DUTIES)
    if not found:
        parts.note("No incident is in the record.")
        return
    parts.table(INCIDENT_HEAD, incident_rows(desk, found))
    names = [named(entry) for entry in reversed(found)]
    chosen = st.selectbox(
        "One in full", names, index=None, placeholder="Choose one", key="records-incident"
    )
    if chosen is not None:
        _one(desk, found[len(found) - 1 - names.index(chosen)])


def _one(desk: Desk, entry: Entry) -> None:
    parts.lines(incident_lines(desk, entry))
    parts.heading("The last minute")
    sources = sources_of(desk, entry)
    if not sources:
        parts.nothing(
            "No source was kept of it.",
            "Keep logs, photos, or a whole card, by their hashes:",
            f"flightlog incident add {named(entry)} SOURCE...",
        )
    key = (str(desk.folder.path), entry.hash, *(one.sha256 for one in sources))
    if key not in _LAID:
        parts.note("The logs that were kept are read for this, which takes seconds.")
        if not st.button("Lay out the last minute", key="records-incident-lay", type="primary"):
            return
        with st.spinner("Reading the logs"):
            _LAID[key] = timeline(desk, sources, happened(entry))
        while len(_LAID) > _MOST_KEPT:
            del _LAID[next(iter(_LAID))]
        st.rerun()
    _laid_out(desk, entry, _LAID[key])


def _laid_out(desk: Desk, entry: Entry, found: Timeline) -> None:
    left, right, _ = st.columns(3)
    name = f"incident-{named(entry)}"
    sheet = incident_sheet(desk, entry, sources_of(desk, entry), found, around(desk, entry))
    table = timeline_table(found)
    parts.download(left, "The sheet (HTML)", sheet, f"{name}.html", key="records-incident-html")
    parts.download(right, "All channels (CSV)", table, f"{name}.csv", key="records-incident-csv")
    parts.html(last_minute_html(found, _picture))


def _picture(svg: str, says: str) -> str:
    return parts.picture(as_image(svg), says)
