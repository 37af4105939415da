"""Ground tests: what was measured on the ground and when; reducing a new test, and its history."""

from __future__ import annotations

import streamlit as st

from flightlog.dashboard import (
    ground_drop,
    ground_enter,
    ground_entries,
    ground_history,
    ground_result,
    parts,
    shell,
)
from flightlog.operations.desk import Desk
from flightlog.reports.ground_latest import LATEST_HEAD, latest_on_ground, latest_rows

_MOST_LATEST = 8


def show() -> None:
    """Draw the page."""
    with shell.at_desk() as desk:
        if desk is None:
            return
        parts.title(
            "Ground tests", "What was measured and done on the ground, and when was it last?"
        )
        ground_enter.arrived(desk)
        told = st.container()
        left, right = st.columns([2, 3], gap="medium")
        with left:
            reduced = ground_drop.take()
            seen = ground_result.look(desk, reduced) if reduced is not None else None
            if seen is not None:
                ground_result.beside(seen)
        if seen is None:
            with told:
                ground_enter.told(desk)
        else:
            ground_enter.forget()
        with right:
            if seen is None:
                _latest(desk)
            else:
                ground_result.answer(seen)
        if seen is not None:
            ground_result.details(desk, seen)
            ground_enter.enter(desk, seen)
        _record(desk)


def _latest(desk: Desk) -> None:
    parts.heading("Measured last")
    found = latest_on_ground(desk)
    if not found:
        parts.nothing(
            "Nothing was measured on the ground yet.",
            "Drop the files of a test at the left, or enter what was measured below.",
        )
        return
    parts.table(LATEST_HEAD, latest_rows(desk, found[:_MOST_LATEST]))
    if len(found) > _MOST_LATEST:
        parts.note(f"{len(found) - _MOST_LATEST} more stand below.")


def _record(desk: Desk) -> None:
    """Draw what the record holds, by its kind."""
    parts.heading("In the record")
    st.session_state.setdefault(ground_history.SECTIONS, ground_history.SECTION)
    section = st.segmented_control(
        "What to look at",
        [ground_history.SECTION, *ground_entries.SECTIONS],
        required=True,
        key=ground_history.SECTIONS,
        label_visibility="collapsed",
        persist_state="session",
    )
    if section in ground_entries.SECTIONS:
        ground_entries.show(desk, section)
    else:
        ground_history.show(desk)
