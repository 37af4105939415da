"""``flightlog team copy``: a second copy of the team folder."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from flightlog.cli.console import out, progress
from flightlog.cli.desk import desk_of
from flightlog.cli.signing import TeamOption, a_path, say_added


def copy(
    to: Annotated[
        Path,
        typer.Argument(metavar="DEST", parser=a_path, help="A new folder, or an earlier copy."),
    ],
    team: TeamOption = None,
) -> None:
    """Copy the team folder to a second place, and verify the copy.

    Only what is new is copied. Names of persons go with it. Keys do not: they are not in it.

    Example: flightlog team copy stick/pannier-team
    """
    from flightlog.logbook.book import Draft
    from flightlog.logbook.flying_kinds import COPY
    from flightlog.team.copying import copy_team

    with desk_of(team) as desk:
        with progress("copy") as line:
            copied = copy_team(desk.folder, desk.book, to, lambda done, what: line(done, what))
        tip = desk.ledger.order.tips()[-1]
        content = {
            "to": to.name[:190] or "second copy",
            "entries": copied.entries,
            "files": copied.files,
            "head": tip.hash,
        }
        out().line(
            f"Copied and verified: {copied.entries} entries, {copied.files} files, "
            f"{copied.written} of them written now."
        )
        say_added(desk.append(Draft(COPY, content)))
