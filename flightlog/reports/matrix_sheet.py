"""The inspection matrix for paper and for spreadsheets."""

from __future__ import annotations

from collections.abc import Sequence

from flightlog.logbook.codes import head_code
from flightlog.operations.desk import Desk
from flightlog.operations.matrix import Row
from flightlog.reports.cautions import RECORD
from flightlog.reports.markup import escaped, page, spreadsheet, table

HEAD = ("clause", "asks for", "state", "how", "by", "evidence")


def matrix_rows(rows: Sequence[Row]) -> list[tuple[str, ...]]:
    """Give the rows as texts."""
    return [(r.clause.source, r.clause.requires, r.state, r.how, r.by, r.evidence) for r in rows]


def matrix_table(rows: Sequence[Row]) -> str:
    """Give the matrix as CSV."""
    return spreadsheet(HEAD, matrix_rows(rows))


def matrix_sheet(desk: Desk, rules: str, aircraft: str, rows: Sequence[Row]) -> str:
    """Give the matrix as a page."""
    heads = ", ".join(head_code(t.body.number, t.hash) for t in desk.ledger.order.tips())
    shown = sum(r.state == "shown" for r in rows)
    return page(
        f"Inspection matrix: {aircraft} under {rules}",
        f"<p>{shown} of {len(rows)} clauses shown.</p>",
        table(HEAD, matrix_rows(rows)),
        f'<p class="note">Head of the record: <span class="mono">{escaped(heads)}</span></p>',
        f'<p class="note">{escaped(RECORD)}</p>',
    )
