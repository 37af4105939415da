"""``flightlog clauses``: the rule book clause by clause, and what shows each."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from flightlog.cli.checks import write_new
from flightlog.cli.console import out
from flightlog.cli.desk import desk_of
from flightlog.cli.entering import (
    AircraftOption,
    OneOption,
    PhotoOption,
    enter,
    hands_of,
    photos,
)
from flightlog.cli.signing import KeysOption, PassphraseOption, TeamOption, a_path

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
    from flightlog.reports.matrix_sheet import matrix_sheet, matrix_table

    with desk_of(team, read_only=True) as desk:
        rows = matrix(desk, rules, aircraft)
        for row in rows:
            by = f", {row.by}" if row.by else ""
            out().line(f"{row.clause.source}: {row.state} ({row.how}{by})")
            out().line(f"  {row.clause.requires}")
            out().line(f"  {row.evidence}")
        if not rows:
            out().line(f"{rules} has no [[clause]]; add them to its file, and enter it.")
        if html is not None:
            write_new(html, matrix_sheet(desk, rules, aircraft, rows))
        if csv is not None:
            write_new(csv, matrix_table(rows))


@clauses_app.command()
def record(
    clause: Annotated[str, typer.Argument(metavar="CLAUSE", help="Its id in the rule book.")],
    rules: RulesOption,
    aircraft: AircraftOption,
    how: Annotated[
        str, typer.Option("--how", metavar="WAY", help="measured, declared, tested or photo.")
    ],
    text: Annotated[str, typer.Option("--text", metavar="TEXT", help="What was found.")],
    by: OneOption,
    not_shown: Annotated[
        bool, typer.Option("--not-shown", help="It was looked at, and does not hold.")
    ] = False,
    photo: PhotoOption = None,
    team: TeamOption = None,
    keys: KeysOption = None,
    passphrase_fd: PassphraseOption = None,
) -> None:
    """Enter how a clause is shown.

    Example: flightlog clauses record span --rules club-trial-2027 --aircraft pannier
    --how measured --text "2.48 m, tape T-1" --by mechanic
    """
    from flightlog.operations.matrix import evidence_draft

    with desk_of(team) as desk:
        draft = evidence_draft(
            desk,
            rules=rules,
            aircraft=aircraft,
            clause=clause,
            how=how,
            shown=not not_shown,
            text=text,
            key=desk.crew.present_key(by),
            photos=photos(desk, photo),
        )
        enter(desk, draft, hands_of(desk, keys, passphrase_fd))
