"""The sheet of a ground test, or of a choice for a mission, as a file."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from typing import TYPE_CHECKING

from flightlog.cli.checks import write_new
from flightlog.errors import OutputError, UsageError

if TYPE_CHECKING:
    from flightlog.logbook.entry import Entry
    from flightlog.operations.desk import Desk
    from flightlog.operations.ground_baseline import Against
    from flightlog.operations.ground_choice import GroundChoice
    from flightlog.operations.ground_test import GroundTest
    from flightlog.reports.sheet_content import SheetContent

_PDF, _HTML = ".pdf", (".html", ".htm")


def check_sheet(to: Path | None) -> None:
    """Refuse a sheet that could not be written, before anything is signed.

    Raises
    ------
    UsageError
        If its name ends in neither .pdf nor .html.
    OutputError
        If there is such a file.
    """
    if to is None:
        return
    if to.suffix.casefold() not in (_PDF, *_HTML):
        raise UsageError(
            "ends in neither .pdf nor .html", where=f"--sheet {to}", fix="Name it so that it does."
        )
    if to.exists():
        raise OutputError("is there already", where=str(to), fix="Name a new file.")


def write_sheet(
    to: Path,
    test: GroundTest,
    against: Against | None = None,
    *,
    desk: Desk | None = None,
    entry: Entry | None = None,
) -> None:
    """Write the sheet of a test, with the record that it stands in where there is one."""
    from flightlog.reports.ground_sheet import ground_sheet

    made = desk.ledger.now if desk is not None else datetime.now(UTC)
    _write(to, ground_sheet(test, against, desk=desk, entry=entry, made=made))


def write_choice_sheet(to: Path, answer: GroundChoice) -> None:
    """Write the sheet of a choice for a mission, with its chart."""
    from flightlog.reports.ground_choice_sheet import choice_sheet

    _write(to, choice_sheet(answer, made=datetime.now(UTC)))


def _write(to: Path, content: SheetContent) -> None:
    if to.suffix.casefold() == _PDF:
        from flightlog.reports.sheet_pdf import sheet_pdf

        write_new(to, sheet_pdf(content))
    else:
        from flightlog.reports.sheet_html import sheet_html

        write_new(to, sheet_html(content))
