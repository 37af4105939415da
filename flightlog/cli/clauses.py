"""``flightlog clauses``: the rule book clause by clause, and what shows each."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING, Annotated

import typer

from flightlog.cli.checks import write_new
from flightlog.cli.console import out
from flightlog.cli.desk import desk_of
from flightlog.cli.entering import (
    AircraftOption,
    ByOption,
    PhotoOption,
    enter,
    hands_of,
    keys_of,
    photos,
)
from flightlog.cli.signing import KeysOption, PassphraseOption, TeamOption, a_path, given_text

if TYPE_CHECKING:
    from flightlog.operations.desk import Desk

clauses_app = typer.Typer(
    name="clauses", help="The rule book clause by clause.", no_args_is_help=True
)
RulesOption = Annotated[
    str, typer.Option("--rules", metavar="ID", help="Which rule book, by the id of its file.")
]


@clauses_app.command()
def show(
    rules: RulesOption,
    aircraft: AircraftOption,
    html: Annotated[
        Path | None, typer.Option("--html", metavar="FILE", parser=a_path, help="As a page too.")
    ] = None,
    csv: Annotated[
        Path | None,
        typer.Option("--csv", metavar="FILE", parser=a_path, help="For a spreadsheet too."),
    ] = None,
    team: TeamOption = None,
) -> None:
    """Show the inspection matrix: how each clause is shown, by whom, and where.

    Example: flightlog clauses show --rules club-trial-2027 --aircraft pannier
    """
    from flightlog.operations.matrix import matrix
    from flightlog.reports.matrix_sheet import matrix_lines, matrix_sheet, matrix_table

    with desk_of(team, read_only=True) as desk:
        rows = matrix(desk, rules, aircraft)
        out().lines(matrix_lines(desk, rows))
        if not rows:
            out().line(f"{rules} has no [[clause]]; add them to its file, and enter it.")
        if html is not None:
            write_new(html, matrix_sheet(desk, rules, aircraft, rows))
        if csv is not None:
            write_new(csv, matrix_table(desk, rows))


@clauses_app.command()
def record(
    clause: Annotated[str, typer.Argument(metavar="CLAUSE", help="Its id in the rule book.")],
    rules: RulesOption,
    aircraft: AircraftOption,
    how: Annotated[
        str, typer.Option("--how", metavar="WAY", help="measured, declared, tested or photo.")
    ],
    state: Annotated[
        str, typer.Option("--state", metavar="WORD", help="What was found: shown or not-shown.")
    ],
    text: Annotated[
        str, typer.Option("--text", metavar="TEXT", help="The number, the instrument, the paper.")
    ],
    by: ByOption,
    photo: PhotoOption = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Enter how a clause is shown, or that it does not hold.

    The first who signs states it; others looked at it too.

    Example: flightlog clauses record span --rules club-trial-2027 --aircraft pannier
    --how measured --state shown --text "2.48 m, tape T-1" --by mechanic
    """
    from flightlog.operations.matrix import evidence_draft

    with desk_of(team) as desk:
        signing = keys_of(desk, by)
        draft = evidence_draft(
            desk,
            rules=rules,
            aircraft=aircraft,
            clause=clause,
            how=how,
            state=state,
            text=given_text(text, "--text"),
            keys=signing,
            photos=photos(desk, photo),
        )
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))
        _tell(desk, rules, aircraft, clause)


def _tell(desk: Desk, rules: str, aircraft: str, clause: str) -> None:
    """Say how a clause stands now."""
    from flightlog.operations.matrix import matrix

    for row in matrix(desk, rules, aircraft):
        if row.clause.id == clause:
            out().line(f"{row.clause.source}: {row.state}" + (f", {row.why}" if row.why else ""))
