"""The inspection matrix on the screen, and as a sheet and a table for the inspector."""

from __future__ import annotations

import streamlit as st

from flightlog.dashboard import parts
from flightlog.dashboard.records_parts import marked_table
from flightlog.operations.desk import Desk
from flightlog.operations.matrix import ANEW, NOT_SHOWN, OPEN, SHOWN, Row, matrix
from flightlog.reports.markup import escaped
from flightlog.reports.matrix_sheet import (
    HEAD,
    matrix_rows,
    matrix_sheet,
    matrix_table,
    summary,
)

_ANY = ""
_RECORD = (
    "flightlog clauses record CLAUSE --rules ID --aircraft ID --how measured --state shown "
    "--text TEXT --by WHO"
)


def show(desk: Desk) -> None:
    """Draw the matrix of an aircraft under a rule book."""
    parts.heading("Inspection matrix")
    books, aircraft = desk.versions.ids("rules"), desk.versions.ids("aircraft")
    if not books or not aircraft:
        missing = "rule book" if not books else "aircraft"
        folder = "rules" if not books else "aircraft"
        parts.nothing(
            f"No {missing} has a file in force.",
            "Put its file into the team folder, and enter it:",
            f"flightlog team enter {folder}/ID.toml --by WHO --by WHO",
        )
        return
    first, second, third = st.columns(3)
    rules = first.selectbox("Rule book", books, key="records-rules", persist_state="session")
    plane = second.selectbox("Aircraft", aircraft, key="records-aircraft", persist_state="session")
    state = third.selectbox(
        "Only clauses that are",
        [_ANY, SHOWN, NOT_SHOWN, OPEN, ANEW],
        format_func=lambda one: one or "any",
        key="records-clause-state",
        persist_state="session",
    )
    if rules is None or plane is None:
        return
    rows = matrix(desk, rules, plane)
    if not rows:
        parts.nothing(
            "This rule book has no clauses.", "Write a [[clause]] for each into its file."
        )
        return
    parts.note(summary(rows))
    meant = [row for row in rows if state in (_ANY, None, row.state)]
    if meant:
        marked_table(HEAD, matrix_rows(desk, meant), "state")
    else:
        parts.note("No clause is.")
    _downloads(desk, rules, plane, rows)
    parts.html(f"<p>To show one: <code>{escaped(_RECORD)}</code></p>")


def _downloads(desk: Desk, rules: str, plane: str, rows: tuple[Row, ...]) -> None:
    left, right, _ = st.columns(3)
    name = f"matrix-{rules}-{plane}"
    label, sheet = "Sheet for the inspector (HTML)", matrix_sheet(desk, rules, plane, rows)
    parts.download(left, label, sheet, f"{name}.html", key="records-matrix-html")
    table = matrix_table(desk, rows)
    parts.download(right, "Table (CSV)", table, f"{name}.csv", key="records-matrix-csv")
