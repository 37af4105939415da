"""The first thing on the page of the season: what it came to, what is due, what contradicts."""

from __future__ import annotations

from collections.abc import Sequence

import streamlit as st

from flightlog.dashboard import parts
from flightlog.dashboard.records_parts import marked_table
from flightlog.errors import FlightlogError
from flightlog.operations.desk import Desk
from flightlog.operations.season_table import SeasonRow, sums_of
from flightlog.operations.upkeep import Due, due
from flightlog.reports.hangar import due_lines
from flightlog.reports.markup import escaped
from flightlog.reports.season_words import contradiction_rows, due_rows, sums_tiles

_MOST_DUE = 4
_DUE_HEAD = ("State", "Of", "What", "How it stands")
_AGAINST_HEAD = ("Sortie", "Word", "What does not go together")


def show(desk: Desk, rows: Sequence[SeasonRow]) -> None:
    """Draw the sums, what is due, and the contradictions."""
    every = _due(desk)
    parts.html(_tiles(sums_tiles(sums_of(rows), every)))
    found = due_rows(every, _MOST_DUE)
    if found:
        marked_table(_DUE_HEAD, found, "State")
    left, right = st.columns(2)
    with left, st.expander("All that is due, and what clears it", key="season-due"):
        _all_due(desk)
    against = contradiction_rows(rows)
    with right, st.expander(_counted(against), key="season-contradictions"):
        if against:
            parts.table(_AGAINST_HEAD, against)
            parts.note(
                "A contradiction ends when somebody says what was: 'flightlog sortie pair SORTIE "
                "--help'. Both sides stay in the record."
            )
        else:
            parts.note("Nothing does not go together.")


def _counted(against: Sequence[object]) -> str:
    count = len(against)
    return f"{count} contradiction" + ("" if count == 1 else "s") + " open"


def _due(desk: Desk) -> tuple[Due, ...]:
    try:
        return due(desk)
    except FlightlogError as error:
        parts.refused(error)
        return ()


def _all_due(desk: Desk) -> None:
    try:
        parts.lines(due_lines(desk))
    except FlightlogError as error:
        parts.refused(error)


def _tiles(tiles: Sequence[tuple[str, str, str]]) -> str:
    """Give the sums as large numbers in a row, as HTML."""
    inside = "".join(
        f'<div class="fl-tile"><div class="fl-tile-number">{escaped(number)}</div>'
        f"<div><strong>{escaped(what)}</strong></div>"
        f'<div class="fl-tile-below">{escaped(below)}</div></div>'
        for number, what, below in tiles
    )
    return f'<div class="fl-tiles">{inside}</div>'
