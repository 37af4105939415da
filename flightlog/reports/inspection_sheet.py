"""The rule book clause by clause as a sheet, for the inspector."""

from __future__ import annotations

from flightlog.operations.desk import Desk
from flightlog.operations.matrix import matrix
from flightlog.operations.positions import heads_of, named
from flightlog.reports.cautions import RECORD
from flightlog.reports.matrix_sheet import matrix_rows, summary
from flightlog.reports.sheet_content import Facts, SheetContent, Table, wide
from flightlog.team.files import Version
from flightlog.team.ledger import AIRCRAFT

_HEAD = ("clause", "asks for", "state", "how, and by whom", "evidence", "entry")
RULES = "rules"


def inspection_sheet(desk: Desk, rules: str, aircraft: str) -> SheetContent:
    """Give the clauses of a rule book for an aircraft, each with what shows it.

    Parameters
    ----------
    desk : Desk
        The record.
    rules, aircraft : str
        Ids of their files.

    Raises
    ------
    UsageError
        If the record holds no such file.
    TeamFileError
        If a file in force can't be read.
    """
    book, file = desk.rules(rules), desk.aircraft(aircraft)
    clauses = matrix(desk, rules, aircraft)
    rows = tuple(
        (clause, asks, state, f"{how}; {by}" if by else how, evidence, entry)
        for clause, asks, state, how, by, evidence, entry in matrix_rows(desk, clauses)
    )
    serial = f"serial {file.serial}" if file.serial else "no serial"
    none = f"{rules} has no [[clause]]; add them to its file, and enter it."
    return SheetContent(
        title=f"Inspection of {aircraft}",
        subtitle=f"{serial}, under {book.title or rules}, version {book.version}",
        team=desk.folder.name,
        headline=summary(clauses) if clauses else "",
        top=(
            Facts(
                "",
                (
                    ("rule book", _file(desk.version(RULES, rules))),
                    ("aircraft file", _file(desk.version(AIRCRAFT, aircraft))),
                    ("configuration", file.configuration or "not named"),
                ),
            ),
        ),
        parts=((wide(Table("", _HEAD, rows, (0, 1.2, 0, 1, 1.3, 0), states=(2,), none=none)),),),
        notes=(RECORD,),
        heads=heads_of(desk.ledger),
        made=desk.ledger.now,
    )


def _file(version: Version) -> str:
    return f"{version.id} {named(version.entry)}, SHA-256 {version.sha256}"
