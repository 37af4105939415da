"""``flightlog team copy``: a second copy of the team folder."""

from __future__ import annotations

from pathlib import Path
from typing import Annotated

import typer

from flightlog.cli import wall
from flightlog.cli.console import err, out, progress
from flightlog.cli.signing import TeamOption, a_path, opened, say_added


def copy(
    to: Annotated[
        Path,
        typer.Argument(
            metavar="DEST", parser=a_path, help="The copy, or a stick or folder to put it into."
        ),
    ],
    team: TeamOption = None,
) -> int:
    """Copy the whole team folder to another disk, and read the copy back.

    Only what is new is written. A copy that was there before stays as it was until the new one
    was read back and found whole. To restore, copy the folder back.

    Example: flightlog team copy /media/stick/pannier-team
    """
    from flightlog.team.copying import complete, copied_lines, copy_draft, copy_team
    from flightlog.team.folder import TeamFolder

    folder = TeamFolder.find(team)
    with progress("copy") as line:
        copied = copy_team(folder, to, progress=line)
    out().lines(copied_lines(copied))
    if copied.missing:
        return wall.BROKEN
    with opened(folder.path) as (_, book):
        entry = book.append(copy_draft(copied))
        say_added(entry)
        lacking = complete(copied, book.order, entry)
        if lacking:
            err().line(f"flightlog: the copy is whole, without the entry about it: {lacking}")
    return wall.DONE
