"""The matrix as a sheet has the rows of the matrix, with its states."""

from __future__ import annotations

from flightlog.operations.matrix import matrix
from flightlog.reports.inspection_sheet import inspection_sheet
from flightlog.reports.matrix_sheet import summary
from flightlog.reports.sheet_pdf import sheet_pdf
from tests.operations.conftest import farm, farm_place
from tests.reports.sheets import all_of, text_of

__all__ = ["farm", "farm_place"]  # fixtures


def test_all_clauses_stand_there_with_how_they_are(farm):
    rows = matrix(farm.desk, "club-trial-2027", "pannier")
    content = inspection_sheet(farm.desk, "club-trial-2027", "pannier")
    text, pdf = all_of(content), text_of(sheet_pdf(content))

    assert summary(rows) == content.headline
    for row in rows:
        assert f"{row.clause.source} | {row.clause.requires} | {row.state} | " in text
        assert row.clause.source in pdf
    assert f"SHA-256 {farm.desk.version('rules', 'club-trial-2027').sha256}" in text
